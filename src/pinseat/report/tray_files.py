"""Write the tray: what prints, the maps, the sheet and the plan."""

from __future__ import annotations

from pathlib import Path

from pinseat.case.files import atomic_write, plainly
from pinseat.case.model import Case
from pinseat.ledger.handover import Progress, quiet
from pinseat.ledger.pins import PinField
from pinseat.mesh.glb import glb_bytes
from pinseat.mesh.threemf import threemf_bytes
from pinseat.mesh.write import stl_bytes
from pinseat.report.tray_plan import write_tray_plan
from pinseat.report.tray_sheet import block_out_colours, relief_colours, write_tray_sheet
from pinseat.tray.step import Tray

BODY = ("tray.stl", "tray.3mf", "tray-relief.glb")
"""Files that only a tray that was made has; an older run's are taken away with it."""


def write_tray(
    folder: Path, case: Case, tray: Tray, field: PinField, meta: dict[str, str], progress: Progress = quiet
) -> tuple[Path, ...]:
    """Write everything about a tray into ``results/`` of its case.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    tray : Tray
    field : PinField
        The pins of the survey.
    meta : dict of str to str
        Label and value of each version and hash.
    progress : callable

    Returns
    -------
    tuple of Path
        Sheet and plan; STL, 3MF and the map of the relief where there is a body to print; the map of the
        block-out where there is a scan.

    Raises
    ------
    ReportError
        If a page cannot be set.
    CaseError
        If the folder cannot be written.
    """
    results = folder / "results"
    with plainly(results):
        (results / "figures").mkdir(parents=True, exist_ok=True)
        for name in BODY:
            (results / name).unlink(missing_ok=True)
    progress("writing the tray", 0.0)
    written: list[Path] = []
    for name, data in _bodies(case, tray, meta):
        atomic_write(results / name, data)
        written.append(results / name)
    progress("setting the tray sheet", 0.5)
    sheets = [write_tray_plan(folder, case, tray.result, field, tray.cast, meta)]
    if tray.cast is not None:
        sheets.insert(0, write_tray_sheet(folder, case, tray, field, meta))
    progress("setting the tray sheet", 1.0)
    return (*sheets, *written)


def _bodies(case: Case, tray: Tray, meta: dict[str, str]) -> list[tuple[str, bytes]]:
    out = []
    words = {**meta, "unit": "mm"}
    if tray.mesh is not None:
        asked = tray.result.asked
        said = {
            "Application": f"pinseat {meta.get('code', '')}".strip(),
            "Description": f"Impression tray in the coordinates of the scan. Relief {asked.relief_mm:g} mm, "
            f"wall {asked.wall_mm:g} mm. Not a medical device.",
        }
        out.append(("tray.stl", stl_bytes(tray.mesh)))
        out.append(("tray.3mf", threemf_bytes(tray.mesh, name=f"tray {case.number}", said=said)))
    if tray.cast is not None and tray.relief_mm is not None:
        glb = glb_bytes(tray.cast, relief_colours(tray), name="relief", up=tray.result.draw, extras=words)
        out.append(("tray-relief.glb", glb))
    if tray.cast is not None and tray.block_out_mm is not None:
        glb = glb_bytes(
            tray.cast, block_out_colours(tray), name="block-out", up=tray.result.draw, extras=words
        )
        out.append(("tray-block-out.glb", glb))
    return out
