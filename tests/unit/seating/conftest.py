"""Small invented bridges for the seating tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from pinseat.case.model import Case
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import Pin, PinField
from pinseat.ledger.rows import Entry, FitLedger, Row
from pinseat.seating.assembly import Assembly, assemble

Z = np.array([0.0, 0.0, 1.0])


def entry(mean: float, u: float, unit: str) -> Entry:
    return Entry(mean, u, unit, "assumed", "this test")  # type: ignore[arg-type]


def row(
    copy: str = "alloy",
    route: str = "gold type 3",
    *,
    scale: tuple[float, float] = (0.0, 0.0),
    position: float = 0.0,
    tilt: float = 0.0,
    depth: tuple[float, float] = (0.0, 0.0),
) -> Row:
    return Row(
        copy,
        route,
        entry(*scale, "%"),
        entry(0.0, position, "um"),
        entry(0.0, tilt, "deg"),
        entry(*depth, "um"),
    )


def fit(*rows: Row) -> FitLedger:
    return FitLedger(rows, entry(0.0, 0.0, "%"))


@dataclass(frozen=True)
class Made:
    """Everything seating takes."""

    field: PinField
    faces: tuple[Face, ...]
    draw: np.ndarray
    fit: FitLedger
    case: Case

    def assembly(self) -> Assembly:
        return assemble(self.field, self.faces, self.draw, self.fit, self.case)


def bridge(
    *rows: Row,
    pins: int = 3,
    span: float = 16.0,
    hole: float = 0.75,
    lean_deg: float = 0.3,
    u_axis_deg: float = 0.1,
    depths: tuple[float, float] = (2.5, 2.5),
    relief: float = 0.1,
    seat: dict[str, object] | None = None,
) -> Made:
    """Two abutments `span` apart, `pins` pins and four margin points on each."""
    rng = np.random.default_rng(5)
    made, faces, abutments = [], [], []
    for tooth, side, depth in ((11, -0.5, depths[0]), (22, 0.5, depths[1])):
        middle = np.array([side * span, 0.0, 0.0])
        for k in range(pins):
            turn = 2.0 * np.pi * k / pins + 0.3
            lean = np.radians(lean_deg) * rng.standard_normal(2)
            axis = np.array([*lean, 1.0]) / np.sqrt(1.0 + lean @ lean)
            foot = middle + np.array([2.0 * np.cos(turn), 1.5 * np.sin(turn), 0.1 * k])
            made.append(Pin(tooth, k + 1, foot, axis, 0.65, 3.0, 0.01, 0.005, 0.01))
        for turn in np.pi * np.array([0.25, 0.75, 1.25, 1.75]):
            edge = middle + np.array([3.5 * np.cos(turn), 2.5 * np.sin(turn), -1.0])
            faces.append(Face("margin", tooth, edge, Z, "stated"))
        abutments.append(
            {
                "tooth": tooth,
                "pins": pins,
                "hole_diameter_mm": hole,
                "hole_depth_mm": depth,
                "cast_pin_diameter_mm": 0.62,
                "floor_relief_mm": relief,
            }
        )
    u = np.radians(u_axis_deg) ** 2
    covariance = np.diag(np.tile([1e-5, 1e-5, u, u], len(made)))
    case = Case.model_validate({"number": "t", "missing": [21], "abutments": abutments, "seat": seat or {}})
    return Made(PinField(tuple(made), covariance, "scan"), tuple(faces), Z, fit(*rows), case)


FIVE = (
    row("impression", "addition silicone", scale=(0.0, 0.10), position=8.0, tilt=0.2, depth=(20.0, 11.5)),
    row("die", "silver plated", scale=(0.0, 0.12), position=6.0, tilt=0.1, depth=(0.0, 6.0)),
    row("pattern", "inlay wax", scale=(-0.21, 0.12), position=10.0, tilt=0.15, depth=(0.0, 10.0)),
    row("investment", "gypsum bonded", scale=(1.7, 0.15), position=6.0, tilt=0.1, depth=(0.0, 6.0)),
    row("alloy", "gold type 3", scale=(-1.42, 0.06), position=5.0, tilt=0.1, depth=(0.0, 5.0)),
)


@pytest.fixture
def five() -> tuple[Row, ...]:
    """A ledger as casting would hand it on."""
    return FIVE


@pytest.fixture
def make() -> Callable[..., Made]:
    return bridge


@pytest.fixture
def one_row() -> Callable[..., Row]:
    return row


@pytest.fixture(scope="session")
def leaning_bridge() -> Assembly:
    """Six pins of unequal depth that lean, with the whole ledger."""
    return bridge(*FIVE, hole=0.73, depths=(2.5, 2.2), lean_deg=0.5).assembly()


@pytest.fixture(scope="session")
def between_bridge() -> Made:
    """Holes just too tight to be sure of."""
    return bridge(*FIVE, hole=0.71)
