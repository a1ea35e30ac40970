"""Pins and holes where the answer can be written down, through the whole problem builder.

Notation: hole `D`, pin `d`, clearance ``c = D - d``, length `L` in the hole. Each limit is derived beside
its test; all are for rigid parts and small angles. The ASME figures are from Y14.5 appendix B (fixed and
floating fasteners): the formulas and inputs as printed in a public copy of its worked examples, scaled by a
tenth to the size of dental pins.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from pinseat.case.model import Case
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import Pin, PinField
from pinseat.ledger.rows import Entry, FitLedger, Row
from pinseat.numerics.contact import solve_lacking, solve_opening
from pinseat.seating.assembly import Assembly, assemble
from pinseat.seating.problem import Pose, Problem, build

Z = np.array([0.0, 0.0, 1.0])
PIN_MM, CLEARANCE_MM, LENGTH_MM = 0.60, 0.10, 2.0
NEAR = 1e-6
"""Solver tolerance 1e-8 mm, with the lever arms of these bridges (mm)."""


HELD_UM = 1e-3
"""With the margins held shut the least that can be lacking is nothing, met within the solver's tolerance."""


def assembly(
    feet: list[tuple[float, float]],
    axes: list[np.ndarray] | None = None,
    *,
    scale_percent: float = 0.0,
    pin_mm: float = PIN_MM,
    hole_mm: float = PIN_MM + CLEARANCE_MM,
    length_mm: float = LENGTH_MM,
    limit_um: float = 120.0,
) -> Assembly:
    """One pin a foot, no errors but a stated net scale, four margin points round them all."""
    axes = axes or [Z] * len(feet)
    pins = tuple(
        Pin(11, k + 1, np.array([*foot, 0.0]), axis, pin_mm, 3.0, 0.0, 0.0, 0.0)
        for k, (foot, axis) in enumerate(zip(feet, axes, strict=True))
    )
    faces = [
        Face("margin", 11, np.array([x, y, 0.0]), Z, "stated") for x in (-12.0, 12.0) for y in (-5.0, 5.0)
    ]
    none = Entry(0.0, 0.0, "um", "assumed", "this test")
    scale = Entry(scale_percent, 0.0, "%", "assumed", "this test")
    case = Case.model_validate(
        {
            "number": "t",
            "missing": [21],
            "abutments": [
                {
                    "tooth": 11,
                    "pins": len(feet),
                    "hole_diameter_mm": hole_mm,
                    "hole_depth_mm": length_mm + 0.2,
                    "cast_pin_diameter_mm": pin_mm,
                    "floor_relief_mm": 0.2,
                }
            ],
            "seat": {"limit_um": limit_um},
        }
    )
    field = PinField(pins, np.zeros((4 * len(feet), 4 * len(feet))), "scan")
    return assemble(field, faces, Z, FitLedger((Row("alloy", "gold", scale, none, none, none),), scale), case)


def lacking_um(problem: Problem, pose: Pose, limit_mm: float = 0.12, **errors: list[float]) -> float:
    """Clearance lacking with errors of each kind given pin by pin."""
    y = problem.mean(pose)
    for kind, sizes in errors.items():
        y = y + pose.effect[kind] @ np.array(sizes)
    return 1000.0 * float(solve_lacking(pose.contact, y[None], limit_mm)[0][0])


