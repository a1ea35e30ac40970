"""``pinseat survey`` and ``pinseat readings``: what the preparation allows, and what to measure."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

if TYPE_CHECKING:
    from pinseat.chain import Outcome

Flag = Parameter(negative=())


def survey(case: Path, /, *, json: Annotated[bool, Flag] = False) -> None:
    """Look at the preparation along its best draw: draw window, undercut, walls and distances.

    Parameters
    ----------
    case
        Folder of the case.
    json
        Print one JSON object and nothing else.
    """
    from pinseat.cli.show import run_step

    run_step(case, "survey_sheet", as_json=json, lines=_survey_lines, also=("survey",))


def readings(case: Path, /, *, json: Annotated[bool, Flag] = False) -> None:
    """Print which calliper readings to take, for a case without a scan.

    Parameters
    ----------
    case
        Folder of the case; it needs [callipers] with a layout, but no reading yet.
    json
        Print one JSON object and nothing else.
    """
    from pinseat.case.document import load_case
    from pinseat.cli.show import run_step
    from pinseat.survey.observability import bench_of

    bench_of(load_case(case))
    run_step(case, "readings", as_json=json, lines=_reading_lines)


def _survey_lines(outcome: Outcome) -> Iterator[tuple[str, str]]:
    from pinseat.report.console import survey_lines

    assert outcome.survey is not None
    yield from survey_lines(outcome.survey, outcome.results["survey_sheet"])


def _reading_lines(outcome: Outcome) -> Iterator[tuple[str, str]]:
    plan = outcome.results["readings"]
    if not plan.steps:
        yield "readings", "no further reading would tell anything that matters"
    else:
        yield "take each", f"{plan.repeats} times, in any order; the page has boxes to write in"
    for i, step in enumerate(plan.steps, start=1):
        yield f"reading {i}", f"{step.words}, about {step.expected_mm:.1f} mm; {step.why}"
    for one in plan.unseen:
        yield "not seen", f"{one.words}: {one.do}"
