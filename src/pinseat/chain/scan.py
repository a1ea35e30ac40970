"""The first step: is the scan sound, in which unit, and what is its working copy?"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import numpy as np

from pinseat.case import files
from pinseat.case.model import Scan as Stated
from pinseat.errors import CaseError, ScanError
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Progress
from pinseat.mesh.files import Scan, read_scan
from pinseat.mesh.health import Health, health
from pinseat.mesh.model import Mesh
from pinseat.mesh.unit_guess import LARGEST_MM, SMALLEST_MM, guess_unit
from pinseat.mesh.working_copy import working_copy
from pinseat.reference import value
from pinseat.report.inputs import ScanPart


@dataclass(frozen=True)
class ScanResult:
    """The scan as received, and what was done to a copy of it.

    Attributes
    ----------
    part : ScanPart
        In words, for the page.
    sha256 : str
        Content hash of the file as received.
    health : Health
        Of the file as received.
    findings : tuple of Finding
    """

    part: ScanPart
    sha256: str
    health: Health
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False)
class Working:
    """The result with the mesh that the later steps work on, in mm."""

    result: ScanResult
    mesh: Mesh


def inspect(folder: Path, stated: Stated, progress: Progress) -> Working:
    """Read the scan of a case, examine it and make a working copy; the file is never changed.

    Parameters
    ----------
    folder : Path
        The case folder.
    stated : Scan
        What the case says about the scan.
    progress : callable

    Returns
    -------
    Working

    Raises
    ------
    ScanError
        When the file cannot be read, or its unit has to be asked for.
    CaseError
        When the file is not the one the case was made for.
    """
    progress("reading the scan", 0.0)
    path = files.inside(folder, stated.file)
    with ThreadPoolExecutor(1) as pool:  # the reader is another process: load the charts meanwhile
        pool.submit(import_module, "pinseat.report.write")
        scan = read_scan(path, stated.unit)
    if stated.sha256 is not None and stated.sha256.lower() != scan.sha256:
        raise CaseError(
            "this is not the scan the case was made for: its content has changed",
            where=f"scan.file, {stated.file}",
            value=f"sha256 {scan.sha256[:12]}...",
            limit=f"{stated.sha256[:12]}...",
            do="put the first file back, or take sha256 out of case.toml if the new one is meant",
        )
    asked = _sure_of_unit(scan, stated)
    progress("examining the scan", 0.4)
    with ThreadPoolExecutor(1) as pool:
        examined = pool.submit(health, scan.mesh)
        copy = working_copy(scan.mesh)
        sound = examined.result()
    progress("examining the scan", 1.0)
    part = ScanPart(
        file=stated.file,
        format=scan.format,
        unit=scan.unit or "mm",
        triangles=sound.triangles,
        health=(*scan.notes, *sound.notes),
        working_copy=copy.did,
    )
    return Working(ScanResult(part, scan.sha256, sound, tuple(_findings(sound, asked))), copy.mesh)


def _sure_of_unit(scan: Scan, stated: Stated) -> str:
    """The reason for taking the scan to be in millimetres; empty when the unit is known.

    Raises
    ------
    ScanError
        When a unit has to be asked for: it is never guessed silently, and nothing is rescaled.
    """
    guess = guess_unit(scan.mesh)
    if scan.unit is None and guess.question:
        raise ScanError("its unit is not stated", where=stated.file, do=guess.question)
    if scan.unit is not None and guess.unit != "mm" and not _could_be_teeth(scan.mesh):
        raise ScanError(
            f"in {scan.unit}, as stated, this scan is not the size of teeth",
            where=stated.file,
            value=guess.reason,
            do="correct unit under [scan]",
        )
    return guess.reason if scan.unit is None else ""


def _could_be_teeth(mesh: Mesh) -> bool:
    """Whether a stated unit is believable: half to twice the usual size of what gets scanned."""
    return 0.5 * SMALLEST_MM <= float(np.ptp(mesh.vertices, axis=0).max()) <= 2.0 * LARGEST_MM


def _findings(sound: Health, assumed_mm: str) -> Iterator[Finding]:
    if assumed_mm:
        yield Finding(
            code="scan.unit",
            where="scan",
            says=f"No unit is stated; taken as millimetres: {assumed_mm}.",
            verdict="caution",
            do='write unit = "mm" under [scan]',
        )
    if sound.noise_um is not None:
        noise = value("scanner.noise_max_um")
        yield Finding(
            code="scan.noise",
            where="scan",
            says="Point noise of the scan, estimated from the surface itself.",
            verdict="clear" if sound.noise_um <= noise.value else "caution",
            value=sound.noise_um,
            unit="um",
            limit=noise.value,
            limit_source=noise.cited,
            do=""
            if sound.noise_um <= noise.value
            else "scan once more, with the teeth dry and the tip steady",
        )
