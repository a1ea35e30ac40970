"""Bind what a case has: one PDF of every page that holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pinseat.case.results import Stored, read_result
from pinseat.chain.look import Standing, look
from pinseat.chain.work import Work
from pinseat.ledger.findings import Finding, stored_findings
from pinseat.ledger.handover import quiet
from pinseat.report.advice import sentence, worst_first
from pinseat.report.bound import Part, write_bound


@dataclass(frozen=True)
class Bound:
    """The whole report.

    Attributes
    ----------
    path : Path
    parts : tuple of Part
        How each step stands, in the order of the pages.
    """

    path: Path
    parts: tuple[Part, ...]


def bind(folder: Path) -> Bound:
    """Bind the pages of every step that holds; nothing is computed.

    The seat report comes first, then the others in the order of the work.

    Parameters
    ----------
    folder : Path
        The case folder.

    Returns
    -------
    Bound

    Raises
    ------
    CaseError
        When the case cannot be read or the folder not written.
    ReportError
        When the pages cannot be set.
    """
    work = Work(folder, None, quiet)
    stands = sorted(look(folder), key=lambda one: one.step != "report")
    parts = tuple(_part(folder, one) for one in stands)
    return Bound(write_bound(folder, work.case, parts, work.meta), parts)


def _part(folder: Path, stands: Standing) -> Part:
    if stands.state != "holds":
        older = "older than what is stated now" if stands.state == "older" else "not computed"
        return Part(stands.step, stands.state, "", older, ())
    stored = read_result(folder, stands.step)
    verdict, says = _matters(worst_first(stored_findings(stored.payload)))
    return Part(stands.step, "holds", verdict, says or stored.payload.get("next", ""), _pages(stored))


def _matters(findings: Sequence[Finding]) -> tuple[str, str]:
    """The worst verdict, and the finding that has it with what to do."""
    if not findings:
        return "", ""
    worst = findings[0]
    if worst.verdict == "clear":
        return "clear", f"{len(findings)} of {len(findings)} checks"
    where = f"{worst.where}: " if worst.where else ""
    return worst.verdict, f"{where}{worst.says} {sentence(worst.do) if worst.do else ''}".strip()


def _pages(stored: Stored) -> tuple[str, ...]:
    """PDFs of a step, by their names in ``results``."""
    return tuple(Path(name).name for name in stored.payload.get("files", []) if name.endswith(".pdf"))
