"""The steps every case goes through, from the scan to the verdict."""

from __future__ import annotations

from pinseat.casting import step as casting_step
from pinseat.casting.model import CastingResult
from pinseat.chain.scan import ScanResult
from pinseat.chain.work import Work
from pinseat.seating import step as seating_step
from pinseat.seating.model import SeatingResult
from pinseat.survey import step as survey_step
from pinseat.survey.model import SurveyResult


def scan(work: Work) -> ScanResult:
    """Read and examine the scan."""
    assert work.case.scan is not None
    assert work.working is not None
    return work.working.result


def survey(work: Work) -> SurveyResult:
    """Find the pins and the draws that serve them."""
    work.progress("finding the pins", 0.0)
    mesh = work.working.mesh if work.working else None
    return survey_step.run(work.case, work.handover(), work.progress, mesh=mesh)


def casting(work: Work) -> CastingResult:
    """Add up the copies."""
    work.progress("adding up the copies", 0.0)
    return casting_step.run(work.case, work.handover(), work.progress)


def seating(work: Work) -> SeatingResult:
    """Seat virtual bridges."""
    work.progress("seating virtual bridges", 0.0)
    return seating_step.run(work.case, work.handover(), work.progress, threads=work.threads)
