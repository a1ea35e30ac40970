"""The table of steps: what each takes, what it gives, and the call that makes it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from pinseat.case.model import Case
from pinseat.chain import applies, report
from pinseat.chain.work import Work


def _always(case: Case) -> bool:
    return True


def _nothing(work: Work) -> Any:
    return None


def _later(place: str) -> Callable[..., Any]:
    """A call of this package whose module is imported when it is first made: ``tray:make``.

    Most runs need few of the steps, and a refusal needs none; the others would cost seconds at each start.
    """

    def call(*given: Any) -> Any:
        return _found(f"pinseat.chain.{place}")(*given)

    return call


def _found(place: str) -> Any:
    module, name = place.split(":")
    return getattr(import_module(module), name)


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
    kind : type or str
        Frozen dataclass of the result, with ``findings``; ``module:name`` for one that is imported when it is
        needed. When it also has ``files`` (names inside the case folder), the step is made again if one of
        them is missing.
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
    kind: type | str
    make: Callable[[Work], Any]
    applies: Callable[[Case], bool] = _always
    also: Callable[[Work], Any] = _nothing
    needs_if: Callable[[Case], tuple[str, ...]] = _no_more

    @property
    def result_type(self) -> type:
        """The type of the result, imported if it was not."""
        found: type = _found(self.kind) if isinstance(self.kind, str) else self.kind
        return found


_ALL = (
    Step(
        "scan",
        (),
        "pinseat.chain.scan:ScanResult",
        _later("core:scan"),
        applies.has_scan,
        lambda work: work.scan_hash,
    ),
    Step("survey", ("scan",), "pinseat.survey.model:SurveyResult", _later("core:survey")),
    Step("tray", ("scan", "survey"), "pinseat.tray.model:TrayResult", _later("tray:make")),
    Step(
        "impression",
        ("scan", "survey"),
        "pinseat.impression.model:ImpressionResult",
        _later("impression:make"),
        applies.has_pins,
        _later("impression:also"),
    ),
    Step(
        "survey_sheet",
        ("scan", "survey"),
        "pinseat.chain.survey_sheet:SurveySheet",
        _later("survey_sheet:make"),
    ),
    Step("readings", (), "pinseat.chain.readings:Readings", _later("readings:make"), applies.has_layout),
    Step(
        "plating",
        ("scan", "survey"),
        "pinseat.plating.result:PlatingResult",
        _later("plating:make"),
        _later("plating:applies"),
    ),
    Step(
        "programme",
        ("plating",),
        "pinseat.plating.result:ProgrammeResult",
        _later("plating:make_programme"),
        _later("plating:applies"),
        _later("plating:logged"),
    ),
    Step(
        "casting",
        ("survey",),
        "pinseat.casting.model:CastingResult",
        _later("core:casting"),
        needs_if=applies.impression_if_stated,
    ),
    Step(
        "recipe",
        ("survey", "casting"),
        "pinseat.casting.model:RecipeResult",
        _later("recipe:make"),
        needs_if=applies.impression_if_stated,
    ),
    Step("seating", ("survey", "casting"), "pinseat.seating.model:SeatingResult", _later("core:seating")),
    Step(
        "seat",
        ("survey", "casting"),
        "pinseat.seating.plan:SeatPlan",
        _later("seat:make_plan"),
        also=_later("seat:inside_hash"),
    ),
    Step(
        "diagnosis",
        ("survey", "casting"),
        "pinseat.seating.diagnosis:Diagnosis",
        _later("seat:make_diagnosis"),
    ),
    Step(
        "ticket",
        ("scan", "survey", "casting", "seating"),
        "pinseat.chain.ticket:Ticket",
        _later("ticket:make"),
    ),
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


def resting_on(name: str) -> tuple[str, ...]:
    """A step and all that take its result, or the result of one of these.

    Parameters
    ----------
    name : str
        Empty for the case itself: every step rests on it.

    Returns
    -------
    tuple of str
        In the order of the work.

    Examples
    --------
    >>> resting_on("casting")
    ('casting', 'recipe', 'seating', 'seat', 'diagnosis', 'ticket', 'report')
    """
    found = [name] if name else list(STEPS)
    for step in STEPS.values():
        if step.name not in found and set(step.needs) & set(found):
            found.append(step.name)
    return tuple(found)
