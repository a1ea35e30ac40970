"""The table of steps: what each takes, what it gives, and the call that makes it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pinseat.case.model import Case
from pinseat.casting.model import CastingResult, RecipeResult
from pinseat.chain import (
    core,
    impression,
    plating,
    readings,
    recipe,
    report,
    seat,
    survey_sheet,
    ticket,
    tray,
)
from pinseat.chain.readings import Readings
from pinseat.chain.scan import ScanResult
from pinseat.chain.survey_sheet import SurveySheet
from pinseat.chain.ticket import Ticket
from pinseat.chain.work import Work
from pinseat.impression.model import ImpressionResult
from pinseat.plating.result import PlatingResult, ProgrammeResult
from pinseat.seating.diagnosis import Diagnosis
from pinseat.seating.model import SeatingResult
from pinseat.seating.plan import SeatPlan
from pinseat.survey.model import SurveyResult
from pinseat.tray.model import TrayResult


def _always(case: Case) -> bool:
    return True


def _nothing(work: Work) -> Any:
    return None


def _no_more(case: Case) -> tuple[str, ...]:
    return ()


@dataclass(frozen=True)
class Step:
    """One step.

    Attributes
    ----------
    name : str
        As in ``results/<name>.json``.
    needs : tuple of str
        Earlier steps whose results it takes.
    kind : type
        Frozen dataclass of the result, with ``findings``. When it also has ``files`` (names inside the case
        folder), the step is made again if one of them is missing.
    make : callable
        Computes the result; writes the files, if any.
    applies : callable
        Whether the step has a meaning for a case; a step that has none is left out wherever it is needed.
    needs_if : callable
        Further steps that it takes for some cases.
    also : callable
        Whatever the result depends on besides the case and the results it takes, such as a file's content.
    """

    name: str
    needs: tuple[str, ...]
    kind: type
    make: Callable[[Work], Any]
    applies: Callable[[Case], bool] = _always
    also: Callable[[Work], Any] = _nothing
    needs_if: Callable[[Case], tuple[str, ...]] = _no_more


_ALL = (
    Step("scan", (), ScanResult, core.scan, core.has_scan, lambda work: work.scan_hash),
    Step("survey", ("scan",), SurveyResult, core.survey),
    Step("tray", ("scan", "survey"), TrayResult, tray.make),
    Step(
        "impression",
        ("scan", "survey"),
        ImpressionResult,
        impression.make,
        impression.applies,
        impression.also,
    ),
    Step("survey_sheet", ("scan", "survey"), SurveySheet, survey_sheet.make),
    Step("readings", (), Readings, readings.make),
    Step("plating", ("scan", "survey"), PlatingResult, plating.make, plating.applies),
    Step(
        "programme",
        ("plating",),
        ProgrammeResult,
        plating.make_programme,
        plating.applies,
        plating.logged,
    ),
    Step("casting", ("survey",), CastingResult, core.casting, needs_if=impression.where_stated),
    Step(
        "recipe",
        ("survey", "casting"),
        RecipeResult,
        recipe.make,
        needs_if=impression.where_stated,
    ),
    Step("seating", ("survey", "casting"), SeatingResult, core.seating),
    Step("seat", ("survey", "casting"), SeatPlan, seat.make_plan, also=seat.inside_hash),
    Step("diagnosis", ("survey", "casting"), Diagnosis, seat.make_diagnosis),
    Step("ticket", ("scan", "survey", "casting", "seating"), Ticket, ticket.make),
    Step("report", ("scan", "survey", "casting", "seating"), report.ReportPages, report.make),
)

STEPS: dict[str, Step] = {step.name: step for step in _ALL}
"""By name, in the order of the work."""


def wanted(until: str, case: Case) -> tuple[Step, ...]:
    """The steps that lead to one, in the order of the work, less those without meaning for the case.

    Parameters
    ----------
    until : str
        A name in :data:`STEPS`.
    case : Case

    Returns
    -------
    tuple of Step
    """
    names = {until}
    for step in reversed(STEPS.values()):
        if step.name in names:
            names.update((*step.needs, *step.needs_if(case)))
    return tuple(step for step in STEPS.values() if step.name in names and step.applies(case))
