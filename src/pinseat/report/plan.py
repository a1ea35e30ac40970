"""A plan of the pins for a case without a scan: where they stand and how each leans, to a stated scale."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyBboxPatch

from pinseat.case.teeth import arch_position
from pinseat.ledger.pins import frame
from pinseat.report import style
from pinseat.report.labels import assign, ports_around
from pinseat.report.lean import lean_deg
from pinseat.survey.model import SurveyResult


def pin_plan(survey: SurveyResult) -> Figure:
    """Plan of the pins seen along the draw, with the lean of each as an arrow.

    Parameters
    ----------
    survey : SurveyResult
    """
    pins, draw = survey.field.pins, survey.window.centre
    figure = style.sheet(166, 84)
    axes = style.plain_axes(figure, (0.02, 0.02, 0.96, 0.96))
    across = frame(draw)
    feet = np.array([across @ pin.foot for pin in pins]).reshape(-1, 2)
    lean = lean_deg(survey.field, draw)
    per_mm = _degrees_per_mm(lean)
    feet, lean = level(feet, lean / per_mm, [arch_position(pin.tooth) for pin in pins])
    for tooth in dict.fromkeys(pin.tooth for pin in pins):
        tooth_outline(axes, feet[[pin.tooth == tooth for pin in pins]])
    for pin, foot, arrow in zip(pins, feet, lean, strict=True):
        axes.add_patch(
            Circle((foot[0], foot[1]), pin.diameter_mm / 2.0, facecolor=style.INK, edgecolor="none", zorder=3)
        )
        axes.annotate(
            "",
            (foot[0] + arrow[0], foot[1] + arrow[1]),
            (foot[0], foot[1]),
            arrowprops={"arrowstyle": "-|>", "color": style.ACCENT, "linewidth": 1.2, "shrinkA": 0},
            zorder=4,
        )
    name_pins(axes, [pin.name for pin in pins], feet)
    axes.set_aspect("equal")
    axes.set_axis_off()
    _rulers(axes, per_mm)
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    figure.set_figheight(min((top - bottom) / (right - left) * 166.0, 110.0) * style.MM)
    return figure


def _degrees_per_mm(lean: style.Array, longest_mm: float = 2.4) -> float:
    """A round scale for the arrows, the longest of them at most `longest_mm` on the teeth."""
    largest = float(np.hypot(lean[:, 0], lean[:, 1]).max(initial=0.0))
    rounds = [step * 10.0**power for power in (-1, 0, 1, 2) for step in (1.0, 2.0, 5.0)]
    return next((scale for scale in rounds if largest <= longest_mm * scale), rounds[-1])


def level(feet: style.Array, lean: style.Array, places: list[int]) -> tuple[style.Array, style.Array]:
    """Turn the plan: the pins' longest extent across the page, the patient's right on the left."""
    if len(feet) < 2:
        return feet, lean
    middle = feet - feet.mean(axis=0)
    along = np.linalg.svd(middle, full_matrices=False)[2][0]
    order = float((middle @ along) @ (np.array(places) - np.mean(places)))
    along = along if order >= 0.0 else -along
    turn = np.array([along, [-along[1], along[0]]])
    return middle @ turn.T, lean @ turn.T


def tooth_outline(axes: Axes, feet: style.Array) -> None:
    """A rounded box round the pins of one tooth."""
    low, high = feet.min(axis=0) - 1.6, feet.max(axis=0) + 1.6
    axes.add_patch(
        FancyBboxPatch(
            (low[0] + 1.0, low[1] + 1.0),
            high[0] - low[0] - 2.0,
            high[1] - low[1] - 2.0,
            boxstyle="round,pad=1.0,rounding_size=1.5",
            facecolor=style.TINT,
            edgecolor=style.HAIR,
            linewidth=0.8,
            zorder=1,
        )
    )


def name_pins(axes: Axes, names: list[str], feet: style.Array) -> None:
    """Names around the pins, and the limits of the axes so that all can be read."""
    if not names:
        return
    ports = ports_around(feet, 3.2, (2.6, 1.3))
    chosen = ports[assign(feet, ports)]
    for name, foot, port in zip(names, feet, chosen, strict=True):
        axes.plot([foot[0], port[0]], [foot[1], port[1]], color=style.GREY, linewidth=0.5, zorder=2)
        axes.text(
            port[0],
            port[1],
            name,
            ha="center",
            va="center",
            fontsize=10,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )
    both = np.concatenate([chosen, feet])
    low, high = both.min(axis=0) - 2.0, both.max(axis=0) + 2.0
    axes.set_xlim(low[0], max(high[0], low[0] + 20.0))
    axes.set_ylim(low[1] - 2.5, high[1])


def _rulers(axes: Axes, per_mm: float) -> None:
    """A scale for lengths and one for leans, bottom left."""
    left, bottom = axes.get_xlim()[0] + 0.6, axes.get_ylim()[0] + 0.6
    axes.plot([left, left + 5.0], [bottom, bottom], color=style.INK, linewidth=1.4, solid_capstyle="butt")
    axes.text(left + 5.3, bottom, "5 mm", va="center", fontsize=9)
    start = left + 9.0
    axes.annotate(
        "",
        (start + 1.0, bottom),
        (start, bottom),
        arrowprops={"arrowstyle": "-|>", "color": style.ACCENT, "linewidth": 1.2, "shrinkA": 0, "shrinkB": 0},
    )
    axes.text(start + 1.3, bottom, f"leans {per_mm:g}°", va="center", fontsize=9)
