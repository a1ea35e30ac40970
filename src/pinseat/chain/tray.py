"""The tray of a case, with its files."""

from __future__ import annotations

from dataclasses import replace

from pinseat.chain.work import Work
from pinseat.report.tray_files import write_tray
from pinseat.tray import step
from pinseat.tray.model import TrayResult


def make(work: Work) -> TrayResult:
    """Make the tray, prove it, and write what prints."""
    work.progress("making the tray", 0.0)
    mesh = work.working.mesh if work.working else None
    tray = step.run(work.case, work.handover(), work.progress, mesh=mesh)
    field = work.result("survey").field
    written = write_tray(work.folder, work.case, tray, field, work.meta, work.progress)
    names = tuple(path.relative_to(work.folder).as_posix() for path in written)
    return replace(tray.result, files=names)
