"""``pinseat cast``: the recipe of mould, metal and cement."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter


def cast(case: Path, /, *, json: Annotated[bool, Parameter(negative=())] = False) -> None:
    """Work out the casting: liquid and powder in grams, melt, span, timetable, and the cementing countdown.

    Parameters
    ----------
    case
        Folder of the case.
    json
        Print one JSON object and nothing else.
    """
    from pinseat.cli.show import run_step
    from pinseat.report.recipe_words import lines

    run_step(case, "recipe", as_json=json, lines=lambda outcome: lines(outcome.results["recipe"]))
