"""The survey sheet as a step: a closer look along the draw, the page, and the coloured scan."""

from __future__ import annotations

from dataclasses import dataclass

from pinseat.chain.work import Work
from pinseat.ledger.findings import Finding
from pinseat.survey.inspection import UndercutNote
from pinseat.survey.measure import Measure


@dataclass(frozen=True)
class SurveySheet:
    """What the survey sheet says beyond the survey itself.

    Attributes
    ----------
    undercut : UndercutNote or None
        None without a scan.
    contour_mm : float
        Length of the height of contour along the draw.
    measures : tuple of Measure
        Tapers, heights and distances, each beside its limit.
    findings : tuple of Finding
    files : tuple of str
        The page first, then the coloured scan and the figures.
    """

    undercut: UndercutNote | None
    contour_mm: float
    measures: tuple[Measure, ...]
    findings: tuple[Finding, ...]
    files: tuple[str, ...]


def make(work: Work) -> SurveySheet:
    """Look closely and set the page."""
    import numpy as np

    from pinseat.report.survey_parts import UndercutPart
    from pinseat.report.survey_sheet import write_survey_sheet
    from pinseat.survey.inspection import inspect

    survey, scan = work.result("survey"), work.result("scan")
    mesh = work.working.mesh if work.working else None
    seen = inspect(work.case, survey, mesh, work.progress)
    undercut = None
    if seen.undercut is not None and seen.note is not None:
        undercut = UndercutPart(seen.undercut, seen.note.limit_mm, seen.note.limit_source, seen.note.regions)
    written = write_survey_sheet(
        work.folder,
        work.case,
        scan=scan.part if scan else None,
        mesh=mesh,
        survey=survey,
        meta=work.meta,
        undercut=undercut,
        contour=seen.contour,
        regions=seen.regions,
        measures=seen.measures,
        findings=seen.findings,
        progress=work.progress,
    )
    lengths = [float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum()) for line in seen.contour]
    return SurveySheet(
        undercut=seen.note,
        contour_mm=sum(lengths),
        measures=seen.measures,
        findings=seen.findings,
        files=tuple(path.relative_to(work.folder).as_posix() for path in written),
    )
