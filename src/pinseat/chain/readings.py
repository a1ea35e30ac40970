"""The plan of calliper readings as a step: what to take, and the page to write it on."""

from __future__ import annotations

from dataclasses import dataclass

from pinseat.chain.work import Work
from pinseat.ledger.findings import Finding
from pinseat.survey.plan import Outlook, Step, Unseen


@dataclass(frozen=True)
class Readings:
    """The readings that are still to be taken.

    Attributes
    ----------
    steps : tuple of Step
        Empty when those taken show all that readings can show.
    repeats : int
        How often to take each.
    u_mm : float
        Standard uncertainty of one reading that was reckoned with.
    outlook : tuple of Outlook
        Every fault, and how well it will be known.
    unseen : tuple of Unseen
        What stays unseen whatever is read.
    note : str
    findings : tuple of Finding
        One a fault that stays unseen.
    files : tuple of str
        The page.
    """

    steps: tuple[Step, ...]
    repeats: int
    u_mm: float
    outlook: tuple[Outlook, ...]
    unseen: tuple[Unseen, ...]
    note: str
    findings: tuple[Finding, ...]
    files: tuple[str, ...]


def make(work: Work) -> Readings:
    """Plan the readings and set the page."""
    from pinseat.report.readings_sheet import write_readings_sheet
    from pinseat.survey.plan import plan

    work.progress("planning the readings", 0.0)
    taken = work.case.callipers.readings if work.case.callipers else ()
    planned = plan(work.case, taken)
    page = write_readings_sheet(work.folder, work.case, planned, work.meta)
    return Readings(
        steps=planned.steps,
        repeats=planned.repeats,
        u_mm=planned.u_mm,
        outlook=planned.outlook,
        unseen=planned.unseen,
        note=planned.note,
        findings=tuple(
            Finding("survey.unseen", "", f"No reading shows {one.words}: {one.why}", "cannot tell", do=one.do)
            for one in planned.unseen
        ),
        files=(page.relative_to(work.folder).as_posix(),),
    )
