"""One case as it stands: what is stated, what was computed, how it runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from pinseat.case import edit, results
from pinseat.case.edit import Draft
from pinseat.case.results import Stored
from pinseat.errors import CaseError
from pinseat.ledger.findings import Finding, stored_findings
from pinseat.report.advice import worst_first
from pinseat.report.titles import STEPS
from pinseat.workbench.hands import Run


@dataclass(frozen=True)
class View:
    """One case as it stands.

    Attributes
    ----------
    name : str
        Of its folder, as in the page's address.
    folder : Path
    standing : sequence of mapping, or None
        From :func:`pinseat.chain.look.look`; None while that is not known.
    run : Run or None
    plating : mapping or None
        How the plating stands by the bench log.
    trouble : str
        Why it is not known how the steps stand.
    """

    name: str
    folder: Path
    standing: Sequence[Mapping[str, Any]] | None = None
    run: Run | None = None
    plating: Mapping[str, Any] | None = None
    trouble: str = ""
    _read: dict[str, Stored | None] = field(default_factory=dict)

    @cached_property
    def draft(self) -> Draft:
        """What is stated."""
        return edit.read_draft(self.folder)

    @cached_property
    def steps(self) -> list[str]:
        """The steps of this case in the order of the work."""
        if self.standing is not None:
            return [one["step"] for one in self.standing]
        found = (path.stem for path in (self.folder / "results").glob("*.json"))
        there = {stem for stem in found if stem.replace("_", "").isalpha()}
        known = [name for name in STEPS if name in there or name in ("survey", "casting", "seating")]
        return known + sorted(there - set(STEPS))

    def stored(self, step: str) -> Stored | None:
        """The result of a step as it lies there."""
        if step not in self._read:
            try:
                self._read[step] = results.read_result(self.folder, step)
            except CaseError:
                self._read[step] = None
        return self._read[step]

    def payload(self, step: str) -> Mapping[str, Any] | None:
        """The step's own fields."""
        stored = self.stored(step)
        return stored.payload if stored is not None and isinstance(stored.payload, Mapping) else None

    def state(self, step: str) -> str:
        """``holds``, ``older``, ``none``, or ``unknown`` while it is being looked up."""
        if self.standing is None:
            return "unknown" if self.stored(step) is not None else "none"
        return next((str(one["state"]) for one in self.standing if one["step"] == step), "none")

    def needs(self, step: str) -> list[str]:
        """Steps it waits for: those it takes that have no result that holds."""
        if self.standing is None:
            return []
        mine = next((one["needs"] for one in self.standing if one["step"] == step), ())
        return [name for name in mine if self.state(name) != "holds"]

    def findings(self, step: str) -> list[Finding]:
        """Findings of a step, the worst first."""
        return list(worst_first(stored_findings(self.payload(step) or {})))

    @property
    def running(self) -> bool:
        """Whether it is being computed now."""
        return self.run is not None and self.run.state == "running"

    def files(self, step: str) -> list[str]:
        """Files of a step that are there."""
        named = (self.payload(step) or {}).get("files", [])
        return [name for name in named if isinstance(name, str) and (self.folder / name).is_file()]


def pieces_of(view: View) -> list[str]:
    """Names of the plated pieces: as the plating has them, else the abutments."""
    shares = (view.payload("plating") or {}).get("shares", [])
    if shares:
        return [str(one["name"]) for one in shares]
    abutments = view.draft.document.get("abutments", [])
    return [str(item["tooth"]) for item in abutments if isinstance(item, Mapping) and "tooth" in item]
