"""Run a case step by step; what has not changed is not computed again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pinseat import reference
from pinseat.case import files, log, results
from pinseat.case.model import Case
from pinseat.case.rebuild import rebuild
from pinseat.chain.steps import STEPS, Step, resting_on, wanted
from pinseat.chain.work import Watched, Work, stated
from pinseat.errors import CaseError, PinseatError
from pinseat.ledger.handover import Progress, quiet

if TYPE_CHECKING:
    from pinseat.casting.model import CastingResult
    from pinseat.chain.scan import ScanResult
    from pinseat.seating.model import SeatingResult
    from pinseat.survey.model import SurveyResult


@dataclass(frozen=True, eq=False)
class Outcome:
    """What a run gave.

    Attributes
    ----------
    folder : Path
    case : Case
    meta : dict of str to str
        Code version, reference-data version and content hash of the case.
    results : dict of str to object
        By step, in the order of the work; a step that was not asked for or does not apply is not in it.
    """

    folder: Path
    case: Case
    meta: dict[str, str]
    results: dict[str, Any]

    @property
    def scan(self) -> ScanResult | None:
        """None for a case from callipers alone."""
        return self.results.get("scan")

    @property
    def survey(self) -> SurveyResult | None:
        """None when not asked for."""
        return self.results.get("survey")

    @property
    def casting(self) -> CastingResult | None:
        """None when not asked for."""
        return self.results.get("casting")

    @property
    def seating(self) -> SeatingResult | None:
        """None when not asked for."""
        return self.results.get("seating")

    @property
    def files(self) -> tuple[Path, ...]:
        """Files of the last step, the one to read first in front."""
        last = next(reversed(self.results.values()), None)
        return tuple(files.inside(self.folder, name) for name in getattr(last, "files", ()))


def run(
    folder: Path, *, until: str = "report", threads: int | None = None, progress: Progress = quiet
) -> Outcome:
    """Compute a case up to a step and store each result in ``results/``.

    Parameters
    ----------
    folder : Path
        The case folder.
    until : str
        A step of :data:`pinseat.chain.STEPS`; it and those it needs are run.
    threads : int, optional
        Threads for the virtual bridges; the answer does not depend on it.
    progress : callable
        Called with what is being done and the fraction done of it.

    Returns
    -------
    Outcome

    Raises
    ------
    PinseatError
        When no result can be given; nothing is written then for the step that failed or any after it, and
        what they wrote before is set aside: it is of another state of the case.
    """
    if until not in STEPS:
        raise CaseError("there is no such step", value=until, limit=", ".join(STEPS))
    refused = ""
    try:
        work = Work(folder, threads, progress)
        keys: dict[str, str] = {}
        computed, steps = [], wanted(until, work.case)
        if until not in (step.name for step in steps):
            raise CaseError("this case has nothing for this step to work on", value=until)
        for step in steps:
            refused = step.name
            if _do(work, step, keys):
                computed.append(step.name)
    except PinseatError:
        for name in resting_on(refused):
            results.set_aside(folder, name)
        raise
    if computed:
        _note(work, computed)
    return Outcome(folder, work.case, work.meta, work.results)


def _do(work: Work, step: Step, keys: dict[str, str]) -> bool:
    """Take the stored result of a step when it still holds, else compute it; whether it was computed.

    A result holds while everything it was made from is the same: the fields of the case it read, the results
    it took, what else the step names, the code and the reference data.
    """
    above = [keys[name] for name in (*step.needs, *step.needs_if(work.case)) if name in keys]
    rest = (above, step.also(work), work.meta["code"], work.meta["reference"])
    try:
        stored = results.read_result(work.folder, step.name)
        read = set(stored.meta["reads"].split())
        key = results.input_hash(stated(work.case, read), *rest)
        if stored.meta["input"] == key:
            result: Any = rebuild(step.result_type, stored.payload)
            if all(files.inside(work.folder, name).is_file() for name in getattr(result, "files", ())):
                keys[step.name], work.results[step.name] = key, result
                work.used.update(stored.meta["values"].split())
                return False
    except (CaseError, KeyError, TypeError, ValueError):
        pass  # no result yet, or one of another make: compute it
    case, watched = work.case, Watched(work.case)
    work.case = watched.as_case
    try:
        with reference.recording() as used:
            result = step.make(work)
    finally:
        work.case = case
    keys[step.name] = results.input_hash(stated(case, watched.read), *rest)
    meta = {
        "input": keys[step.name],
        "reads": " ".join(sorted(watched.read)),
        "values": " ".join(sorted(used)),
    }
    results.write_result(work.folder, step.name, result, {**work.meta, **meta})
    work.results[step.name] = result
    work.used.update(used)
    return True


def _note(work: Work, computed: list[str]) -> None:
    """Enter in the bench log what was computed, by which version, and the verdict."""
    seating = work.result("seating")
    verdict = f"; {seating.verdict}" if seating else ""
    note = f"computed {', '.join(computed)} with {work.meta['code']}{verdict}"
    log.append(work.folder, log.Entry(kind="run", note=note))
