"""Fixed and floating fastener limits: parts at their worst still go together, with nothing to spare.

ASME Y14.5-2009, Appendix B: with features at maximum material condition and at the extreme of their
position tolerance, ``H = F + T`` (floating), ``H = F + T1 + T2`` (fixed) and ``H = F + T1 + T2 (1 + 2 P /
D)`` (fixed, the tolerance zone of the pin not projected) leave "no interference, no clearance". H is the
least hole, F the largest fastener, T the diameters of the tolerance zones, P the thickness of the
clearance part, D the depth of the thread or press fit.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pinseat.numerics.contact import Contact, disc_rows, solve_lacking

Float = NDArray[np.float64]
PITCH_MM = 40.0


def lacking(offsets: Float, radius: float, height: float) -> float:
    """Two fasteners that err outwards by `offsets` at the foot and at `height`."""
    feet = np.array([[-PITCH_MM / 2, 0.0, 0.0], [PITCH_MM / 2, 0.0, 0.0]])
    points = np.vstack([feet, feet + np.array([0.0, 0.0, height])])
    contact = Contact(
        disc_rows(points, np.tile(np.eye(3)[:2], (4, 1, 1)), np.zeros(3)), np.zeros((0, 6)), np.zeros(0, bool)
    )
    outwards = np.array([[-1.0, 0.0], [1.0, 0.0]])
    apart = np.vstack([outwards * offsets[0], outwards * offsets[1]])
    y = np.concatenate([apart.ravel(), np.full(4, radius)])
    return float(solve_lacking(contact, y[None], 0.0)[0][0])


def fixed(hole: float, pin: float, t1: float, t2: float, lean: float = 0.0, height: float = 10.0) -> float:
    """A pin may stand ``t2 / 2`` off and lean; its hole may lie ``t1 / 2`` off; play ``(H - F) / 2``."""
    foot = (t1 + t2) / 2
    return lacking(np.array([foot, foot + lean * height]), (hole - pin) / 2, height)


def floating(hole: float, bolt: float, t: float) -> float:
    """A loose bolt through two holes ``t / 2`` off either way: their axes may be ``H - F`` apart."""
    return lacking(np.array([t, t]), hole - bolt, 10.0)


@pytest.mark.parametrize(
    ("hole", "pin", "t1", "t2"), [(6.44, 6.0, 0.22, 0.22), (10.1, 10.1, 0.0, 0.0), (0.70, 0.60, 0.05, 0.05)]
)
def test_fixed_fasteners_just_go_together(hole: float, pin: float, t1: float, t2: float) -> None:
    # 6.44 and 6.0 with 0.22 on each part: worked example of the appendix; 10.1 in 10.1: its line-fit example.
    assert hole == pytest.approx(pin + t1 + t2)
    assert fixed(hole, pin, t1, t2) == pytest.approx(0.0, abs=1e-8)
    assert fixed(hole, pin, t1 + 0.01, t2) == pytest.approx(0.005, abs=1e-8)
    assert fixed(hole + 0.01, pin, t1, t2) == pytest.approx(-0.005, abs=1e-8)


def test_floating_fasteners_just_go_together() -> None:
    # 6.44 and 6.0: T = 0.44. The appendix's number from memory, the formula as above.
    assert floating(6.44, 6.0, 0.44) == pytest.approx(0.0, abs=1e-8)
    assert floating(6.44, 6.0, 0.45) == pytest.approx(0.01, abs=1e-8)


def test_fixed_fasteners_that_lean_in_an_unprojected_zone() -> None:
    # F 6.35, T1 0.2, T2 0.4, P 12, D 8: H = 8.15. The axis crosses its zone from one side to the other
    # within D, so it leans by T2 / D and is T2 / 2 + P T2 / D off at the top of the part.
    pin, t1, t2, height, depth = 6.35, 0.2, 0.4, 12.0, 8.0
    hole = pin + t1 + t2 * (1 + 2 * height / depth)
    assert hole == pytest.approx(8.15)
    assert fixed(hole, pin, t1, t2, lean=t2 / depth, height=height) == pytest.approx(0.0, abs=1e-8)
    assert fixed(hole - 0.02, pin, t1, t2, lean=t2 / depth, height=height) == pytest.approx(0.01, abs=1e-8)


def test_the_limits_suffice_but_are_not_needed() -> None:
    # Both fasteners off the same way: the part simply moves over.
    feet = np.array([[-20.0, 0, 0], [20.0, 0, 0]])
    contact = Contact(
        disc_rows(feet, np.tile(np.eye(3)[:2], (2, 1, 1)), np.zeros(3)), np.zeros((0, 6)), np.zeros(0, bool)
    )
    y = np.array([[0.3, 0.1, 0.3, 0.1, 0.22, 0.22]])
    assert solve_lacking(contact, y, 0.0)[0][0] == pytest.approx(-0.22, abs=1e-8)


@pytest.mark.parametrize("seed", range(5))
def test_virtual_condition_always_goes_together(seed: int) -> None:
    # Pin F + T1 not above hole H - T2: whatever the directions of the errors, and however many pins.
    rng = np.random.default_rng(seed)
    pins, pin, hole = 6, 0.60, 0.70
    t1, t2 = 0.06, hole - pin - 0.06
    turn = rng.uniform(0, 2 * np.pi, (2, pins))
    offset = np.column_stack(
        [
            t1 / 2 * np.cos(turn[0]) - t2 / 2 * np.cos(turn[1]),
            t1 / 2 * np.sin(turn[0]) - t2 / 2 * np.sin(turn[1]),
        ]
    )
    points = rng.uniform([-15, -5, 0], [15, 5, 0], (pins, 3))
    contact = Contact(
        disc_rows(points, np.tile(np.eye(3)[:2], (pins, 1, 1)), np.zeros(3)),
        np.zeros((0, 6)),
        np.zeros(0, bool),
    )
    y = np.concatenate([offset.ravel(), np.full(pins, (hole - pin) / 2)])
    assert solve_lacking(contact, y[None], 0.0)[0][0] <= 1e-9
