"""Run a case step by step; what has not changed is not computed again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

from pinseat import reference
from pinseat.case import files, log, results
from pinseat.case.document import load_case
from pinseat.case.model import Case
from pinseat.case.rebuild import rebuild
from pinseat.casting import step as casting_step
from pinseat.casting.model import CastingResult
from pinseat.chain.scan import ScanResult, Working, inspect
from pinseat.chain.version import code_version
from pinseat.errors import CaseError
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.seating import step as seating_step
from pinseat.seating.model import SeatingResult
from pinseat.survey import step as survey_step
from pinseat.survey.model import SurveyResult

STEPS = ("scan", "survey", "casting", "seating", "report")
"""The steps in the order of the work."""

T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Outcome:
    """What a run gave: one field a step, None when the step was not asked for or does not apply.

    Attributes
    ----------
    folder : Path
    case : Case
    meta : dict of str to str
        Code version, reference-data version and content hash of the case.
    scan : ScanResult or None
        None for a case from callipers alone.
    survey, casting, seating : result of the step, or None
    files : tuple of Path
        Files of the report.
    """

    folder: Path
    case: Case
    meta: dict[str, str]
    scan: ScanResult | None = None
    survey: SurveyResult | None = None
    casting: CastingResult | None = None
    seating: SeatingResult | None = None
    files: tuple[Path, ...] = ()


def run(
    folder: Path, *, until: str = "report", threads: int | None = None, progress: Progress = quiet
) -> Outcome:
    """Compute a case up to a step and store each result in ``results/``.

    Parameters
    ----------
    folder : Path
        The case folder.
    until : str
        Last step, one of :data:`STEPS`.
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
        When no result can be given; nothing is written then for the step that failed or any after it.
    """
    if until not in STEPS:
        raise CaseError("there is no such step", value=until, limit=", ".join(STEPS))
    return _Runner(folder, threads, progress).run(STEPS[: STEPS.index(until) + 1])


class _Runner:
    """Holds what the steps of one run share: the case, its hash, and the working copy of the scan."""

    def __init__(self, folder: Path, threads: int | None, progress: Progress) -> None:
        self.folder, self.threads, self.progress = folder, threads, progress
        self.case = load_case(folder)
        self.computed: list[str] = []
        self.used: set[str] = set()
        self.meta = {
            "code": code_version(),
            "reference": reference.version(),
            "case": results.input_hash(self.case.model_dump(mode="json")),
        }

    @cached_property
    def scan_hash(self) -> str:
        """Content hash of the scan file; empty without a scan."""
        if self.case.scan is None:
            return ""
        return files.sha256_of(files.inside(self.folder, self.case.scan.file))

    @cached_property
    def working(self) -> Working | None:
        """The working copy of the scan, read when a step first needs it."""
        if self.case.scan is None:
            return None
        return inspect(self.folder, self.case.scan, self.progress)

    def run(self, steps: tuple[str, ...]) -> Outcome:
        out = Outcome(self.folder, self.case, self.meta)
        upstream = Handover()
        if self.case.scan is not None:
            out = replace(out, scan=self._kept("scan", ScanResult, self._scan, self.case.scan.unit))
        if "survey" in steps:
            survey = self._kept("survey", SurveyResult, lambda: self._survey(upstream), self._stated())
            upstream = replace(
                upstream,
                field=survey.field,
                faces=survey.faces,
                draw=survey.window.centre,
                blind=survey.blind,
            )
            out = replace(out, survey=survey)
        if "casting" in steps:
            casting = self._kept("casting", CastingResult, lambda: self._casting(upstream), self._stated())
            upstream = replace(upstream, fit=casting.fit)
            out = replace(out, casting=casting)
        if "seating" in steps:
            seating = self._kept("seating", SeatingResult, lambda: self._seating(upstream), self._stated())
            out = replace(out, seating=seating)
        if "report" in steps:
            out = self._report(out)
        if self.computed:
            self._note(out)
        return out

    def _note(self, out: Outcome) -> None:
        """Enter in the bench log what was computed, by which version, and the verdict."""
        verdict = f"; {out.seating.verdict}" if out.seating else ""
        note = f"computed {', '.join(self.computed)} with {self.meta['code']}{verdict}"
        log.append(self.folder, log.Entry(kind="run", note=note))

    def _stated(self) -> dict[str, Any]:
        """The case as stated, less what no result depends on."""
        return self.case.model_dump(mode="json", exclude={"title", "number"})

    def _kept(self, name: str, kind: type[T], compute: Callable[[], T], stated: Any) -> T:
        key = results.input_hash(self.scan_hash, stated, self.meta["code"], self.meta["reference"])
        try:
            stored = results.read_result(self.folder, name)
            if stored.meta["input"] == key:
                self.used.update(stored.meta["values"].split())
                return rebuild(kind, stored.payload)
        except (CaseError, KeyError, TypeError, ValueError):
            pass  # no result yet, or one of another make: compute it
        with reference.recording() as used:
            result = compute()
        meta = {**self.meta, "input": key, "values": " ".join(sorted(used))}
        results.write_result(self.folder, name, result, meta)
        self.used.update(used)
        self.computed.append(name)
        return result

    def _scan(self) -> ScanResult:
        assert self.working is not None
        return self.working.result

    def _survey(self, upstream: Handover) -> SurveyResult:
        self.progress("finding the pins", 0.0)
        mesh = self.working.mesh if self.working else None
        return survey_step.run(self.case, upstream, self.progress, mesh=mesh)

    def _casting(self, upstream: Handover) -> CastingResult:
        self.progress("adding up the copies", 0.0)
        return casting_step.run(self.case, upstream, self.progress)

    def _seating(self, upstream: Handover) -> SeatingResult:
        self.progress("seating virtual bridges", 0.0)
        return seating_step.run(self.case, upstream, self.progress, threads=self.threads)

    def _report(self, out: Outcome) -> Outcome:
        """Set the report, unless the one that lies there was made from the same results."""
        key = results.input_hash(
            out.case.model_dump(mode="json"), self.scan_hash, self.meta, sorted(self.used)
        )
        try:
            stored = results.read_result(self.folder, "report")
            there = tuple(files.inside(self.folder, name) for name in stored.payload["files"])
            if stored.meta["input"] == key and all(path.is_file() for path in there):
                return replace(out, files=there)
        except (CaseError, KeyError, TypeError):
            pass
        written = self._set_report(out)
        names = [path.relative_to(self.folder).as_posix() for path in written]
        results.write_result(self.folder, "report", {"files": names}, {**self.meta, "input": key})
        return replace(out, files=written)

    def _set_report(self, out: Outcome) -> tuple[Path, ...]:
        from pinseat.report.write import write_report

        self.progress("setting the report", 0.0)
        assert out.survey is not None
        assert out.casting is not None
        assert out.seating is not None
        mesh = self.working.mesh if self.working else None
        return write_report(
            self.folder,
            self.case,
            scan=out.scan.part if out.scan else None,
            mesh=mesh,
            survey=out.survey,
            casting=out.casting,
            seating=out.seating,
            meta=self.meta,
            used=[reference.value(name) for name in sorted(self.used)],
            progress=self.progress,
        )
