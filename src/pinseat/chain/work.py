"""What the steps of one run share: the case, the scan, and the results so far."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from pinseat import reference
from pinseat.case import files, results
from pinseat.case.document import load_case
from pinseat.case.model import Case
from pinseat.chain.version import code_version
from pinseat.ledger.handover import Handover, Progress

if TYPE_CHECKING:
    from pinseat.chain.scan import Working


class Work:
    """One run of one case.

    Attributes
    ----------
    folder : Path
        The case folder.
    case : Case
        As stated; while a step runs, what it reads of it is noted.
    meta : dict of str to str
        Code version, reference-data version and content hash of the case.
    progress : callable
    threads : int or None
        Threads for the virtual bridges.
    """

    def __init__(self, folder: Path, threads: int | None, progress: Progress) -> None:
        self.folder, self.threads, self.progress = folder, threads, progress
        self.case = load_case(folder)
        self.results: dict[str, Any] = {}
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
        from pinseat.chain.scan import inspect  # it brings the compiled kernels with it

        return inspect(self.folder, self.case.scan, self.progress)

    def result(self, step: str) -> Any:
        """Result of an earlier step; None when it does not apply to this case."""
        return self.results.get(step)

    def handover(self) -> Handover:
        """What the steps so far hand to the next one."""
        survey, casting, impression = (self.result(name) for name in ("survey", "casting", "impression"))
        given = Handover(impression=impression.row if impression else None)
        if survey is not None:
            given = replace(
                given,
                field=survey.field,
                faces=survey.faces,
                draw=survey.window.centre,
                blind=survey.blind,
                margins=survey.margins,
            )
        return given if casting is None else replace(given, fit=casting.fit)


class Watched:
    """A case that notes which of its fields are read.

    Deterministic code that reads the same fields and finds the same in them takes the same way, so the fields
    read are all that a result depends on, and none has to be declared.
    """

    def __init__(self, case: Case) -> None:
        self.case, self.read = case, set[str]()

    def __getattr__(self, name: str) -> Any:
        fields = type(self.case).model_fields
        self.read.update([name] if name in fields else fields)
        return getattr(self.case, name)

    @property
    def as_case(self) -> Case:
        """Itself, under the type that the steps expect."""
        return cast(Case, self)


def stated(case: Case, read: set[str]) -> dict[str, Any]:
    """What a case states in the fields that were read."""
    return case.model_dump(mode="json", include=read)
