"""Cases and pins that the tests of the recipe share."""

from __future__ import annotations

from typing import Any

import numpy as np

from pinseat.case.model import Case
from pinseat.ledger.pins import Pin, PinField

UP = np.array([0.0, 0.0, 1.0])


def pin(tooth: int, number: int, foot: tuple[float, float, float]) -> Pin:
    return Pin(tooth, number, np.array(foot), UP, 0.6, 3.0, 0.01, 0.005, 0.02)


def field(*pins: Pin) -> PinField:
    return PinField(pins, np.zeros((4 * len(pins), 4 * len(pins))), "scan")


def pair(span_mm: float = 31.40) -> PinField:
    return field(pin(13, 1, (0.0, 0.0, 0.0)), pin(23, 1, (span_mm, 0.0, 0.0)))


def case(
    *, pins_mm: float = 0.65, wet: bool = False, alloy: str = "silver palladium", **changed: Any
) -> Case:
    """Two teeth with holes of 0.70 mm; phosphate-bonded unless `wet`."""
    abutments = [
        {
            "tooth": tooth,
            "pins": 2,
            "hole_diameter_mm": 0.70,
            "hole_depth_mm": 2.0,
            "cast_pin_diameter_mm": pins_mm,
        }
        for tooth in (13, 23)
    ]
    chain = {"investment": "gypsum bonded" if wet else "phosphate bonded", "alloy": alloy}
    stated = {"number": "T-1", "missing": [12, 11, 21, 22], "abutments": abutments, "chain": chain}
    return Case.model_validate({**stated, **changed})


def measured(**percent: float) -> list[dict[str, Any]]:
    """Readings of scale with no uncertainty: ``measured(alloy=-1.52)``."""
    return [
        {"copy": copy, "error": "scale", "mean": mean, "u": 0.0, "how": "microscope"}
        for copy, mean in percent.items()
    ]


NOTHING = {"impression": 0.0, "die": 0.0, "pattern": 0.0}
SHEET = [{"liquid_percent": 50, "total_percent": 1.3}, {"liquid_percent": 100, "total_percent": 2.0}]


def bar(mix: float, change_percent: float, lot: str = "A", u_mm: float = 0.001) -> dict[str, Any]:
    after = 40.0 * (1.0 + change_percent / 100.0)
    return {"lot": lot, "liquid_percent": mix, "before_mm": 40.0, "after_mm": after, "u_mm": u_mm}
