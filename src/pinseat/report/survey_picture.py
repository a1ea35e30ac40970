"""The survey's picture of the arch: undercut and regions on the scan, pins by name, regions by letter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter

from pinseat.mesh.colour import PLASTER, Colours, blend, ramp
from pinseat.mesh.model import Mesh
from pinseat.mesh.raster import interpolate
from pinseat.mesh.shade import OVERSAMPLING
from pinseat.report import style
from pinseat.report.arch import label, pin_colours, seen, tips
from pinseat.report.survey_parts import Region, UndercutPart
from pinseat.survey.model import SurveyResult

WIDTH_MM = 104.0

_HUES = ((86, 180, 233), (230, 159, 0), (0, 158, 115), (204, 121, 167), (240, 228, 66))
"""Told apart by colour-blind eyes: Okabe and Ito, Color Universal Design, 2008. Letters say it too."""
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
_SMOOTH_PX = 1.5


def letter(number: int) -> str:
    """Letter of a region, counted from 0; I and O are left out.

    Examples
    --------
    >>> letter(0), letter(8), letter(24)
    ('A', 'J', 'A2')
    """
    turn, place = divmod(number, len(_LETTERS))
    return _LETTERS[place] + (str(turn + 1) if turn else "")


def survey_colours(
    mesh: Mesh, survey: SurveyResult, undercut: UndercutPart | None, regions: Sequence[Region]
) -> Colours:
    """Colour of each vertex: depth of the undercut where it is known, else the regions; pins copper.

    Parameters
    ----------
    mesh : Mesh
    survey : SurveyResult
    undercut : UndercutPart or None
    regions : sequence of Region

    Returns
    -------
    (n, 3) uint8 array
    """
    if undercut is not None:
        ground = ramp(undercut.map.depth_mm, undercut.limit_mm)
    else:
        ground = np.array([PLASTER], np.uint8).repeat(len(mesh.vertices), axis=0)
        for i, region in enumerate(regions):
            inside = np.unique(mesh.faces[region.faces])
            ground[inside] = blend(ground[inside], _HUES[i % len(_HUES)], 0.4)
    return pin_colours(mesh, survey.field, ground)


def survey_picture(
    mesh: Mesh,
    survey: SurveyResult,
    colours: Colours,
    undercut: UndercutPart | None,
    regions: Sequence[Region],
) -> tuple[Figure, tuple[bool, ...]]:
    """Picture of the scan with the pins' names, the regions' outlines and letters, and a line round what is
    undercut beyond the limit.

    Parameters
    ----------
    mesh : Mesh
    survey : SurveyResult
    colours : (n, 3) uint8 array
        Of :func:`survey_colours`.
    undercut : UndercutPart or None
    regions : sequence of Region

    Returns
    -------
    figure : Figure
    shown : tuple of bool
        Whether each region is seen from here.
    """
    field = survey.field
    picture = seen(mesh, field, survey.window.centre, colours)
    face = picture.field.face[::OVERSAMPLING, ::OVERSAMPLING]
    masks = [_seen_of(region, face, len(mesh.faces)) for region in regions]
    shown = tuple(bool(mask.any()) for mask in masks)
    places = [_middle(mask) for mask in masks if mask.any()]
    names = [pin.name for pin in field.pins]
    letters = [letter(i) for i, is_shown in enumerate(shown) if is_shown]
    points = np.concatenate([picture.to_pixel(tips(field)), np.array(places).reshape(-1, 2)])
    figure = label(picture, names + letters, points, WIDTH_MM)
    axes = figure.axes[0]
    for text in axes.texts[len(names) :]:
        box = {
            "boxstyle": "circle,pad=0.2",
            "facecolor": style.TINT,
            "edgecolor": style.INK,
            "linewidth": 0.8,
        }
        text.set_bbox(box)
    for mask in masks:
        _outline(axes, mask, style.INK, "-")
    if undercut is not None:
        depth = np.minimum(undercut.map.depth_mm, 2.0 * undercut.limit_mm)
        seen_depth = interpolate(mesh, picture.field, depth[:, None])[::OVERSAMPLING, ::OVERSAMPLING, 0]
        _outline(axes, np.nan_to_num(seen_depth) > undercut.limit_mm, "white", "--")
    return figure, shown


def _seen_of(region: Region, face: NDArray[np.int32], count: int) -> NDArray[np.bool_]:
    """Pixels at which a region is seen."""
    inside = np.zeros(count + 1, bool)
    inside[region.faces] = True
    return np.asarray(inside[face])


def _middle(mask: NDArray[np.bool_]) -> tuple[float, float]:
    """The pixel deepest inside a patch: to the right, down."""
    deepest = int(np.argmax(distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]))
    row, column = divmod(deepest, mask.shape[1])
    return column + 0.5, row + 0.5


def _outline(axes: Axes, mask: NDArray[np.bool_], colour: str, dash: Literal["-", "--"]) -> None:
    """A thin line round a patch of pixels; specks of a pixel or two get none."""
    soft = gaussian_filter(mask.astype(np.float32), _SMOOTH_PX)
    if soft.max() <= 0.5:
        return
    rows, columns = mask.shape
    across, down = np.arange(columns) + 0.5, np.arange(rows) + 0.5
    lines = axes.contour(across, down, soft, levels=[0.5], colors=[colour], linewidths=0.9, zorder=1.5)
    lines.set_linestyle(dash)
