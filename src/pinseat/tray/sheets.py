"""The tray made by hand: how many sheets go where, and what still stands out of them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pinseat.errors import TrayError
from pinseat.reference import Value, values
from pinseat.tray.model import Pile
from pinseat.tray.pocket import Pocket

Float = NDArray[np.float64]


def stock() -> tuple[Value, ...]:
    """The sheets that the reference data know."""
    return tuple(sheet for sheet in values("tray.stock.") if sheet.name.startswith("tray.stock."))


def stock_in_words() -> str:
    """``baseplate wax 1.3 mm, casting wax 0.7 mm``.

    Examples
    --------
    >>> "baseplate wax 1.3 mm" in stock_in_words()
    True
    """
    return ", ".join(f"{stock_name(sheet)} {sheet.value:g} mm" for sheet in stock())


def stock_name(sheet: Value) -> str:
    """Name of a sheet: ``baseplate wax``."""
    return sheet.name.removeprefix("tray.stock.").removesuffix("_mm").replace("_", " ")


def need_thickness(sheets: int | None, sheet_mm: float | None, where: str) -> None:
    """Refuse a number of sheets without their thickness.

    Raises
    ------
    TrayError
        With the list of sheets that the reference data know.
    """
    if sheets is not None and sheet_mm is None:
        raise TrayError(
            "a number of sheets says nothing without the thickness of one",
            where=where,
            value=f"{sheets} sheets",
            limit=f"sheet_mm, such as {stock_in_words()}",
            do="measure one sheet of your stock and state sheet_mm under [tray]",
        )


def pile(
    name: str,
    projection_mm: float,
    *,
    sheet_mm: float,
    gap_mm: float,
    sheets: int | None = None,
    u_mm: float = 0.0,
    radius_mm: float = 0.0,
    shift_mm: float = 0.0,
    tilt_deg: float = 0.0,
) -> Pile:
    """Sheets over one pin.

    The tray is made on top of the sheets, so they must be as high as the pin stands out and the gap wanted::

        needed = ceil((projection + gap) / sheet)        gap = sheets sheet - projection

    and reach as far to its side as the pin can stray: ``radius + shift + projection sin(tilt) + gap``.

    Parameters
    ----------
    name : str
        Of the pin.
    projection_mm : float
        Of the pin's end over the tooth, along the draw.
    sheet_mm : float
        Thickness of a sheet.
    gap_mm : float
        Wanted between pin and tray.
    sheets : int, optional
        Laid; as many as needed when left out.
    u_mm : float
        Standard uncertainty of the projection.
    radius_mm : float
        Of the pin.
    shift_mm, tilt_deg : float
        Wobble of the tray on its way.

    Returns
    -------
    Pile

    Examples
    --------
    >>> four = pile("11-1", 4.2, sheet_mm=0.7, gap_mm=1.0, sheets=4, shift_mm=0.3, tilt_deg=2.0)
    >>> round(four.gap_mm, 9), four.sheets_needed, round(four.sweep_mm, 3)
    (-1.4, 8, 0.447)
    """
    needed = math.ceil(round((projection_mm + gap_mm) / sheet_mm, 9))
    laid = needed if sheets is None else sheets
    sweep = shift_mm + projection_mm * math.sin(math.radians(tilt_deg))
    return Pile(
        name=name,
        projection_mm=projection_mm,
        u_projection_mm=u_mm,
        sheets=laid,
        sheets_needed=needed,
        height_mm=laid * sheet_mm,
        gap_mm=laid * sheet_mm - projection_mm,
        side_mm=radius_mm + sweep + gap_mm,
        sweep_mm=sweep,
    )


def sheets_for(relief_mm: float, sheet_mm: float) -> int:
    """Sheets that come nearest to a relief, one at least; of two as near, the more.

    Examples
    --------
    >>> sheets_for(2.6, 1.3), sheets_for(2.6, 0.7), sheets_for(0.2, 1.3)
    (2, 4, 1)
    """
    return max(1, math.floor(relief_mm / sheet_mm + 0.5))


def patches(
    pockets: Sequence[Pocket], piles: Sequence[Pile], feet: Float
) -> tuple[tuple[Float, ...], tuple[int, ...]]:
    """Outlines of the sheets over the pins: pins that stand close share one.

    Parameters
    ----------
    pockets : sequence of Pocket
    piles : sequence of Pile
        In the same order.
    feet : (n, 2) array, mm
        Seen along the draw.

    Returns
    -------
    tuple of (k, 2) array, tuple of int
        Closed outlines, and the most sheets that a pin under each needs.
    """
    group = list(range(len(piles)))
    for i in range(len(piles)):
        for j in range(i):
            if np.linalg.norm(feet[i] - feet[j]) < piles[i].side_mm + piles[j].side_mm + 1.0:
                old, new = group[i], group[j]
                group = [new if g == old else g for g in group]
    outlines, sheets = [], []
    for g in sorted(set(group)):
        mine = [i for i in range(len(piles)) if group[i] == g]
        turn = np.linspace(0.0, 2.0 * np.pi, 73)[:-1]
        ring = np.column_stack((np.cos(turn), np.sin(turn)))
        points = []
        for i in mine:
            tip = feet[i] + pockets[i].length_mm * pockets[i].axis[:2]
            points += [feet[i] + piles[i].side_mm * ring, tip + piles[i].side_mm * ring]
        outlines.append(closed_hull(np.concatenate(points)))
        sheets.append(max(max(piles[i].sheets, 0) for i in mine))
    return tuple(outlines), tuple(sheets)


def closed_hull(points: Float) -> Float:
    """Convex hull as a closed line, counter-clockwise; shape (k, 2)."""
    from scipy.spatial import ConvexHull

    corner = points[ConvexHull(points).vertices]
    return np.concatenate((corner, corner[:1]))


def line_area(line: Float) -> float:
    """Area within a closed line, mm2, by the shoelace formula.

    Examples
    --------
    >>> line_area(np.array([[0.0, 0.0], [2, 0], [2, 3], [0, 3], [0, 0]]))
    6.0
    """
    x, y = line[:, 0], line[:, 1]
    return float(abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2.0)
