"""``pinseat seat``: what to change so that the bridge goes home, and what it costs in hold."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter


def seat(case: Path, /, *, json: Annotated[bool, Parameter(negative=())] = False) -> None:
    """Try every change to the bridge, singly and in pairs, and weigh hold against seating.

    Parameters
    ----------
    case
        Folder of the case.
    json
        Print one JSON object and nothing else.
    """
    from pinseat.cli.show import run_step
    from pinseat.report.seat_words import plan_lines

    run_step(case, "seat", as_json=json, lines=lambda outcome: plan_lines(outcome.results["seat"]))
