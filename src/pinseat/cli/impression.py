"""``pinseat impression``: the rubber, the clock, the pull, and where each pin is."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

if TYPE_CHECKING:
    from pinseat.chain import Outcome


def impression(case: Path, /, *, json: Annotated[bool, Parameter(negative=())] = False) -> None:
    """Follow each pin from hole to casting, and say how to take the impression; sets the chair card.

    Parameters
    ----------
    case
        Folder of the case. Readings go under [impression] in its case.toml.
    json
        Print one JSON object and nothing else.
    """
    from pinseat.cli.show import run_step

    run_step(case, "impression", as_json=json, lines=_lines)


def _lines(outcome: Outcome) -> Iterator[tuple[str, str]]:
    from pinseat.report.chair_words import console_lines

    yield from console_lines(outcome.results["impression"])
