"""How each step of a case stands, without computing any."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pinseat.case import files, results
from pinseat.case.model import Case
from pinseat.case.results import Stored
from pinseat.chain.steps import STEPS, Step
from pinseat.chain.work import Work, stated
from pinseat.errors import CaseError
from pinseat.ledger.handover import quiet

State = Literal["holds", "older", "none"]


@dataclass(frozen=True)
class Standing:
    """One step of a case.

    Attributes
    ----------
    step : str
    needs : tuple of str
        Steps whose results it takes, of those that apply.
    state : {"holds", "older", "none"}
        ``older``: there is a result, but what it was made from has changed since.
    """

    step: str
    needs: tuple[str, ...]
    state: State


def look(folder: Path) -> tuple[Standing, ...]:
    """How each step that applies to a case stands, in the order of the work.

    Parameters
    ----------
    folder : Path
        The case folder.

    Returns
    -------
    tuple of Standing

    Raises
    ------
    CaseError
        When the case cannot be read.
    """
    work = Work(folder, None, quiet)
    steps = [step for step in STEPS.values() if step.applies(work.case)]
    names = {step.name for step in steps}
    keys: dict[str, str] = {}
    found = []
    for step in steps:
        needed = tuple(name for name in _needs(step, work.case) if name in names)
        found.append(Standing(step.name, needed, _state(work, step, keys, needed)))
    return tuple(found)


def _needs(step: Step, case: Case) -> tuple[str, ...]:
    return (*step.needs, *step.needs_if(case))


def _state(work: Work, step: Step, keys: dict[str, str], needed: tuple[str, ...]) -> State:
    try:
        stored = results.read_result(work.folder, step.name)
    except CaseError:
        return "none"
    try:
        if any(name not in keys for name in needed) or not _files_there(work.folder, stored):
            return "older"
        rest = ([keys[name] for name in needed], step.also(work), work.meta["code"], work.meta["reference"])
        key = results.input_hash(stated(work.case, set(stored.meta["reads"].split())), *rest)
    except (CaseError, KeyError, TypeError, ValueError):
        return "older"
    if stored.meta.get("input") != key:
        return "older"
    keys[step.name] = key
    return "holds"


def _files_there(folder: Path, stored: Stored) -> bool:
    named = stored.payload.get("files", []) if isinstance(stored.payload, dict) else []
    return all(files.inside(folder, name).is_file() for name in named)


def ends(case: Case) -> tuple[str, ...]:
    """The steps that no other one takes, so that to run these is to run all; the way to the verdict first.

    Parameters
    ----------
    case : Case

    Returns
    -------
    tuple of str
    """
    steps = [step for step in STEPS.values() if step.applies(case)]
    taken = {name for step in steps for name in _needs(step, case)}
    last = [step.name for step in steps if step.name not in taken]
    return ("seating", *(name for name in last if name != "seating"))
