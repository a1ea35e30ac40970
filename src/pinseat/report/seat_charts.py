"""Charts of hold against seating, and of causes by probability."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from pinseat.reference import value
from pinseat.report import style
from pinseat.report.rounding import fixed
from pinseat.seating.diagnosis import Diagnosis
from pinseat.seating.plan import SeatPlan

SHORT = {
    "ordinary": "ordinary errors only",
    "long pin": "cast pin too long",
    "proud seat": "impression pin stood proud",
    "span": "span too long or short",
    "splay": "pin points off its hole",
    "speck": "speck or bead",
    "margin": "margin bent or short",
}


def tradeoff_chart(plan: SeatPlan) -> Figure:
    """Every way to make the pins: hold across, bridges that go home upwards.

    Parameters
    ----------
    plan : SeatPlan
    """
    figure = style.sheet(164, 74)
    axes = style.plain_axes(figure, (0.085, 0.19, 0.895, 0.74))
    hold = np.array([option.hold_N for option in plan.options])
    home = np.array([100.0 * option.chance.probability for option in plan.options])
    error = np.array([100.0 * option.chance.standard_error for option in plan.options])
    front = np.array([option.front for option in plan.options])
    axes.errorbar(hold, home, yerr=error, fmt="none", ecolor=style.GREY, elinewidth=0.7)
    axes.plot(hold[~front], home[~front], "o", markersize=3.6, markerfacecolor="white", color=style.GREY)
    axes.plot(hold[front], home[front], "o-", markersize=4.4, linewidth=0.7, color=style.ACCENT)
    wanted = 100.0 * plan.wanted
    axes.axhline(wanted, color=style.INK, linewidth=0.8, dashes=(4, 2))
    axes.annotate(
        f"wanted {fixed(wanted, 0)} %",
        (1.0, wanted),
        xycoords=("axes fraction", "data"),
        xytext=(0, 2),
        textcoords="offset points",
        ha="right",
        va="bottom",
    )
    axes.set_xlim(min(0.9 * hold.min(), hold.min() - 1.0), 1.04 * hold.max())
    axes.set_ylim(min(-3.0, home.min() - 3.0), 106.0)
    for number, option in enumerate(plan.options, 1):
        named = option.planned or option in plan.choose
        if named:
            marker = "s" if option.planned else "D"
            at = option.hold_N, 100.0 * option.chance.probability
            axes.plot(
                *at, marker, markersize=8.5, markerfacecolor="none", color=style.INK, markeredgewidth=1.0
            )
            axes.annotate(
                str(number), at, xytext=(-13, 4), textcoords="offset points", fontsize=9, fontweight="bold"
            )
    shear = value("cement.pin_shear_MPa")
    per_area = f"{fixed(shear.value, 0)} MPa by {shear.basis}"
    axes.set_xlabel(f"hold of the cemented pins, N ({per_area}: compare, do not trust newtons)")
    axes.set_ylabel("bridges that go home, %")
    return figure


def causes_chart(diagnosis: Diagnosis) -> Figure:
    """Probability of each cause, with its standard error.

    Parameters
    ----------
    diagnosis : Diagnosis
    """
    figure = style.sheet(164, 52)
    axes = style.plain_axes(figure, (0.26, 0.19, 0.70, 0.79))
    rows = np.arange(len(diagnosis.causes))
    share = np.array([100.0 * cause.probability for cause in diagnosis.causes])
    error = np.array([100.0 * cause.u_probability for cause in diagnosis.causes])
    fills = [style.ACCENT if row == 0 and diagnosis.told_apart else style.HAIR for row in rows]
    axes.barh(rows, share, 0.6, color=fills)
    axes.errorbar(share, rows, xerr=error, fmt="none", ecolor=style.INK, elinewidth=0.8, capsize=2.0)
    for row, (at, u) in enumerate(zip(share, error, strict=True)):
        axes.text(at + u + 1.0, row, f"{fixed(at, 0)} %", va="center", fontsize=8.5)
    axes.set_yticks(rows, [SHORT[cause.cause] for cause in diagnosis.causes])
    axes.tick_params(axis="y", length=0)
    axes.invert_yaxis()
    axes.set_xlim(0.0, 108.0)
    axes.set_xticks([0, 20, 40, 60, 80, 100])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel("probability, given what was seen, %")
    return figure
