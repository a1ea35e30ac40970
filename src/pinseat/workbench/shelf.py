"""Where what was made for the drawing lies, and what it is called: by the content it was made from."""

from __future__ import annotations

from pathlib import Path

from pinseat.case import files, results
from pinseat.case.edit import read_draft
from pinseat.case.files import plainly
from pinseat.errors import CaseError, ScanError
from pinseat.reference import value

FOLDER = "drawing"
_MAKE = 2
"""Raised whenever the same content is drawn in another way."""


def name_of(folder: Path, what: str) -> str:
    """Name of the file in ``results/drawing`` that holds something to draw.

    Parameters
    ----------
    folder : Path
        The case folder.
    what : str
        ``scan``, ``undercut``, or the name of a file inside the case folder.

    Raises
    ------
    CaseError, ScanError
        When there is nothing to make it from.
    """
    if what == "undercut":
        survey = results.read_result(folder, "survey").meta["input"]
        key = results.input_hash(_MAKE, scan_state(folder), survey, undercut_limit(folder))
    else:
        state = scan_state(folder) if what == "scan" else file_state(files.inside(folder, what))
        key = results.input_hash(_MAKE, state)
    return f"{what.replace('/', '-')}.{key[:16]}.bin"


def path_of(folder: Path, name: str) -> Path:
    """Where a file of that name lies."""
    return folder / "results" / FOLDER / name


def undercut_limit(folder: Path) -> tuple[float, str]:
    """The depth that decides, in um: as the closer look took it, else an assumed one."""
    try:
        note = results.read_result(folder, "survey_sheet").payload["undercut"]
        return 1e3 * float(note["limit_mm"]), str(note["limit_source"])
    except (CaseError, KeyError, TypeError, ValueError):
        limit = value("drawing.undercut_um")
        return limit.value, f"{limit.reference} ({limit.basis})"


def scan_file(folder: Path) -> Path:
    """The scan as stated or, in a case that is still being filled in, the only one that is there."""
    stated = read_draft(folder).document.get("scan")
    name = stated.get("file") if isinstance(stated, dict) else None
    if isinstance(name, str) and name.strip() not in ("", "?"):
        return files.inside(folder, name)
    raise ScanError("no scan is stated yet", do="drop a scan on the page")


def scan_state(folder: Path) -> str:
    """Changes with the scan and the unit it is stated in."""
    stated = read_draft(folder).document.get("scan")
    unit = stated.get("unit") if isinstance(stated, dict) else None
    return results.input_hash(file_state(scan_file(folder)), unit)


def file_state(path: Path) -> str:
    """Changes with the name, the time or the size of a file."""
    with plainly(path):
        state = path.stat()
    return results.input_hash(path.name, state.st_mtime_ns, state.st_size)
