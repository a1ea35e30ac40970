"""What to change, and why a bridge does not seat, as steps: computed, then set as pages."""

from __future__ import annotations

from dataclasses import replace

from pinseat.chain.work import Work
from pinseat.seating import diagnosis, plan
from pinseat.seating.diagnosis import Diagnosis
from pinseat.seating.plan import SeatPlan


def make_plan(work: Work) -> SeatPlan:
    """Try every change and set the page."""
    result = plan.run(work.case, work.handover(), work.progress, threads=work.threads)
    from pinseat.report.seat_sheet import write_seat_sheet

    work.progress("setting the page", 0.0)
    written = write_seat_sheet(work.folder, work.case, result, work.meta)
    return replace(result, files=tuple(path.relative_to(work.folder).as_posix() for path in written))


def make_diagnosis(work: Work) -> Diagnosis:
    """Weigh what was seen at the try-in and set the page."""
    assembly = plan.assembly_of(work.case, work.handover())
    result = diagnosis.run(work.case, assembly, work.progress)
    from pinseat.report.diagnosis_sheet import write_diagnosis_sheet

    work.progress("setting the page", 0.0)
    written = write_diagnosis_sheet(work.folder, work.case, result, work.meta)
    return replace(result, files=tuple(path.relative_to(work.folder).as_posix() for path in written))
