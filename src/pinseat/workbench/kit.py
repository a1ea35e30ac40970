"""What the page takes from installed packages: three.js and a type face. Nothing comes from the network."""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from pinseat.errors import WorkbenchError

_WANTED = ("THREE",)
LEAST_REVISION = 160
"""Oldest three.js whose parts the drawing uses."""


@dataclass(frozen=True)
class Kit:
    """Files that the page loads besides its own.

    Attributes
    ----------
    three : Path
        ES module that exports ``THREE``.
    revision : int
        Of three.js.
    fonts : Path
        Folder with ``fonts.css`` and ``fonts/``.
    serif : Path
        Type face of the headings, the one of the printed pages.
    """

    three: Path
    revision: int
    fonts: Path
    serif: Path


def find_kit() -> Kit:
    """Look for the bundled files without importing the packages that hold them.

    Returns
    -------
    Kit

    Raises
    ------
    WorkbenchError
        When a file is not where it was, or three.js is too old or exports something else.
    """
    nicegui, matplotlib = _folder("nicegui"), _folder("matplotlib")
    three = nicegui / "elements" / "scene" / "dist" / "index.js"
    fonts = nicegui / "static"
    serif = matplotlib / "mpl-data" / "fonts" / "ttf" / "STIXGeneral.ttf"
    for path in (three, fonts / "fonts.css", serif):
        if not path.is_file():
            raise WorkbenchError("a part of the page is missing", where=path.name, do=_AGAIN)
    text = three.read_text(encoding="utf-8")
    exported = text[text.rfind("export{") :]
    revision = re.search(r'="(\d{3})"', text[:2000])
    missing = [name for name in _WANTED if not re.search(rf"\bas {name}\b", exported)]
    if missing or revision is None or int(revision[1]) < LEAST_REVISION:
        said = f"revision {revision[1]}" if revision else "no revision"
        raise WorkbenchError(
            "the bundled three.js is not the one the drawing was made for",
            value=f"{said}, without {', '.join(missing)}" if missing else said,
            limit=f"revision {LEAST_REVISION} or later",
            do=_AGAIN,
        )
    return Kit(three, int(revision[1]), fonts, serif)


_AGAIN = "install pinseat anew with the pinned versions"


def _folder(package: str) -> Path:
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise WorkbenchError("a package that the page needs is not installed", where=package, do=_AGAIN)
    return Path(next(iter(spec.submodule_search_locations)))
