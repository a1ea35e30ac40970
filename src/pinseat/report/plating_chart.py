"""Minimum, mean and rim against the clock, with the band in which the shells should end."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pinseat.plating.result import PlatingResult, ProgrammeResult
from pinseat.report import style
from pinseat.report.rounding import fixed

Array = style.Array


def thickness_chart(plated: PlatingResult, planned: ProgrammeResult) -> Figure:
    """Thickness against hours.

    Without a map only the mean is drawn, by Faraday's law.

    Parameters
    ----------
    plated : PlatingResult
    planned : ProgrammeResult

    Returns
    -------
    Figure
    """
    figure = style.sheet(88, 62)
    axes = style.plain_axes(figure, (0.15, 0.185, 0.715, 0.765))
    aim = plated.aim
    hours, curves = _curves(plated, planned)
    end = float(hours[-1])
    axes.axhspan(aim.minimum_mm, aim.stop_mean_mm, color=style.TINT, linewidth=0)
    for level, words in ((aim.minimum_mm, "minimum"), (aim.stop_mean_mm, "stop")):
        axes.axhline(level, color=style.INK, linewidth=0.6, dashes=(4, 2))
        axes.annotate(
            f"{words} {fixed(level, 2)}", (0.0, level), xytext=(3, 2), textcoords="offset points", fontsize=8
        )
    _lines(axes, hours, curves)
    if plated.map is not None:
        _doubt(axes, plated, planned)
    axes.axvline(planned.hours, color=style.GREY, linewidth=0.7)
    axes.annotate(
        f"stop {fixed(planned.hours, 1)} h",
        (planned.hours, 0.0),
        xytext=(-3, 4),
        textcoords="offset points",
        ha="right",
        va="bottom",
        fontsize=8,
    )
    _now(axes, planned)
    axes.set_xlim(0.0, end)
    top = max(float(np.nanmax([np.nanmax(c) for _, c, _ in curves])), 1.1 * aim.stop_mean_mm)
    axes.set_ylim(0.0, 1.04 * min(top, 2.2 * aim.stop_mean_mm))
    axes.set_xlabel("hours since switching on")
    axes.set_ylabel("thickness, mm")
    return figure


def _curves(plated: PlatingResult, planned: ProgrammeResult) -> tuple[Array, list[tuple[str, Array, str]]]:
    """Hours, and name, values and style of each line."""
    found = plated.map
    if found is None:
        on = [row for row in planned.rows if row.current_mA > 0.0]
        hours = np.cumsum([0.0, *(row.hours for row in on)])
        charge = np.cumsum([0.0, *(row.charge_mAh for row in on)])
        mean = charge * plated.bath.growth_mm3_mAh / plated.pool.area_mm2
        return hours, [("mean", mean, "-")]
    lines = [("thinnest", found.minimum_mm, "-"), ("mean", found.mean_mm, "--")]
    if np.isfinite(found.rim_mm).any():
        lines.append(("rim", found.rim_mm, ":"))
    return found.hours, lines


def _lines(axes: Axes, hours: Array, curves: list[tuple[str, Array, str]]) -> None:
    for name, values, dash in curves:
        bold = name == "thinnest" or len(curves) == 1
        colour = style.ACCENT if bold else style.INK
        axes.plot(hours, values, dash, color=colour, linewidth=1.6 if bold else 1.0)
        last = float(values[np.isfinite(values)][-1])
        low, high = axes.get_ylim()
        axes.annotate(
            name,
            (float(hours[-1]), last),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=9,
            color=colour,
            annotation_clip=False,
        )
        axes.set_ylim(low, high)


def _doubt(axes: Axes, plated: PlatingResult, planned: ProgrammeResult) -> None:
    """A bar at the stop: what not knowing the bath leaves of the thinnest spot."""
    found = plated.map
    assert found is not None
    low, high = found.minimum_range_mm
    at = found.at(planned.hours)[0]
    share = at / max(float(found.minimum_mm[-1]), 1e-12)
    if high > low:
        error = [[max(at - share * low, 0.0)], [max(share * high - at, 0.0)]]
        axes.errorbar([planned.hours], [at], yerr=error, color=style.ACCENT, elinewidth=1.0, capsize=2.5)


def _now(axes: Axes, planned: ProgrammeResult) -> None:
    """A cross where the log is: hours with the current on, and the mean there is."""
    state = planned.log
    if state.entries and math.isfinite(state.mean_mm) and state.mean_mm > 0.0:
        axes.errorbar(
            [state.charge.hours_on],
            [state.mean_mm],
            yerr=[state.u_mean_mm],
            fmt="x",
            color=style.INK,
            elinewidth=0.8,
            capsize=2.0,
        )