@pytest.mark.parametrize(
    ("span", "clearance", "limit_percent"),
    [
        (10, 0.10, 1.0),
        (20, 0.10, 0.5),
        (30, 0.10, 1 / 3),
        (10, 0.05, 0.5),
        (20, 0.05, 0.25),
        (30, 0.05, 1 / 6),
    ],
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_pure_scale_over_two_pins(span: float, clearance: float, limit_percent: float, sign: float) -> None:
    """|s| S <= c: each pin is off by half of s S and may be off by half of c."""
    feet = [(-span / 2.0, 0.0), (span / 2.0, 0.0)]
    for times in (0.9, 1.0, 1.1):
        made = assembly(
            feet, scale_percent=sign * times * limit_percent, hole_mm=PIN_MM + clearance, limit_um=200.0
        )
        problem = build(made)
        expected = 500.0 * clearance * (times - 1.0)
        assert lacking_um(problem, problem.seat, 0.2) == pytest.approx(expected, abs=1000.0 * NEAR)


def test_pure_scale_over_an_equilateral_triangle() -> None:
    """|s| a / sqrt(3) <= c / 2, the radius of the circle through the corners; a 10, c 0.10 mm: 0.8660 %."""
    corners = [
        (10 / math.sqrt(3) * math.cos(t), 10 / math.sqrt(3) * math.sin(t)) for t in (0.0, 2.0944, 4.1888)
    ]
    problem = build(assembly(corners, scale_percent=0.8660))
    assert lacking_um(problem, problem.seat) == pytest.approx(0.0, abs=0.005)  # 0.8660 is rounded at 1e-4


@pytest.mark.parametrize("pitch_mm", [0.05, 0.10, 0.12])
def test_pitch_error_of_two_pins(pitch_mm: float) -> None:
    """|e| <= c: shared half and half."""
    problem = build(assembly([(-8.0, 0.0), (8.0, 0.0)]))
    along = across_of(problem, pin=1, direction=np.array([1.0, 0.0, 0.0]))
    got = lacking_um(problem, problem.seat, position=[0.0, 0.0, *(pitch_mm * along)])
    assert got == pytest.approx(1000.0 * (pitch_mm - CLEARANCE_MM) / 2.0, abs=1000.0 * NEAR)


def across_of(problem: Problem, pin: int, direction: np.ndarray) -> np.ndarray:
    """A direction in the two components across a pin."""
    return problem.seat.contact.discs[pin, :, :3] @ direction


@pytest.mark.parametrize(
    ("pitch_mm", "limit_deg"), [(0.0, 2.8648), (0.02, 2.2918), (0.05, 1.4324), (0.08, 0.5730)]
)
def test_pitch_error_with_a_common_tilt_while_the_margins_hold_the_bridge(
    pitch_mm: float, limit_deg: float
) -> None:
    """e + L a <= c: mouths and tips of both pins lie on a line e + L a long, which two half clearances must
    hold.

    The margins must be held shut for it (a limit of 0), or the bridge would lean with its pins.
    """
    problem = build(assembly([(-8.0, 0.0), (8.0, 0.0)]))
    to_x = across_of(problem, 0, np.array([1.0, 0.0, 0.0]))
    for times in (0.999, 1.001):
        tilt = times * math.radians(limit_deg) * to_x
        got = lacking_um(
            problem, problem.seat, 0.0, tilt=[*tilt, *tilt], position=[*(pitch_mm * to_x), 0.0, 0.0]
        )
        assert (got > HELD_UM) == (times > 1.0)
        assert abs(got) < 0.5


@pytest.mark.parametrize(("pin", "hole", "length", "exact_deg"), [
    (0.60, 0.70, 2.0, 2.8878), (0.60, 0.65, 2.0, 1.4380), (0.60, 0.625, 2.0, 0.7176),
    (0.65, 0.70, 2.0, 1.4384), (0.60, 0.70, 3.0, 1.9166), (0.60, 0.70, 1.5, 3.8751),
])  # fmt: skip
def test_rattle_of_one_pin_against_a_true_cylinder(
    pin: float, hole: float, length: float, exact_deg: float
) -> None:
    """d cos t + L sin t = D in the plane; the two discs give L t = D - d, at most 1.5 % from it here."""
    assert pin * math.cos(math.radians(exact_deg)) + length * math.sin(
        math.radians(exact_deg)
    ) == pytest.approx(hole, abs=2e-6)
    problem = build(assembly([(0.0, 0.0)], pin_mm=pin, hole_mm=hole, length_mm=length))
    low, high = 0.0, 0.2
    for _ in range(30):
        middle = (low + high) / 2.0
        if lacking_um(problem, problem.seat, 0.0, tilt=[middle, 0.0]) > HELD_UM:
            high = middle
        else:
            low = middle
    # Two discs leave out how far the corners draw in, d (1 - cos t): 0.8 % here, up to 1.5 % at these sizes.
    assert math.degrees(high) == pytest.approx(exact_deg, rel=0.015)


@pytest.mark.parametrize("times", [0.9, 1.0, 1.1])
def test_two_diverging_pins_at_the_entry(times: float) -> None:
    """2 b <= c / L: at the entry each tip of a true copy is L tan b off its mouth (2 b = 2.8648 deg)."""
    lean = times * math.atan(CLEARANCE_MM / 2.0 / LENGTH_MM)
    axes = [np.array([s * math.sin(lean), 0.0, math.cos(lean)]) for s in (-1.0, 1.0)]
    problem = build(assembly([(-8.0, 0.0), (8.0, 0.0)], axes))
    got = lacking_um(problem, problem.entries[0])
    assert got == pytest.approx(1000.0 * (LENGTH_MM * math.tan(lean) - CLEARANCE_MM / 2.0), abs=1000.0 * NEAR)
    assert lacking_um(problem, problem.seat) < 0.0


def test_parallel_pins_that_lean_together_enter() -> None:
    axes = [np.array([math.sin(0.1), 0.0, math.cos(0.1)])] * 2
    problem = build(assembly([(-8.0, 0.0), (8.0, 0.0)], axes))
    got = lacking_um(problem, problem.entries[0])
    assert got == pytest.approx(-1000.0 * CLEARANCE_MM / 2.0, abs=1000.0 * NEAR)


@pytest.mark.parametrize("short_mm", [0.002, 0.005])
def test_pins_that_lean_outward_hold_the_bridge_up(short_mm: float) -> None:
    """Lifting by h moves a pin that leans by b across its hole by h sin b, towards the other pin.

    Two pins +-b, one copied too far out by e across itself: half of it each. They go on from h = (e/2 -
    c/2) / sin b.
    """
    lean = math.radians(3.0)
    axes = [np.array([s * math.sin(lean), 0.0, math.cos(lean)]) for s in (-1.0, 1.0)]
    problem = build(assembly([(-8.0, 0.0), (8.0, 0.0)], axes))
    outward = across_of(problem, 1, np.array([1.0, 0.0, 0.0])) / math.cos(lean)
    error = np.array([0.0, 0.0, *((CLEARANCE_MM + 2.0 * short_mm) * outward)])
    y = problem.mean(problem.seat) + problem.seat.effect["position"] @ error
    opening, _ = solve_opening(problem.seat.contact, y[None])
    assert opening[0] == pytest.approx(short_mm / math.sin(lean), rel=1e-4)


class TestAsme:
    """ASME Y14.5 appendix B: what the formula lets pass seats, and at the limit nothing is to spare."""

    @staticmethod
    def outward(problem: Problem, size_mm: float) -> list[float]:
        """Both pins off by `size_mm`, away from each other: the worst that two can do."""
        x = across_of(problem, 0, np.array([1.0, 0.0, 0.0]))
        return [*(-size_mm * x), *(size_mm * x)]

    def test_fixed_fasteners(self) -> None:
        """F 6.0, H 6.44: T = (H - F)/2 = 0.22 each. Pin and hole off by T/2, apart: T together."""
        problem = build(assembly([(-8.0, 0.0), (8.0, 0.0)], pin_mm=0.600, hole_mm=0.644))
        got = lacking_um(problem, problem.seat, position=self.outward(problem, 0.022))
        assert got == pytest.approx(0.0, abs=1000.0 * NEAR)

    def test_floating_fasteners(self) -> None:
        """F 6.0, H 6.44: T = H - F = 0.44 (from memory). The hole of one part alone is off, by T/2."""
        problem = build(assembly([(-8.0, 0.0), (8.0, 0.0)], pin_mm=0.600, hole_mm=0.644))
        got = lacking_um(problem, problem.seat, position=self.outward(problem, 0.044 / 2.0))
        assert got == pytest.approx(0.0, abs=1000.0 * NEAR)

    def test_fixed_fasteners_out_of_square(self) -> None:
        """F 6.35, T1 0.2, T2 0.4, P 12, D 8: H = F + T1 + T2 (1 + 2 P/D) = 8.15.

        A pin held over D within a zone T2 wide leans by T2/D, so at P it is off by T2/2 + P T2/D; the hole
        by T1/2.
        """
        problem = build(assembly([(-8.0, 0.0), (8.0, 0.0)], pin_mm=0.635, hole_mm=0.815, length_mm=1.2))
        lean = [-size for size in self.outward(problem, 0.04 / 0.8)]
        errors = {"position": self.outward(problem, 0.01 + 0.02), "tilt": lean}
        assert lacking_um(problem, problem.seat, **errors) == pytest.approx(0.0, abs=1000.0 * NEAR)
