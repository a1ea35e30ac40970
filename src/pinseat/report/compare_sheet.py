"""Write the comparison of two scans: one page, and the second scan coloured by its deviation."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from pinseat.case.files import atomic_write, plainly
from pinseat.compare.model import ChangedPlace, CompareResult, Deviation
from pinseat.ledger.handover import Progress, quiet
from pinseat.ledger.pins import PinField
from pinseat.mesh.colour import Colours, two_way
from pinseat.mesh.glb import glb_bytes
from pinseat.mesh.topology import face_vectors
from pinseat.mesh.write import ply_bytes
from pinseat.reference import Value
from pinseat.report.arch import label, seen, tips
from pinseat.report.compare_words import sheet_words
from pinseat.report.pages import tidy
from pinseat.report.rounding import fixed, unit_mark
from pinseat.report.setting import set_within
from pinseat.report.style import Array, look, write

WIDTH_MM = 120.0
MOST_LABELS = 5
"""Places named in the picture, besides the pins."""
_TIGHTER = tuple(
    {"size": size, "most": most, "high": high}
    for size, most, high in (
        (9.2, 1000, 100),
        (8.8, 1000, 92),
        (8.4, 1000, 84),
        (8.0, 1000, 76),
        (7.6, 16, 70),
        (7.2, 10, 62),
        (6.8, 7, 56),
        (6.4, 4, 48),
        (6.2, 2, 40),
    )
)
"""Type size in points, longest list, picture's height in mm: tried in turn until one page holds all."""


def write_compare_sheet(
    folder: Path,
    result: CompareResult,
    found: Deviation,
    pins: PinField | None,
    meta: dict[str, str],
    used: Sequence[Value] = (),
    progress: Progress = quiet,
) -> tuple[Path, ...]:
    """Write ``compare.pdf``, ``compare.glb``, ``compare.ply`` and the picture.

    Parameters
    ----------
    folder : Path
        Made when it is not there.
    result : CompareResult
    found : Deviation
    pins : PinField or None
        Of the first scan: they say which way to look, and are named.
    meta : dict of str to str
        Label and value of each version and hash to print.
    used : sequence of Value
        Reference values that were looked up.
    progress : callable

    Returns
    -------
    tuple of Path
        The PDF first.

    Raises
    ------
    ReportError
        If the page cannot be set.
    CaseError
        If the folder cannot be written.
    """
    with plainly(folder):
        (folder / "figures").mkdir(parents=True, exist_ok=True)
    progress("drawing the comparison", 0.0)
    colours = two_way(1e3 * found.calm_mm, result.limit_um)
    up = _off_the_teeth(found, pins)
    limit = fixed(result.limit_um, 0)
    said = {**meta, "colours": f"deviation, limit {limit} um: blue beyond the first scan, brown below"}
    files = [folder / "compare.glb", folder / "compare.ply"]
    atomic_write(files[0], glb_bytes(found.mesh, colours, name="deviation", up=up, extras=said))
    atomic_write(files[1], ply_bytes(found.mesh, colours))
    with look():
        figure = _picture(result, found, pins, up, colours)
        files += write(figure, folder / "figures" / "compare")
    plain = sheet_words(result, meta, _basis(used))
    plain["picture"] = {"file": "/figures/compare.svg", "alt": "The second scan coloured by its deviation."}
    progress("setting the comparison", 0.6)
    pdf = set_within("compare_sheet.typ", tidy(plain), folder, pages=1, tighter=_TIGHTER)
    atomic_write(folder / "compare.pdf", pdf)
    progress("setting the comparison", 1.0)
    return folder / "compare.pdf", *files


def _off_the_teeth(found: Deviation, pins: PinField | None) -> Array:
    """The pins' mean direction, else the way the surface looks; up for a closed one."""
    whole = (
        np.sum([pin.axis for pin in pins.pins], axis=0)
        if pins is not None and pins.pins
        else face_vectors(found.mesh).sum(axis=0)
    )
    size = float(np.linalg.norm(whole))
    return np.asarray(whole / size if size > 1e-6 else [0.0, 0.0, 1.0])


def _picture(
    result: CompareResult, found: Deviation, pins: PinField | None, up: Array, colours: Colours
) -> Figure:
    field = pins or PinField((), np.zeros((0, 0)), "scan")
    picture = seen(found.mesh, field, up, colours)
    points = [*tips(field)]
    names = [pin.name for pin in field.pins]
    shown = [place for place in result.places if not place.at][:MOST_LABELS]
    shown = [place for place in shown if picture.visible(place.place[None])[0]]
    points += [place.place for place in shown]
    names += [_place_name(place) for place in shown]
    return label(picture, names, picture.to_pixel(np.array(points).reshape(-1, 3)), WIDTH_MM)


def _place_name(place: ChangedPlace) -> str:
    sign = "+" if place.farthest_um > 0.0 else ""
    return f"{sign}{fixed(place.farthest_um, 0)} µm"


def _basis(used: Sequence[Value]) -> list[list[str]]:
    """The limits, each with its value and basis."""
    limits = [value for value in used if value.name.startswith("compare.")]
    words = [
        f"{value.name.removeprefix('compare.').rsplit('_', 1)[0].replace('_', ' ')} {value.value:g}"
        f"{unit_mark(value.unit if value.unit != '1' else '')}"
        for value in limits
    ]
    return [["limits", f"{'; '.join(words)} ({limits[0].basis}: {limits[0].reference})"]] if limits else []
