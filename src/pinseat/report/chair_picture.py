"""The picture on the chair card: where the syringe goes, in numbered order, from closed ends outward."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patheffects import AbstractPathEffect, withStroke

from pinseat.case.teeth import arch_position
from pinseat.impression.model import ImpressionResult, Station
from pinseat.ledger.pins import PinField, frame
from pinseat.mesh.model import Mesh
from pinseat.report import style
from pinseat.report.arch import label, pin_colours, seen
from pinseat.report.labels import assign, ports_around
from pinseat.report.plan import level, tooth_outline

WIDTH_MM = 92.0
ROUND_MM = 9.0
"""The picture shows the scan this far round the places of injection."""


def injection_picture(mesh: Mesh, field: PinField, result: ImpressionResult) -> Figure:
    """Shaded picture of the prepared teeth with a number and an arrow for each place.

    Parameters
    ----------
    mesh : Mesh
        The working scan.
    field : PinField
    result : ImpressionResult
    """
    near = _near(mesh, np.array([p for one in result.order for p in (one.start, one.end)]))
    picture = seen(near, field, result.removal.pull, pin_colours(near, field))
    starts = picture.to_pixel(np.array([one.start for one in result.order]))
    ends = picture.to_pixel(np.array([one.end for one in result.order]))
    figure = label(picture, [str(one.number) for one in result.order], _marks(result, starts, ends), WIDTH_MM)
    _arrows(figure.axes[0], result.order, starts, ends)
    return figure


def injection_plan(field: PinField, result: ImpressionResult) -> Figure:
    """Plan of the pins along the draw with the same numbers, for a case without a scan.

    Parameters
    ----------
    field : PinField
    result : ImpressionResult
    """
    across = frame(result.removal.pull)
    order, teeth = result.order, [one.tooth for one in result.order]
    feet = np.array([across @ one.start for one in order]).reshape(-1, 2)
    pins = np.array([one.kind == "pin" for one in order])
    feet, _ = level(feet, np.zeros_like(feet), [arch_position(tooth) for tooth in teeth])
    figure = style.sheet(WIDTH_MM, 0.55 * WIDTH_MM)
    axes = style.plain_axes(figure, (0.02, 0.02, 0.96, 0.96))
    for tooth in dict.fromkeys(teeth):
        tooth_outline(axes, feet[pins & (np.array(teeth) == tooth)])
    axes.plot(feet[pins, 0], feet[pins, 1], "o", color=style.INK, markersize=6)
    ports = ports_around(feet, 3.2, (2.6, 1.6))
    chosen = ports[assign(feet, ports)]
    for one, foot, port in zip(order, feet, chosen, strict=True):
        axes.plot([foot[0], port[0]], [foot[1], port[1]], color=style.ACCENT, linewidth=0.9, zorder=2)
        axes.text(port[0], port[1], f"{one.number}", ha="center", va="center", fontsize=13, bbox=_BOX)
    shown = np.concatenate([chosen, feet])
    low, high = shown.min(axis=0) - 2.0, shown.max(axis=0) + 2.0
    axes.set_xlim(low[0], high[0])
    axes.set_ylim(low[1], high[1])
    axes.set_aspect("equal")
    axes.set_axis_off()
    return figure


_BOX = {"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": style.ACCENT, "linewidth": 0.8}


def _near(mesh: Mesh, places: style.Array) -> Mesh:
    """The part of a scan round some places."""
    close = np.zeros(len(mesh.vertices), bool)
    for place in places:
        close |= np.linalg.norm(mesh.vertices - place, axis=1) < ROUND_MM
    faces = mesh.faces[close[mesh.faces].all(axis=1)]
    used, renumbered = np.unique(faces, return_inverse=True)
    return Mesh(mesh.vertices[used], renumbered.reshape(-1, 3).astype(np.int32))


def _marks(result: ImpressionResult, starts: style.Array, ends: style.Array) -> style.Array:
    """Where each number's line ends: at the tip of a pin, which is seen, else where the injection begins."""
    at_end = np.array([one.kind == "pin" for one in result.order])
    return np.where(at_end[:, None], ends, starts)


def _arrows(axes: Axes, order: tuple[Station, ...], starts: style.Array, ends: style.Array) -> None:
    """An arrow along each groove from its closed end."""
    halo: list[AbstractPathEffect] = [withStroke(linewidth=4.0, foreground="white")]
    for one, start, end in zip(order, starts, ends, strict=True):
        if one.kind != "groove":
            continue
        arrow = axes.annotate(
            "",
            (end[0], end[1]),
            (start[0], start[1]),
            arrowprops={"arrowstyle": "-|>", "color": style.ACCENT, "linewidth": 2.2, "shrinkA": 0},
        )
        if arrow.arrow_patch is not None:
            arrow.arrow_patch.set_path_effects(halo)
