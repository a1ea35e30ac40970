"""The tray sheet, one page: the proof, the doses, and the tray from three sides."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from pinseat.case.files import atomic_write
from pinseat.case.model import Case
from pinseat.ledger.pins import PinField
from pinseat.mesh.colour import PLASTER, Colours, ramp
from pinseat.mesh.shade import Picture, shade
from pinseat.report import style
from pinseat.report.arch import label
from pinseat.report.orientation import upwards
from pinseat.report.pages import tidy
from pinseat.report.setting import set_within
from pinseat.report.tray_words import sheet_words
from pinseat.tray.step import Tray

Float = NDArray[np.float64]

BLOCK_OUT_STEP_MM = 0.5
"""Where the colours of the block-out map step: an undercut so deep wants a look."""
_BEYOND = 1.4
_MAP_MM, _VIEW_MM = 92.0, 70.0
_VIEW_PX = 760
_TIGHTER = tuple(
    {"size": size, "most": most, "high": high}
    for size, most, high in (
        (9.2, 40, 52),
        (8.8, 30, 50),
        (8.4, 24, 48),
        (8.0, 16, 46),
        (7.6, 10, 43),
        (7.2, 7, 42),
        (6.8, 5, 38),
        (6.4, 3, 34),
    )
)


def relief_colours(tray: Tray) -> Colours:
    """Colour of each vertex of the cast by the room over it: plaster where a stop touches, a step beyond
    what was asked over the teeth, grey where the tray does not reach.
    """
    assert tray.relief_mm is not None
    return ramp(tray.relief_mm, _BEYOND * tray.result.asked.relief_mm)


def block_out_colours(tray: Tray) -> Colours:
    """Colour of each vertex of the cast by the depth of the undercut filled there."""
    assert tray.block_out_mm is not None
    return ramp(tray.block_out_mm, BLOCK_OUT_STEP_MM)


def write_tray_sheet(folder: Path, case: Case, tray: Tray, field: PinField, meta: dict[str, str]) -> Path:
    """Write ``results/tray-sheet.pdf`` and its pictures.

    Parameters
    ----------
    folder : Path
        The case folder, with ``results/figures`` in it.
    case : Case
    tray : Tray
    field : PinField
    meta : dict of str to str
        Label and value of each version and hash to print.

    Returns
    -------
    Path

    Raises
    ------
    ReportError
        If the page cannot be set.
    CaseError
        If the folder cannot be written.
    """
    results = folder / "results"
    plain: dict[str, Any] = sheet_words(case, tray.result, meta)
    with style.look():
        plain["pictures"] = _pictures(results, tray, field)
    pdf = set_within("tray_sheet.typ", tidy(plain), results, pages=1, tighter=_TIGHTER)
    atomic_write(results / "tray-sheet.pdf", pdf)
    return results / "tray-sheet.pdf"


def _pictures(results: Path, tray: Tray, field: PinField) -> list[dict[str, str]]:
    if tray.cast is None:
        return []
    draw = tray.result.draw
    up = upwards(tray.cast, field, draw)
    figures: list[tuple[str, Figure, str]] = []
    figures.append(("map", _map(tray, field, draw, up), _map_caption(tray)))
    if tray.mesh is not None:
        side = np.cross(draw, up)
        for name, eye, towards, caption in (
            ("inside", -draw, up, "Inside, as seen from the teeth."),
            ("outside", 0.62 * draw - 0.78 * up + 0.1 * side, up, "Outside, from the front."),
        ):
            picture = shade(tray.mesh, eye, up=towards + 0.01 * draw, width_px=_VIEW_PX)
            figures.append((name, _bare(picture), caption))
    out = []
    for name, figure, caption in figures:
        png, _ = style.write(figure, results / "figures" / f"tray-{name}")
        out.append({"file": f"/figures/{png.name}", "caption": caption})
    return out


def _map(tray: Tray, field: PinField, draw: Float, up: Float) -> Figure:
    """The cast along the draw, coloured by the room over it; stops and pins by name."""
    assert tray.cast is not None
    if tray.relief_mm is not None:
        colours = relief_colours(tray)
    else:
        colours = np.array([PLASTER], np.uint8).repeat(len(tray.cast.vertices), axis=0)
    picture = shade(tray.cast, draw, up=up, width_px=1000, colours=colours)
    stops = tray.result.stops
    names = [f"stop {i}" for i in range(1, len(stops) + 1)] + [pin.name for pin in field.pins]
    places = [stop.at for stop in stops]
    places += [pin.foot + pin.protrusion_mm * pin.axis for pin in field.pins]
    return label(picture, names, picture.to_pixel(np.array(places).reshape(-1, 3)), _MAP_MM)


def _map_caption(tray: Tray) -> str:
    if tray.relief_mm is None:
        return "The cast along the draw; the patient's right is on the left."
    asked = tray.result.asked.relief_mm
    return (
        f"Room over the cast, along the draw, the patient's right on the left. Plaster: none. Pale blue: up "
        f"to {_BEYOND * asked:.1f} mm. Dark: more, over pins and undercuts. Grey: not covered."
    )


def _bare(picture: Picture) -> Figure:
    height, width = picture.rgb.shape[:2]
    figure = style.sheet(_VIEW_MM, _VIEW_MM * height / width)
    axes = style.plain_axes(figure, (0.0, 0.0, 1.0, 1.0))
    axes.imshow(picture.rgb, interpolation="none", extent=(0.0, width, height, 0.0))
    axes.set_axis_off()
    return figure
