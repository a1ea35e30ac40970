"""``pinseat ticket``: the work ticket out, and what comes back in."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

if TYPE_CHECKING:
    from pinseat.chain import Outcome


def ticket(
    case: Path, /, *, returned: Path | None = None, json: Annotated[bool, Parameter(negative=())] = False
) -> None:
    """Make the work ticket, a page and a machine file with one hash; or read one that came back.

    Parameters
    ----------
    case
        Folder of the case.
    returned
        Machine file that came back, its block of returns filled in; it goes into the bench log.
    json
        Print one JSON object and nothing else.
    """
    if returned is not None:
        _read(case, returned, as_json=json)
        return
    from pinseat.cli.show import run_step

    run_step(case, "ticket", as_json=json, lines=_lines)


def _lines(outcome: Outcome) -> Iterator[tuple[str, str]]:
    yield "ticket", str(outcome.results["ticket"].hash)[:12]


def _read(case: Path, returned: Path, *, as_json: bool) -> None:
    from json import dumps

    from pinseat.case.document import load_case
    from pinseat.case.files import plainly
    from pinseat.case.returns import take_in

    load_case(case)
    with plainly(returned):
        data = returned.read_bytes()
    told = take_in(case, data)
    print(dumps({"told": told}) if as_json else "\n".join(told))
