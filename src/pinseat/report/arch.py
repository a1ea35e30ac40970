"""The picture of the arch with its pins numbered."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from pinseat.ledger.pins import PinField
from pinseat.mesh.colour import PLASTER, Colours
from pinseat.mesh.model import Mesh
from pinseat.mesh.shade import Picture, shade
from pinseat.report import style
from pinseat.report.labels import assign, ports_around
from pinseat.report.orientation import upwards

LEAN_OF_VIEW_DEG = 38.0
"""The eye stands off the draw by this much, so that pins are seen standing and not as dots."""

WIDTH_PX = 1200

COPPER = (205, 118, 74)
"""Colour of the pins in the picture; each also has a line and a name."""


def arch_picture(mesh: Mesh, field: PinField, draw: style.Array) -> Figure:
    """Shaded picture of the scan with a name and a line to each pin.

    Parameters
    ----------
    mesh : Mesh
        The working copy of the scan.
    field : PinField
    draw : (3,) array
        Unit vector off the teeth.
    """
    picture = seen(mesh, field, draw, pin_colours(mesh, field))
    return label(picture, [pin.name for pin in field.pins], picture.to_pixel(tips(field)))


def seen(mesh: Mesh, field: PinField, draw: style.Array, colours: Colours) -> Picture:
    """Shaded picture of the scan as the dentist stands before it, somewhat off the draw.

    Parameters
    ----------
    mesh : Mesh
    field : PinField
    draw : (3,) array
    colours : (n, 3) uint8 array
        Colour of each vertex.
    """
    up = upwards(mesh, field, draw)
    angle = np.radians(LEAN_OF_VIEW_DEG)
    towards_eye = np.cos(angle) * draw - np.sin(angle) * up
    return shade(mesh, towards_eye, up=up, width_px=WIDTH_PX, colours=colours)


def tips(field: PinField) -> style.Array:
    """Free ends of the pins; (n, 3), mm."""
    return np.array([pin.foot + pin.axis * pin.protrusion_mm for pin in field.pins]).reshape(-1, 3)


def pin_colours(mesh: Mesh, field: PinField, ground: Colours | None = None) -> Colours:
    """Colour of each vertex: copper on the pins' walls and ends.

    Parameters
    ----------
    mesh : Mesh
    field : PinField
    ground : (n, 3) uint8 array, optional
        Colours elsewhere; plaster when left out.

    Returns
    -------
    (n, 3) uint8 array
    """
    plaster = np.array([PLASTER], np.uint8)
    colours = plaster.repeat(len(mesh.vertices), axis=0) if ground is None else ground.copy()
    for pin in field.pins:
        away = mesh.vertices - pin.foot
        along = away @ pin.axis
        near = np.flatnonzero((along > 0.1) & (along < pin.protrusion_mm + 0.2))
        across = np.linalg.norm(away[near] - along[near, None] * pin.axis, axis=1)
        colours[near[across < 0.5 * pin.diameter_mm + 0.12]] = COPPER
    return colours


def label(picture: Picture, names: list[str], points: style.Array, width_mm: float = 166.0) -> Figure:
    """Set names beside points of a picture.

    Parameters
    ----------
    picture : Picture
    names : list of str
    points : (n, 2) array
        In pixels: to the right, down.
    width_mm : float
        Width of the figure; the names are of the same size whatever it is, until there are too many.
    """
    height, width = picture.rgb.shape[:2]
    shrink = min(1.0, 0.14 * width_mm / max(len(names), 1))
    chosen, low, high = _places(points, np.array([width, height]), width_mm, shrink)
    figure = style.sheet(width_mm, width_mm * (high[1] - low[1]) / (high[0] - low[0]))
    figure.set_facecolor(tuple(picture.rgb[0, 0] / 255.0))
    axes = style.plain_axes(figure, (0.0, 0.0, 1.0, 1.0))
    axes.imshow(picture.rgb, interpolation="none", extent=(0.0, width, height, 0.0))
    axes.set_axis_off()
    halo = [withStroke(linewidth=2.4, foreground="white")]
    for name, at, port in zip(names, points, chosen, strict=True):
        axes.plot([at[0], port[0]], [at[1], port[1]], color=style.ACCENT, linewidth=0.9, path_effects=halo)
        axes.plot([at[0]], [at[1]], "o", color=style.ACCENT, markersize=3.0, markeredgecolor="white")
        axes.text(
            port[0],
            port[1],
            name,
            ha="center",
            va="center",
            fontsize=10.0 * shrink,
            bbox={
                "boxstyle": "round,pad=0.2",
                "facecolor": "white",
                "edgecolor": style.ACCENT,
                "linewidth": 0.8,
            },
        )
    axes.set_xlim(low[0], high[0])
    axes.set_ylim(high[1], low[1])
    return figure


def _places(
    points: style.Array, size: style.Array, width_mm: float, shrink: float
) -> tuple[style.Array, style.Array, style.Array]:
    """Where the names go, and the corners of what is shown, in pixels.

    The names widen what is shown, and so what a millimetre of the page is: a few rounds settle it.
    """
    per_mm = float(size[0]) / width_mm
    for _ in range(12):
        unit = per_mm * shrink
        chosen = np.zeros((0, 2))
        if len(points):
            ports = ports_around(points, 13.0 * unit, (11.5 * unit, 6.5 * unit))
            chosen = ports[assign(points, ports)]
        room = np.array([7.0, 4.5]) * unit
        low = np.minimum(chosen.min(axis=0, initial=np.inf) - room, 0.0)
        high = np.maximum(chosen.max(axis=0, initial=-np.inf) + room, size)
        if high[0] - low[0] <= 1.02 * per_mm * width_mm:
            break
        per_mm = float(high[0] - low[0]) / width_mm
    return chosen, low, high
