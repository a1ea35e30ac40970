"""The report as a step: set from the results before it."""

from __future__ import annotations

from dataclasses import dataclass

from pinseat import reference
from pinseat.chain.work import Work
from pinseat.ledger.findings import Finding


@dataclass(frozen=True)
class ReportPages:
    """The report: the PDF, then its figures.

    Attributes
    ----------
    files : tuple of str
        Names inside the case folder.
    next : str
        What to do now, as one sentence; empty where a step before it has no result.
    findings : tuple of Finding
        None of its own.
    """

    files: tuple[str, ...]
    next: str = ""
    findings: tuple[Finding, ...] = ()


def make(work: Work) -> ReportPages:
    """Set the report."""
    from pinseat.report.advice import next_action
    from pinseat.report.write import write_report

    work.progress("setting the report", 0.0)
    scan, survey, casting, seating = (work.result(name) for name in ("scan", "survey", "casting", "seating"))
    written = write_report(
        work.folder,
        work.case,
        scan=scan.part if scan else None,
        mesh=work.working.mesh if work.working else None,
        survey=survey,
        casting=casting,
        seating=seating,
        meta=work.meta,
        used=[reference.value(name) for name in sorted(work.used)],
        progress=work.progress,
    )
    return ReportPages(
        tuple(path.relative_to(work.folder).as_posix() for path in written),
        next_action(survey, casting, seating) if survey and casting and seating else "",
    )
