"""The arch as a chart: every tooth with both of its numbers, so that "11" cannot be taken for another."""

from __future__ import annotations

import math

from matplotlib.figure import Figure
from matplotlib.patches import Ellipse

from pinseat.case.model import Case
from pinseat.case.teeth import FDI, arch, arch_position, to_universal
from pinseat.report import style

_WIDE, _HIGH = 78.0, 48.0
_DROP = 10.0


def teeth_chart(case: Case) -> Figure:
    """One arch, seen on the chewing surfaces, the patient's right on the left.

    Retainers are filled, missing teeth dashed. Outside stand the FDI numbers, inside the Universal ones.

    Parameters
    ----------
    case : Case
    """
    figure = style.sheet(_WIDE, _HIGH)
    axes = style.plain_axes(figure, (0.0, 0.0, 1.0, 1.0))
    here = arch(case.abutments[0].tooth)
    retainers = {abutment.tooth for abutment in case.abutments}
    for tooth in FDI:
        if arch(tooth) == here:
            _tooth(axes, tooth, tooth in retainers, tooth in case.missing, here == "upper")
    axes.text(
        0.0, -8.0 if here == "upper" else 8.0, f"{here} arch", ha="center", va="center", color=style.GREY
    )
    for x, words in ((-36.5, "right"), (36.5, "left")):
        axes.text(
            x,
            -21.5 if here == "upper" else 29.0,
            words,
            ha="center",
            va="center",
            color=style.GREY,
            fontsize=7.5,
        )
    axes.set_xlim(-_WIDE / 2, _WIDE / 2)
    axes.set_ylim(-_HIGH / 2, _HIGH / 2)
    axes.set_aspect("equal")
    axes.set_axis_off()
    return figure


def _tooth(axes: object, tooth: int, retainer: bool, missing: bool, upper: bool) -> None:
    place = arch_position(tooth)
    share = (abs(place) - 0.5) / 8.0
    turn = math.copysign(share * math.radians(108.0), place)
    x, y = 24.0 * math.sin(turn) * 1.02, 24.0 * math.cos(turn) - _DROP
    facing = 1.0 if upper else -1.0
    wide = 4.4 + 1.6 * (abs(place) > 5)
    patch = Ellipse(
        (x, facing * y),
        wide,
        5.6,
        angle=-facing * math.degrees(turn),
        facecolor=style.ACCENT if retainer else "none",
        edgecolor=style.ACCENT if retainer or missing else style.GREY,
        linewidth=1.0 if retainer or missing else 0.6,
        linestyle=(0, (2, 1.5)) if missing else "-",
    )
    axes.add_patch(patch)  # type: ignore[attr-defined]
    for far, number, size in ((1.24, str(tooth), 8.0), (0.76, str(to_universal(tooth)), 6.5)):
        axes.text(  # type: ignore[attr-defined]
            far * x,
            facing * (far * (y + _DROP) - _DROP),
            number,
            ha="center",
            va="center",
            fontsize=size,
            fontweight="bold" if (retainer or missing) and far > 1 else "normal",
            color=style.INK if far > 1 else style.GREY,
        )
