"""Compare two scans, each a file or a case: read, find the pins on both, lay, measure, write."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from pinseat import reference
from pinseat.case import files
from pinseat.case.model import Case
from pinseat.case.model import Scan as Stated
from pinseat.case.results import json_text, to_plain
from pinseat.chain.run import run as run_case
from pinseat.chain.scan import inspect
from pinseat.chain.version import code_version
from pinseat.chain.work import Work
from pinseat.compare import step as compare_step
from pinseat.compare.model import CompareResult, Copy, Deviation, Side
from pinseat.compare.pins import field_moved
from pinseat.errors import CompareError, ScanError, SurveyError
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.ledger.pins import PinField
from pinseat.mesh.model import Mesh
from pinseat.mesh.registration import Registration, register
from pinseat.survey import step as survey_step


@dataclass(frozen=True, eq=False)
class Compared:
    """What a comparison gave and where it lies.

    Attributes
    ----------
    result : CompareResult
    folder : Path
        Where its files lie.
    meta : dict of str to str
        Code version, reference-data version, and the content hash of either scan.
    """

    result: CompareResult
    folder: Path
    meta: dict[str, str]

    def answer(self) -> dict[str, Any]:
        """The one object that ``--json`` prints: no paths beyond file names, no times."""
        plain = to_plain(self.result)
        findings = [{"step": "compare", **found} for found in plain.pop("findings")]
        return {"meta": self.meta, "compare": plain, "findings": findings}


@dataclass(frozen=True, eq=False)
class _Taken:
    """One side as read."""

    name: str
    sha256: str
    mesh: Mesh
    case: Case | None
    field: PinField | None


def compare(
    first: Path,
    second: Path,
    *,
    first_unit: str | None = None,
    second_unit: str | None = None,
    copy: Copy | None = None,
    out: Path | None = None,
    progress: Progress = quiet,
) -> Compared:
    """Compare two scans and write the sheet, the coloured scan and the numbers.

    Parameters
    ----------
    first, second : Path
        A scan file or a case folder each: what it should be, and what it is.
    first_unit, second_unit : str, optional
        Of a scan file; asked for when its size does not tell.
    copy : str, optional
        Which copy the second is of the first; rows for its ledger are made then.
    out : Path, optional
        Folder to write; the case's ``results``, or ``compare`` where the first is a file.
    progress : callable

    Returns
    -------
    Compared

    Raises
    ------
    CompareError
        When the scans cannot be laid on each other.
    ScanError
        When a scan cannot be read, or its unit has to be asked for.
    """
    with reference.recording() as used:
        one = _take(first, first_unit, "first", progress)
        other = _take(second, second_unit, "second", progress)
        progress("laying the scans on each other", 0.0)
        laid = register(one.mesh, other.mesh)
        progress("finding the pins", 0.4)
        a, b, laid = _with_pins(one, other, laid)
        stated = one.case or other.case
        result, found = compare_step.run(
            a, b, progress, laid=laid, copy=copy, length_mm=_lengths(stated) if stated else None
        )
    meta = {
        "code": code_version(),
        "reference": reference.version(),
        "first scan": one.sha256[:16],
        "second scan": other.sha256[:16],
    }
    folder = out or (first / "results" if first.is_dir() else Path("compare"))
    result = _write(folder, result, found, a.pins, meta, sorted(used), progress)
    return Compared(result, folder, meta)


def _take(path: Path, unit: str | None, which: str, progress: Progress) -> _Taken:
    if not path.is_dir():
        return _take_file(path, unit, which, progress)
    work = Work(path, None, progress)
    if work.case.scan is None or work.working is None:
        raise CompareError("this case has no scan to compare", where=str(path), do="name a scan file instead")
    try:
        survey = run_case(path, until="survey", progress=progress).survey if _has_pins(work.case) else None
    except SurveyError:  # the case of an impression shows no pin on this side
        survey = None
    return _Taken(
        f"{path.resolve().name}/{Path(work.case.scan.file).name}",
        work.scan_hash,
        work.working.mesh,
        work.case,
        survey.field if survey else None,
    )


def _take_file(path: Path, unit: str | None, which: str, progress: Progress) -> _Taken:
    try:
        stated = Stated.model_validate({"file": path.name, "unit": unit})
        seen = inspect(path.parent, stated, progress)
    except ScanError as error:
        asked = re.sub(r'unit = "(\w+)"', rf"--{which}-unit \1", error.do).replace(" in the case", "")
        asked = asked.replace("correct unit under [scan]", f"correct --{which}-unit")
        raise ScanError(
            error.what, where=error.where, value=error.value, limit=error.limit, do=asked
        ) from None
    return _Taken(path.name, files.sha256_of(path), seen.mesh, None, None)


def _has_pins(case: Case) -> bool:
    return any(abutment.pins for abutment in case.abutments)


def _with_pins(one: _Taken, other: _Taken, laid: Registration) -> tuple[Side, Side, Registration]:
    """Both sides with their pins; a scan without a case is surveyed in the place of the case's own scan.

    Which side of an open surface is its front cannot be told from its shape alone; where the pins stand
    tells. When none stands off the second scan's teeth, its other side is looked at: an impression holds them
    there.
    """
    if one.field is not None and one.case is not None and other.field is None:
        mesh, field, negative = _second_pins(one.case, other.mesh, laid)
        laid = replace(laid, turned_over=negative)
        return Side(one.name, one.mesh, one.field), Side(other.name, mesh, field), laid
    first = one.field
    if other.field is not None and other.case is not None and one.field is None:
        back, away = laid.rotation.T, -laid.rotation.T @ laid.shift
        seen = _surveyed(other.case, Mesh(one.mesh.vertices @ back.T + away, one.mesh.faces), False)
        first = field_moved(seen, laid.rotation, laid.shift) if seen else None
    return Side(one.name, one.mesh, first), Side(other.name, other.mesh, other.field), laid


def _second_pins(case: Case, mesh: Mesh, laid: Registration) -> tuple[Mesh, PinField | None, bool]:
    """The second scan, its front where its pins stand; its pins; whether it is a negative."""
    back, away = laid.rotation.T, -laid.rotation.T @ laid.shift
    over = Mesh(mesh.vertices, np.ascontiguousarray(mesh.faces[:, ::-1]))
    teeth, rubber = (over, mesh) if laid.turned_over else (mesh, over)
    for front, negative in ((teeth, False), (rubber, True)):
        seen = _surveyed(case, Mesh(laid.apply(front.vertices), front.faces), negative)
        if seen is not None:
            return front, field_moved(seen, back, away), negative
    return mesh, None, laid.turned_over


def _surveyed(case: Case, mesh: Mesh, negative: bool) -> PinField | None:
    """Pins of a scan that lies where the case's own scan lies; None when none are found.

    What was picked by hand on the case's own scan says nothing about this one. On a negative a pin shows its
    other end, so the length that stands out of the tooth says nothing either.
    """
    told: dict[str, Any] = {"contacts": (), "pins": ()}
    if negative:
        told["abutments"] = tuple(
            abutment.model_copy(update={"impression_pin_length_mm": None}) for abutment in case.abutments
        )
    try:
        return survey_step.run(case.model_copy(update=told), Handover(), mesh=mesh).field
    except SurveyError:
        return None


def _lengths(case: Case) -> dict[int, float]:
    """Whole length of the pins of each tooth, where it is stated."""
    return {
        abutment.tooth: abutment.impression_pin_length_mm
        for abutment in case.abutments
        if abutment.impression_pin_length_mm is not None
    }


def _write(
    folder: Path,
    result: CompareResult,
    found: Deviation,
    pins: PinField | None,
    meta: dict[str, str],
    used: list[str],
    progress: Progress,
) -> CompareResult:
    from pinseat.report.compare_sheet import write_compare_sheet

    written = write_compare_sheet(
        folder, result, found, pins, meta, [reference.value(name) for name in used], progress
    )
    result = replace(
        result, files=(*(path.relative_to(folder).as_posix() for path in written), "compare.json")
    )
    files.atomic_write(folder / "compare.json", json_text(Compared(result, folder, meta).answer()).encode())
    return result
