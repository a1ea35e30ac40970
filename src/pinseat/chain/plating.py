"""Plating as two steps: the map, which takes a while, and the programme, which follows the bench log."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from pinseat.case import log, results
from pinseat.case.document import load_case
from pinseat.case.model import Case
from pinseat.case.rebuild import rebuild
from pinseat.chain.version import code_version
from pinseat.chain.work import Work
from pinseat.errors import CaseError
from pinseat.plating import step
from pinseat.plating.charge import KIND
from pinseat.plating.programme import programme
from pinseat.plating.result import PlatingResult, ProgrammeResult

applies = step.applies


def entries(folder: Path) -> tuple[log.Entry, ...]:
    """Entries of the plating in the bench log, in the order of the file."""
    return tuple(entry for entry in log.read(folder).entries if entry.kind == KIND)


def logged(work: Work) -> list[dict[str, object]]:
    """What the programme depends on besides the case: the log of the plating."""
    return [entry.model_dump(mode="json") for entry in entries(work.folder)]


def make(work: Work) -> PlatingResult:
    """Solve the field and write the thickness map."""
    from pinseat.report.plating_picture import Coloured, write_thickness

    work.progress("plating the cups", 0.0)
    mesh = work.working.mesh if work.working else None
    result, made = step.solved(work.case, work.handover(), work.progress, mesh=mesh)
    assert result.map is not None
    shown = Coloured(made.mesh, made.thickness_mm, result.aim.minimum_mm, made.up, None, made.thinnest)
    return replace(result, files=write_thickness(work.folder, shown, work.meta))


def make_programme(work: Work) -> ProgrammeResult:
    """Follow the log and set the sheet."""
    from pinseat.report.plating_sheet import write_plating_sheet

    work.progress("setting the programme", 0.0)
    plated = work.result("plating")
    planned = programme(work.case, plated, entries(work.folder))
    written = write_plating_sheet(work.folder, work.case, plated, planned, work.meta, work.progress)
    names = tuple(path.relative_to(work.folder).as_posix() for path in written)
    return replace(planned, files=names)


@dataclass(frozen=True, eq=False)
class Bench:
    """How the plating of a case stands, without solving anything anew.

    Attributes
    ----------
    case : Case
    plated : PlatingResult
    programme : ProgrammeResult
    basis : str
        What the map is: fresh, from before a change, or none yet; in words, empty when it is fresh.
    torn : str
        What there is of a last line of the log that a power cut tore.
    """

    case: Case
    plated: PlatingResult
    programme: ProgrammeResult
    basis: str
    torn: str


def bench(folder: Path) -> Bench:
    """How the plating stands by the log, with the last map there is.

    Parameters
    ----------
    folder : Path
        The case folder.

    Returns
    -------
    Bench
    """
    case, read = load_case(folder), log.read(folder)
    plated, basis = _last_map(folder, case)
    mine = tuple(entry for entry in read.entries if entry.kind == KIND)
    return Bench(case, plated, programme(case, plated, mine), basis, read.torn)


def _last_map(folder: Path, case: Case) -> tuple[PlatingResult, str]:
    do = f"for the thickness map: pinseat plate {folder}"
    try:
        stored = results.read_result(folder, "plating")
        found: PlatingResult = rebuild(PlatingResult, stored.payload)
        same = stored.meta["case"] == results.input_hash(case.model_dump(mode="json"))
        fresh = same and stored.meta["code"] == code_version()
    except (CaseError, KeyError, TypeError, ValueError):
        return step.by_areas(case), f"by areas alone; {do}"
    return found, "" if fresh else f"by a map from before a change; {do}"
