"""``pinseat tray``: a tray that prints, proven clear of every pin, and a plan for one made by hand."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

if TYPE_CHECKING:
    from pinseat.chain import Outcome


def tray(case: Path, /, *, json: Annotated[bool, Parameter(negative=())] = False) -> None:
    """Make the impression tray, prove it clear of every pin, and write STL, 3MF, tray sheet and hand plan.

    Parameters
    ----------
    case
        Folder of the case. Relief, border and stops go under [tray] in its case.toml.
    json
        Print one JSON object and nothing else.
    """
    from pinseat.cli.show import run_step

    run_step(case, "tray", as_json=json, lines=_lines)


def _lines(outcome: Outcome) -> Iterator[tuple[str, str]]:
    from pinseat.report.tray_words import console_lines

    yield from console_lines(outcome.results["tray"])
