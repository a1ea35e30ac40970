"""``pinseat diagnose``: why the bridge does not seat, from what was seen at the try-in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter


def diagnose(case: Path, /, *, json: Annotated[bool, Parameter(negative=())] = False) -> None:
    """Rank the causes of a bridge that does not seat, and say what to check and to do next.

    Parameters
    ----------
    case
        Folder of the case; what was seen stands under [tryin] in its case.toml.
    json
        Print one JSON object and nothing else.
    """
    from pinseat.cli.show import run_step
    from pinseat.report.seat_words import diagnosis_lines

    run_step(
        case, "diagnosis", as_json=json, lines=lambda outcome: diagnosis_lines(outcome.results["diagnosis"])
    )
