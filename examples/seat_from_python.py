"""Seat a bridge from Python: two pins, an alloy that shrinks, and a mould that does not quite make up for it.

Run: python examples/seat_from_python.py
"""

from __future__ import annotations

import numpy as np

from pinseat.case.model import Abutment, Case
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import Pin, PinField
from pinseat.ledger.rows import Entry, FitLedger, Row
from pinseat.seating.step import seat

UP = np.array([0.0, 0.0, 1.0])
NOTHING = Entry(0.0, 0.0, "um", "assumed", "left out of this example")
STRAIGHT = Entry(0.0, 0.0, "deg", "assumed", "left out of this example")


def main() -> str:
    """Print the verdict for a 31.4 mm span and return it."""
    hole = {"pins": 1, "hole_diameter_mm": 0.70, "hole_depth_mm": 2.5, "cast_pin_diameter_mm": 0.65}
    case = Case(
        number="example",
        notation="FDI",
        missing=(14, 15),
        abutments=(Abutment(tooth=13, **hole), Abutment(tooth=16, **hole)),
    )
    feet = {13: np.zeros(3), 16: np.array([31.4, 0.0, 0.0])}
    pins = tuple(Pin(tooth, 1, foot, UP, 0.65, 3.0, 0.01, 0.01, 0.01) for tooth, foot in feet.items())
    margins = [
        Face("margin", tooth, foot + np.array([x, y, 0.0]), UP, "stated")
        for tooth, foot in feet.items()
        for x, y in ((-2.0, 0.0), (2.0, 0.0), (0.0, 3.0), (0.0, -3.0))
    ]
    mould = Row("investment", "mould", Entry(1.40, 0.03, "%", "assumed", ""), NOTHING, STRAIGHT, NOTHING)
    alloy = Row("alloy", "alloy", Entry(-1.52, 0.03, "%", "assumed", ""), NOTHING, STRAIGHT, NOTHING)
    net = Entry(100.0 * (1.0140 * 0.9848 - 1.0), 0.042, "%", "assumed", "factors multiply")
    result = seat(PinField(pins, np.zeros((8, 8)), "scan"), margins, UP, FitLedger((mould, alloy), net), case)
    print(f"span error {net.mean * 10 * 31.4:.0f} um against +-50 um of play")
    print(f"{result.verdict}: {result.chance.probability:.0%} within {result.limit_um:.0f} um")
    for lever in result.levers:
        print(f"  {lever.change}: {lever.gain:+.0%}")
    return result.verdict


if __name__ == "__main__":
    main()
