"""The draw window as a map in degrees: the draws that serve every pin, and each pin's lean and limit."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Ellipse, Polygon

from pinseat.report import style
from pinseat.report.labels import assign, ports_around
from pinseat.report.lean import lean_covariance_deg2, lean_deg
from pinseat.survey.model import SurveyResult

_MAP_MM = 64.0
"""Side of the map on the page."""


def draw_map(survey: SurveyResult) -> Figure:
    """Map of the draw about its best direction; axes are the two ways it may lean, in degrees.

    Parameters
    ----------
    survey : SurveyResult

    Notes
    -----
    Each pin's axis is a dot with the ellipse that holds it with 95 % probability (2.45 standard deviations in
    two dimensions); the thin circle about it is the lean that its hole allows. The shaded patch is what all
    circles share.
    """
    window, field = survey.window, survey.field
    figure = style.sheet(82, 76)
    axes = style.plain_axes(figure, (15.0 / 82.0, 10.5 / 76.0, _MAP_MM / 82.0, _MAP_MM / 76.0))
    lean = lean_deg(field, window.centre)
    outline = np.asarray(window.outline_deg, dtype=np.float64).reshape(-1, 2)
    if len(outline) > 2:
        axes.add_patch(Polygon(outline, facecolor=style.ACCENT, alpha=0.22, edgecolor="none"))
        axes.add_patch(Polygon(outline, fill=False, edgecolor=style.ACCENT, linewidth=1.4))
    for stretch in window.borders_deg.values():
        axes.plot(stretch[:, 0], stretch[:, 1], color=style.INK, linewidth=2.0, solid_capstyle="round")
    for pin, at in zip(field.pins, lean, strict=True):
        allowed = window.allowance_deg.get(pin.name)
        if allowed is not None and np.isfinite(allowed):
            limiting = pin.name in window.limited_by
            axes.add_patch(
                Circle(
                    (at[0], at[1]),
                    allowed,
                    fill=False,
                    edgecolor=style.INK if limiting else style.HAIR,
                    linewidth=0.9 if limiting else 0.6,
                    linestyle="--" if limiting else "-",
                )
            )
    _ellipses(axes, lean, lean_covariance_deg2(field, window.centre))
    axes.plot(lean[:, 0], lean[:, 1], "o", color=style.INK, markersize=3.2, linestyle="none")
    axes.plot([0.0], [0.0], "+", color=style.ACCENT, markersize=11, markeredgewidth=1.6)
    corners = _shown(lean, outline, list(window.allowance_deg.values()))
    middles = {name: _middle(stretch) for name, stretch in window.borders_deg.items()}
    labels = [pin.name for pin in field.pins] + [name.replace(" of tooth", "") for name in middles]
    _names(axes, labels, np.concatenate([lean, *(at[None] for at in middles.values())]), corners)
    axes.set_aspect("equal")
    axes.set_xlabel("lean from the best draw, first angle, °")
    axes.set_ylabel("second angle, °")
    return figure


def _middle(stretch: style.Array) -> style.Array:
    """The middle point of a stretch of border, on its longest piece."""
    pieces = np.split(stretch, np.flatnonzero(np.isnan(stretch[:, 0])))
    longest = max(pieces, key=len)
    longest = longest[~np.isnan(longest[:, 0])]
    return np.asarray(longest[len(longest) // 2])


def _ellipses(axes: Axes, lean: style.Array, spread: style.Array) -> None:
    for at, block in zip(lean, spread, strict=True):
        values, vectors = np.linalg.eigh(block)
        radius = np.sqrt(np.maximum(values, 0.0) * 5.991)
        turn = float(np.degrees(np.arctan2(vectors[1, 1], vectors[0, 1])))
        axes.add_patch(
            Ellipse(
                (at[0], at[1]),
                2.0 * radius[1],
                2.0 * radius[0],
                angle=turn,
                facecolor=style.GREY,
                alpha=0.25,
                edgecolor="none",
            )
        )


def _shown(lean: style.Array, outline: style.Array, allowed: list[float]) -> style.Array:
    """Corners of what must be seen: all pins, the best draw, the whole window, and much of the circles."""
    points = np.concatenate([np.zeros((1, 2)), lean, outline])
    finite = [a for a in allowed if np.isfinite(a)]
    reach = max(float(np.ptp(points, axis=0).max()), 0.2)
    around = min(0.75 * max(finite, default=0.0), reach)
    return np.array([points.min(axis=0) - around, points.max(axis=0) + around])


def _names(axes: Axes, names: list[str], lean: style.Array, corners: style.Array) -> None:
    """Name the pins, and open the map until the names fit inside it."""
    shrink = min(1.0, 14.0 / max(len(names), 1))
    side, ports, shown = 0.53 * float(np.ptp(corners, axis=0).max()), np.zeros((0, 2)), corners
    while len(lean):
        per_mm = 2.0 * side / _MAP_MM
        ports = ports_around(lean, 6.0 * per_mm, (9.5 * shrink * per_mm, 4.2 * shrink * per_mm))
        shown = np.concatenate([corners, ports - 5.0 * per_mm, ports + 5.0 * per_mm])
        if np.ptp(shown, axis=0).max() <= 2.0 * side:
            break
        side *= 1.05
    middle = (shown.min(axis=0) + shown.max(axis=0)) / 2.0
    chosen = ports[assign(lean, ports)]
    for name, at, port in zip(names, lean, chosen, strict=True):
        axes.plot([at[0], port[0]], [at[1], port[1]], color=style.GREY, linewidth=0.5)
        axes.text(
            port[0],
            port[1],
            name,
            ha="center",
            va="center",
            fontsize=8.5 * shrink,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )
    axes.set_xlim(middle[0] - side, middle[0] + side)
    axes.set_ylim(middle[1] - side, middle[1] + side)
