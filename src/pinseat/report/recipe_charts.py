"""Charts of the recipe: change of length against mix, and time to close against the clock."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pinseat.casting.model import Cementing, Compensation
from pinseat.report import style
from pinseat.report.rounding import fixed

MARKS = ("o", "^", "D", "v", "P", "X")
"""One shape a lot; a seventh lot begins again."""


def mould_chart(mould: Compensation) -> Figure:
    """The line with the band that holds 95 in 100 castings, the points it was made from, and the mix wanted.

    Parameters
    ----------
    mould : Compensation
    """
    figure = style.sheet(100, 66)
    axes = style.plain_axes(figure, (0.135, 0.185, 0.85, 0.775))
    axes.fill_between(mould.mixes, mould.low_percent, mould.high_percent, color=style.TINT, linewidth=0)
    for edge in (mould.low_percent, mould.high_percent):
        axes.plot(mould.mixes, edge, color=style.HAIR, linewidth=0.7)
    axes.plot(mould.mixes, mould.line_percent, color=style.INK, linewidth=1.2)
    _points(axes, mould)
    axes.axhline(mould.wanted_percent, color=style.ACCENT, linewidth=0.9, dashes=(4, 2))
    best = mould.recommended
    if best is not None:
        axes.plot(
            [best.mix, best.mix], [axes.get_ylim()[0], best.change_percent], color=style.ACCENT, linewidth=0.9
        )
        axes.plot([best.mix], [best.change_percent], marker="o", color=style.ACCENT, markersize=6.5, zorder=5)
    if mould.stated is not None:
        axes.plot(
            [mould.stated.mix],
            [mould.stated.change_percent],
            marker="o",
            markersize=6.5,
            markerfacecolor="white",
            markeredgecolor=style.ACCENT,
            zorder=5,
        )
    low, high = float(mould.mixes[0]), float(mould.mixes[-1])
    axes.set_xlim(low - 0.02 * (high - low), high + 0.02 * (high - low))
    left = best is None or best.mix > (low + high) / 2.0
    axes.annotate(
        f"no net error: {fixed(mould.wanted_percent, 2)} %",
        (0.015 if left else 0.985, mould.wanted_percent),
        xycoords=("axes fraction", "data"),
        xytext=(0, 2.5),
        textcoords="offset points",
        ha="left" if left else "right",
        va="bottom",
        color=style.ACCENT,
        fontsize=8.5,
    )
    wet = mould.axis == "water_powder"
    axes.set_xlabel("water to 1 g of powder, ml" if wet else "special liquid in the mixing liquid, %")
    together = "alloy" in mould.covers
    axes.set_ylabel("casting against pattern, %" if together else "expansion of the mould, %")
    return figure


def _points(axes: Axes, mould: Compensation) -> None:
    """Sheet as open squares, readings and bars as filled shapes, one shape a lot."""
    lots = list(dict.fromkeys(one.lot for one in mould.evidence if one.kind == "bar"))
    named: set[str] = set()
    for one in mould.evidence:
        name = {"sheet": "maker's sheet", "reading": "your reading", "bar": f"bar, lot {one.lot}"}[one.kind]
        mark = {"sheet": "s", "reading": "*"}.get(one.kind) or MARKS[lots.index(one.lot) % len(MARKS)]
        axes.errorbar(
            [one.mix],
            [one.change_percent],
            yerr=[one.u_percent] if one.u_percent > 0.0 else None,
            fmt=mark,
            color=style.INK,
            markerfacecolor="white" if one.kind == "sheet" else style.INK,
            markersize=8 if one.kind == "reading" else 5,
            elinewidth=0.8,
            capsize=2.0,
            label=None if name in named else name,
            zorder=4,
        )
        named.add(name)
    if named:
        axes.legend(loc="best", frameon=False, fontsize=8, handletextpad=0.3, labelspacing=0.25)


def cement_chart(cement: Cementing) -> Figure:
    """Seconds the bridge takes to close when it is set on at a time, with the times that count.

    Parameters
    ----------
    cement : Cementing
    """
    figure = style.sheet(166, 62)
    axes = style.plain_axes(figure, (0.075, 0.2, 0.91, 0.66))
    top = 60.0 * cement.working_min
    axes.plot(cement.minutes, np.minimum(cement.close_s, top), color=style.INK, linewidth=1.3)
    axes.plot(cement.minutes, np.minimum(cement.late_s, top), color=style.INK, linewidth=0.9, dashes=(4, 2))
    axes.set_yscale("log")
    low = max(float(np.min(cement.close_s)) / 2.0, 0.05)
    axes.set_ylim(low, top)
    axes.set_xlim(0.0, float(cement.minutes[-1]))
    ticks = [tick for tick in (0.1, 1.0, 10.0, 100.0) if low <= tick <= top]
    axes.set_yticks(ticks, [fixed(tick, 1 if tick < 1.0 else 0) for tick in ticks])
    axes.minorticks_off()
    axes.axvspan(max(cement.latest_min, 0.0), cement.minutes[-1], color=style.HAIR, linewidth=0, alpha=0.55)
    for minute, words, raised in (
        (cement.start_min, "set on", 0),
        (cement.stop_min, "stop", 11),
        (cement.latest_min, "too late", 0),
    ):
        if minute < 0.0:
            continue
        axes.axvline(minute, color=style.ACCENT, linewidth=0.9)
        axes.annotate(
            words,
            (minute, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 2 + raised),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=9,
        )
    axes.set_xlabel("set on at, minutes after the start of mixing")
    axes.set_ylabel("seconds to close")
    return figure
