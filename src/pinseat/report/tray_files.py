"""Write the tray: what prints, the maps, the sheet and the plan."""

from __future__ import annotations

from pathlib import Path

from pinseat.case.files import atomic_write, plainly
from pinseat.case.model import Case
from pinseat.ledger.handover import Progress, quiet
from pinseat.mesh.threemf import threemf_bytes
from pinseat.mesh.write import stl_bytes
from pinseat.tray.step import Tray


def write_tray(
    folder: Path, case: Case, tray: Tray, meta: dict[str, str], progress: Progress = quiet
) -> tuple[Path, ...]:
    """Write everything about a tray into ``results/`` of its case.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    tray : Tray
    meta : dict of str to str
        Label and value of each version and hash.
    progress : callable

    Returns
    -------
    tuple of Path
        STL and 3MF where there is a body to print.

    Raises
    ------
    CaseError
        If the folder cannot be written.
    """
    results = folder / "results"
    with plainly(results):
        (results / "figures").mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    if tray.mesh is not None:
        progress("writing the tray", 0.0)
        name = f"tray {case.number}"
        said = {"Application": f"pinseat {meta.get('code', '')}".strip(), "Description": _said(tray)}
        for path, data in (
            (results / "tray.stl", stl_bytes(tray.mesh)),
            (results / "tray.3mf", threemf_bytes(tray.mesh, name=name, said=said)),
        ):
            atomic_write(path, data)
            written.append(path)
    return tuple(written)


def _said(tray: Tray) -> str:
    asked = tray.result.asked
    return (
        f"Impression tray, mm, in the coordinates of the scan. Relief {asked.relief_mm:g} mm, wall "
        f"{asked.wall_mm:g} mm. Not a medical device."
    )
