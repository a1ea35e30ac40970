"""The plan for a tray made by hand: sheets by zone, and their outlines at 1:1."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_fill_holes, gaussian_filter, label
from skimage.measure import approximate_polygon, find_contours

from pinseat.case.model import Abutment
from pinseat.case.tray import Tray as Stated
from pinseat.ledger.pins import Pin, PinField
from pinseat.reference import value
from pinseat.tray.distance import Grid
from pinseat.tray.frame import Frame
from pinseat.tray.model import Asked, HandPlan, Pile
from pinseat.tray.pocket import Pocket
from pinseat.tray.shape import Shape
from pinseat.tray.sheets import line_area, patches, pile, sheets_for, stock_name

Float = NDArray[np.float64]

_STOCK = "tray.stock.baseplate_wax_mm"
_FAITHFUL_MM = 0.15
_SMALL_MM2 = 20.0


def hand_plan(
    stated: Stated,
    asked: Asked,
    field: PinField,
    pockets: Sequence[Pocket],
    frame: Frame,
    abutments: Sequence[Abutment],
    shape: Shape | None,
    filler_mm3: float | None,
) -> HandPlan:
    """Plan the sheets.

    Parameters
    ----------
    stated : Tray
        Of the case.
    asked : Asked
    field : PinField
    pockets : sequence of Pocket
        In the frame of the tray.
    frame : Frame
    abutments : sequence of Abutment
        Without a scan their impression pins' length tells how far these stand out.
    shape : Shape or None
        None for a case from callipers: then the outline is left to the hand.
    filler_mm3 : float or None
        Volume of the undercuts.

    Returns
    -------
    HandPlan
        Lines seen along the draw, teeth towards the eye.
    """
    sheet = value(_STOCK)
    thick = sheet.value if stated.sheet_mm is None else stated.sheet_mm
    piles = _piles(stated, asked, field, pockets, abutments, thick)
    feet = np.array([pocket.foot[:2] for pocket in pockets]).reshape(-1, 2)
    lines, counts = patches(pockets, piles, feet)
    outline: tuple[Float, ...] = ()
    openings: tuple[Float, ...] = ()
    if shape is not None:
        outline = outlines(shape.covered, shape.grid)
        openings = tuple(_ring(stop.centre[:2], 0.5 * asked.stop_diameter_mm + 0.25) for stop in shape.stops)
    sheets = stated.relief_sheets or sheets_for(asked.relief_mm, thick)
    area = sheets * sum(line_area(line) for line in outline)
    over = [max(count - sheets, 0) if shape is not None else count for count in counts]
    area += sum(n * line_area(line) for n, line in zip(over, lines, strict=True))
    return HandPlan(
        sheet_mm=thick,
        u_sheet_mm=0.0 if stated.sheet_mm is not None else (sheet.uncertainty or 0.0),
        stock="your own, as measured" if stated.sheet_mm is not None else stock_name(sheet),
        sheets=sheets,
        piles=piles,
        outline=outline,
        patches=lines,
        patch_sheets=counts,
        openings=openings,
        feet=feet,
        axes=frame.axes[:2],
        filler_cm3=None if filler_mm3 is None else 1e-3 * filler_mm3,
        sheet_area_cm2=1e-2 * area,
    )


def _piles(
    stated: Stated,
    asked: Asked,
    field: PinField,
    pockets: Sequence[Pocket],
    abutments: Sequence[Abutment],
    thick: float,
) -> tuple[Pile, ...]:
    out = []
    for pin, pocket in zip(field.pins, pockets, strict=True):
        length = pin.protrusion_mm if field.basis == "scan" else _standing_mm(pin, abutments)
        out.append(
            pile(
                pin.name,
                length * float(pocket.axis[2]),
                sheet_mm=thick,
                gap_mm=asked.pin_gap_mm,
                sheets=stated.pin_sheets,
                u_mm=pin.u_protrusion_mm,
                radius_mm=pocket.radius_mm,
                shift_mm=asked.wobble_mm,
                tilt_deg=asked.wobble_deg,
            )
        )
    return tuple(out)


def _standing_mm(pin: Pin, abutments: Sequence[Abutment]) -> float:
    """How far the impression pin stands out: its length less the hole, else as far as the guide pin did."""
    for abutment in abutments:
        if abutment.tooth == pin.tooth and abutment.impression_pin_length_mm is not None:
            return max(abutment.impression_pin_length_mm - abutment.hole_depth_mm, 0.0)
    return pin.protrusion_mm


def outlines(covered: NDArray[np.bool_], grid: Grid) -> tuple[Float, ...]:
    """Closed lines round what the tray covers, smoothed by a fraction of a millimetre; shape (k, 2) each.

    Parameters
    ----------
    covered : (nx, ny) bool array
    grid : Grid
    """
    parts, number = label(binary_fill_holes(covered) if covered.mean() > 0.9 else covered)
    size = np.bincount(parts.ravel(), minlength=number + 1) * grid.step_mm**2
    large = np.isin(parts, np.flatnonzero(size >= _SMALL_MM2)) & covered
    soft = gaussian_filter(np.pad(large.astype(float), 1), 0.4 / grid.step_mm)
    found = []
    for line in find_contours(soft, 0.5):
        short = approximate_polygon((line - 1.0) * grid.step_mm + grid.low[:2], _FAITHFUL_MM)
        if len(short) > 3 and line_area(short) >= _SMALL_MM2:
            found.append(np.asarray(short, float))
    return tuple(found)


def _ring(middle: Float, radius: float) -> Float:
    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    return np.asarray(middle + radius * np.column_stack((np.cos(turn), np.sin(turn))))
