"""``pinseat plate``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pinseat.chain import Outcome


def plate(case: Path, /, *, json: Annotated[bool, Parameter(negative=())] = False) -> None:
    """Plan the plating: current to set, when to look and to stop, where it is too thin, what to change.

    Parameters
    ----------
    case
        Folder of the case.
    json
        Print one JSON object and nothing else.
    """
    from pinseat.case.document import load_case
    from pinseat.cli.show import run_step
    from pinseat.plating.step import check_die

    check_die(load_case(case))
    run_step(case, "programme", as_json=json, lines=_lines, also=("plating",))


def _lines(outcome: Outcome) -> Iterable[tuple[str, str]]:
    from pinseat.report.plating_words import console_lines

    return console_lines(outcome.results["plating"], outcome.results["programme"])
