"""Small invented impressions."""

from __future__ import annotations

from typing import Any

import numpy as np

from pinseat.case.model import Case
from pinseat.impression.model import ImpressionResult
from pinseat.impression.step import run
from pinseat.ledger.faces import Face
from pinseat.ledger.handover import Handover
from pinseat.ledger.pins import Pin, PinField
from pinseat.mesh.model import Mesh

UP = np.array([0.0, 0.0, 1.0])


def field_of(places: dict[str, tuple[float, float]], *, tall: float = 3.0, basis: str = "scan") -> PinField:
    """Parallel pins at places on a plane."""
    pins = []
    for name, (x, y) in places.items():
        tooth, number = map(int, name.split("-"))
        pins.append(Pin(tooth, number, np.array([x, y, 0.0]), UP, 0.65, tall, 0.01, 0.001, 0.01))
    return PinField(tuple(pins), np.eye(4 * len(pins)) * 1e-6, basis)


THREE = field_of({"11-1": (0.0, 3.0), "11-2": (0.0, 0.0), "11-3": (3.0, 0.0)})
SIX = field_of(
    {
        "11-1": (0.0, 3.0),
        "11-2": (0.0, 0.0),
        "11-3": (3.0, 0.0),
        "22-1": (15.0, 3.0),
        "22-2": (18.0, 0.0),
        "22-3": (15.0, 0.0),
    }
)


def faces_of(field: PinField) -> tuple[Face, ...]:
    """Four margin points round the pins of each tooth, facing up."""
    faces = []
    for tooth in dict.fromkeys(pin.tooth for pin in field.pins):
        feet = np.array([pin.foot for pin in field.pins if pin.tooth == tooth])
        middle = feet.mean(axis=0)
        for dx, dy in ((-3, -3), (-3, 3), (3, -3), (3, 3)):
            faces.append(Face("margin", tooth, middle + np.array([dx, dy, 0.0]), UP, "stated"))
    return tuple(faces)


def case_of(field: PinField, **impression: Any) -> Case:
    """A case of such pins; `depth`, `hole`, `pin`, `relief` and `chain` set what they say."""
    stated = {
        "hole_depth_mm": impression.pop("depth", 2.1),
        "hole_diameter_mm": impression.pop("hole", 0.7),
        "impression_pin_diameter_mm": impression.pop("pin", 0.65),
        "floor_relief_mm": impression.pop("relief", 0.1),
        "cast_pin_diameter_mm": 0.6,
    }
    chain = impression.pop("chain", {})
    teeth = dict.fromkeys(pin.tooth for pin in field.pins)
    abutments = [{"tooth": t, "pins": sum(p.tooth == t for p in field.pins), **stated} for t in teeth]
    return Case.model_validate(
        {
            "number": "T-1",
            "missing": [21],
            "abutments": abutments,
            "impression": impression,
            "chain": chain,
        }
    )


def projections(at: str = "impression", **mm: float) -> list[dict[str, Any]]:
    """Readings from ``p11_1=2.10``."""
    return [{"pin": name[1:].replace("_", "-"), "at": at, "mm": [value]} for name, value in mm.items()]


def computed(field: PinField, case: Case, **more: Any) -> ImpressionResult:
    """The whole step on an invented case."""
    return run(case, Handover(field=field, faces=faces_of(field), draw=UP), **more)


def ball(radius: float, centre: tuple[float, float, float] = (0.0, 0.0, 0.0), rings: int = 60) -> Mesh:
    """A sphere, wound outward."""
    polar = np.linspace(0.0, np.pi, rings + 1)[1:-1]
    turn = 2.0 * np.pi * np.arange(2 * rings) / (2 * rings)
    grid = np.stack(
        [
            np.outer(np.sin(polar), np.cos(turn)),
            np.outer(np.sin(polar), np.sin(turn)),
            np.outer(np.cos(polar), np.ones_like(turn)),
        ],
        axis=-1,
    )
    points = np.concatenate([grid.reshape(-1, 3), [[0, 0, 1.0], [0, 0, -1.0]]]) * radius + centre
    n, m = len(turn), len(polar)
    at = np.arange(m * n).reshape(m, n)
    right = np.roll(at, -1, axis=1)
    faces = [
        np.stack([at[:-1], at[1:], right[1:]], axis=-1).reshape(-1, 3),
        np.stack([at[:-1], right[1:], right[:-1]], axis=-1).reshape(-1, 3),
        np.column_stack([np.full(n, m * n), at[0], right[0]]),
        np.column_stack([np.full(n, m * n + 1), right[-1], at[-1]]),
    ]
    return Mesh(points, np.concatenate(faces).astype(np.int32))
