"""The two charts of the verdict: how wide the margins stand open, and what loses the fit."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pinseat.report import style
from pinseat.report.rounding import fixed, pair
from pinseat.seating.model import SeatingResult


def opening_histogram(seating: SeatingResult) -> Figure:
    """Distribution of the marginal opening over the virtual bridges, with both limits.

    Bridges that cannot enter, or open wider than the last class, stand in bars of their own at the right.

    Parameters
    ----------
    seating : SeatingResult
    """
    figure = style.sheet(82, 58)
    axes = style.plain_axes(figure, (0.165, 0.235, 0.82, 0.655))
    edges, share = _classes(seating)
    right = float(edges[-1])
    inside = edges[1:] <= seating.limit_um + 1e-9
    for wanted, fill, mark in ((inside, style.ACCENT, ""), (~inside, "white", "////")):
        axes.bar(
            edges[:-1][wanted],
            share[wanted],
            np.diff(edges)[wanted],
            align="edge",
            color=fill,
            edgecolor=style.ACCENT,
            linewidth=0.5,
            hatch=mark,
        )
    end = _apart(axes, seating, share.sum(), right)
    top = max(float(axes.dataLim.ymax), 1.0)
    axes.set_ylim(0.0, 1.12 * top)
    axes.set_xlim(min(0.0, float(edges[0])), end)
    for limit, side in ((seating.tight_limit_um, "right"), (seating.limit_um, "left")):
        axes.axvline(limit, color=style.INK, linewidth=0.8, dashes=(4, 2))
        axes.annotate(
            f"{fixed(limit, 0)} µm",
            (limit, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(3 if side == "right" else -3, 2),
            textcoords="offset points",
            ha=side,
            va="bottom",
        )
    axes.set_xlabel("marginal opening, µm")
    axes.set_ylabel("share of bridges, %")
    return figure


def _classes(seating: SeatingResult, most: int = 40) -> tuple[style.Array, style.Array]:
    """Class borders and shares in per cent, up to where 99.5 % are held or three times the limit."""
    edges, count = seating.histogram_um, seating.histogram_count.astype(float)
    held = np.cumsum(count) >= 0.995 * count.sum()
    enough = (edges[1:] >= 1.5 * seating.limit_um) & (held | (edges[1:] >= 3.0 * seating.limit_um))
    keep = int(np.argmax(enough)) + 1 if enough.any() else len(count)
    edges, count = edges[: keep + 1], count[:keep]
    starts = np.arange(0, keep, max(-(-keep // most), 1))
    return np.append(edges[starts], edges[-1]), 100.0 * np.add.reduceat(count, starts) / seating.trials


def _apart(axes: Axes, seating: SeatingResult, shown: float, right: float) -> float:
    """Bars for what the classes cannot hold; gives the right end of the axis."""
    never = 100.0 * seating.entry_failures.probability
    wider = max(100.0 - shown - never, 0.0)
    ticks = [t for t in axes.get_xticks() if 0.0 <= t <= 0.93 * right]
    names = [fixed(t, 0) for t in ticks]
    width, at = 0.09 * right, right + 0.08 * right
    for share, name, mark in ((wider, f"over\n{fixed(right, 0)}", "////"), (never, "cannot\nenter", "xxxx")):
        if share < 0.05:
            continue
        axes.bar(
            at, share, width, align="edge", color="white", edgecolor=style.INK, linewidth=0.5, hatch=mark
        )
        axes.annotate(
            f"{fixed(share, 1)} %",
            (at + width / 2.0, share),
            xytext=(0, 1.5),
            textcoords="offset points",
            ha="center",
            fontsize=8,
        )
        ticks.append(at + width / 2.0)
        names.append(name)
        at += 2.2 * width
    axes.set_xticks(ticks, names, linespacing=0.95)
    return max(at, right)


def shares_chart(seating: SeatingResult) -> Figure:
    """Total-order index of each group of errors on the clearance lacking, with its standard error.

    Parameters
    ----------
    seating : SeatingResult
    """
    shares = seating.shares[:8]
    figure = style.sheet(82, 58)
    axes = style.plain_axes(figure, (0.34, 0.235, 0.64, 0.72))
    rows = np.arange(len(shares))
    index = np.array([s.total_index for s in shares])
    spread = np.array([s.standard_error for s in shares])
    shown = np.maximum(index, 0.0)
    fills = [style.ACCENT if i == 0 else style.HAIR for i in rows]
    axes.barh(rows, shown, 0.58, color=fills)
    axes.errorbar(shown, rows, xerr=spread, fmt="none", ecolor=style.INK, elinewidth=0.8, capsize=2.0)
    room = max(float((shown + spread).max(initial=0.0)), 0.1)
    for row, share in enumerate(shares):
        value, u = pair(share.total_index, share.standard_error)
        text = f"{value} ± {u}" if u else value
        end = max(share.total_index, 0.0) + share.standard_error + 0.02 * room
        axes.text(end, row, text, va="center", fontsize=8)
    axes.set_yticks(rows, [_two_lines(s.group) for s in shares], linespacing=0.95)
    axes.tick_params(axis="y", length=0, labelsize=8.5)
    axes.invert_yaxis()
    axes.set_xlim(0.0, 1.42 * room)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel("share of the misfit (total-order index)")
    return figure


def _two_lines(words: str, most: int = 20) -> str:
    """Break a long name at the space nearest its middle; cut what still does not fit."""
    words = words if len(words) <= 2 * most else words[: 2 * most - 1] + "…"
    spaces = [i for i, letter in enumerate(words) if letter == " "]
    if len(words) <= most or not spaces:
        return words
    middle = min(spaces, key=lambda i: abs(i - len(words) / 2.0))
    return words[:middle] + "\n" + words[middle + 1 :]
