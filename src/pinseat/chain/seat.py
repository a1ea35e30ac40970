"""What to change, and why a bridge does not seat, as steps: computed, then set as pages."""

from __future__ import annotations

from dataclasses import replace

from pinseat.case import files
from pinseat.chain.work import Work
from pinseat.mesh.files import read_scan
from pinseat.mesh.working_copy import working_copy
from pinseat.seating import diagnosis, plan
from pinseat.seating.diagnosis import Diagnosis
from pinseat.seating.plan import SeatPlan


def make_plan(work: Work) -> SeatPlan:
    """Try every change and set the page."""
    scans, stated = None, work.case.mechanics.intaglio
    if stated is not None and work.working is not None:
        inside = read_scan(files.inside(work.folder, stated.file), stated.unit)
        scans = work.working.mesh, working_copy(inside.mesh).mesh
    result = plan.run(work.case, work.handover(), work.progress, threads=work.threads, scans=scans)
    from pinseat.report.seat_sheet import write_seat_sheet

    work.progress("setting the page", 0.0)
    written = write_seat_sheet(work.folder, work.case, result, work.meta)
    return replace(result, files=tuple(path.relative_to(work.folder).as_posix() for path in written))


def inside_hash(work: Work) -> str:
    """Content hash of the scan of the inside; empty without one."""
    stated = work.case.mechanics.intaglio
    return "" if stated is None else files.sha256_of(files.inside(work.folder, stated.file))


def make_diagnosis(work: Work) -> Diagnosis:
    """Weigh what was seen at the try-in and set the page."""
    assembly = plan.assembly_of(work.case, work.handover())
    result = diagnosis.run(work.case, assembly, work.progress)
    from pinseat.report.diagnosis_sheet import write_diagnosis_sheet

    work.progress("setting the page", 0.0)
    written = write_diagnosis_sheet(work.folder, work.case, result, work.meta)
    return replace(result, files=tuple(path.relative_to(work.folder).as_posix() for path in written))
