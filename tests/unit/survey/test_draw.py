"""The draw window of a few pins whose answer is plain."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pinseat.ledger.pins import Pin, PinField, frame
from pinseat.survey.draw import allowance_rad, angles_to, best_draw, most_spare, outline_deg, window_of


def leaning(*angles_deg: tuple[float, float]) -> np.ndarray:
    """Unit vectors a small angle off z, exactly along great circles."""
    found = []
    for x, y in angles_deg:
        size = math.radians(math.hypot(x, y))
        way = np.array([x, y]) / max(math.hypot(x, y), 1e-12)
        found.append([*(math.sin(size) * way), math.cos(size)])
    return np.array(found)


def field(axes: np.ndarray, u_deg: float = 0.1) -> PinField:
    pins = tuple(
        Pin(11, i + 1, np.array([4.0 * i, 0.0, 0.0]), a, 0.65, 3.0, 0.01, 0.003, 0.01)
        for i, a in enumerate(axes)
    )
    return PinField(pins, np.eye(4 * len(pins)) * math.radians(u_deg) ** 2, "scan")


def test_one_pin_is_its_own_draw():
    centre = best_draw(leaning((3.0, 1.0)), np.radians([2.0]))
    np.testing.assert_allclose(centre.draw, leaning((3.0, 1.0))[0], atol=1e-15)
    assert math.degrees(centre.spare) == pytest.approx(2.0, abs=1e-12)


def test_two_pins_share_what_their_angle_leaves():
    centre = best_draw(leaning((-2.0, 0.0), (1.0, 0.0)), np.radians([2.0, 1.0]))
    assert math.degrees(centre.spare) == pytest.approx((2.0 + 1.0 - 3.0) / 2.0, abs=1e-12)
    np.testing.assert_allclose(centre.draw, [0.0, 0.0, 1.0], atol=1e-15)
    assert centre.bearing == (0, 1)


def test_three_pins_at_one_latitude_are_served_by_the_pole():
    turn = np.radians([10.0, 130.0, 250.0])
    axes = leaning(*np.stack([2.0 * np.cos(turn), 2.0 * np.sin(turn)], axis=1))
    centre = best_draw(axes, np.radians([1.5, 1.5, 1.5]))
    np.testing.assert_allclose(centre.draw, [0.0, 0.0, 1.0], atol=1e-12)
    assert math.degrees(centre.spare) == pytest.approx(-0.5, abs=1e-10)
    assert centre.bearing == (0, 1, 2)


def test_a_pin_inside_the_others_does_not_bound_the_window():
    centre = best_draw(leaning((-2.0, 0.0), (0.1, 0.2), (2.0, 0.0)), np.radians([3.0, 3.0, 3.0]))
    assert centre.bearing == (0, 2)


def test_many_at_once_agree_with_one_by_one():
    sets = np.stack([leaning(*np.random.default_rng(k).normal(size=(5, 2))) for k in range(6)])
    allowance = np.radians([1.0, 1.5, 2.0, 0.5, 1.0])
    one_by_one = [best_draw(axes, allowance).spare for axes in sets]
    rounding = 100 * np.finfo(float).eps  # rad; some tens of operations on unit vectors, in another order
    np.testing.assert_allclose(most_spare(sets, allowance), one_by_one, rtol=0, atol=rounding)


def test_the_outline_lies_on_the_border():
    axes, allowance = leaning((-1.0, 0.0), (1.0, 0.3), (0.0, 1.2)), np.radians([2.0, 2.4, 2.2])
    centre = best_draw(axes, allowance)
    out = np.tan(np.radians(outline_deg(centre.draw, axes, allowance))) @ frame(centre.draw) + centre.draw
    out /= np.linalg.norm(out, axis=1, keepdims=True)
    over = np.max([angles_to(out, a) - w for a, w in zip(axes, allowance, strict=True)], axis=0)
    np.testing.assert_allclose(over, 0.0, atol=1e-12)
    assert outline_deg(centre.draw, axes, allowance - centre.spare - 0.01).shape == (0, 2)


def test_a_thick_pin_has_no_play(made):
    assert allowance_rad(made.abutment(cast_pin_diameter_mm=0.8)) < 0.0
    assert allowance_rad(made.abutment()) == pytest.approx(math.atan(0.10 / 2.4))


def test_uncertainty_follows_the_two_pins_that_bound_the_window(made):
    window = window_of(field(leaning((-1.0, 0.0), (1.0, 0.0))), [made.abutment(pins=2)])
    assert window.u_size_deg == pytest.approx(0.1 / math.sqrt(2.0), rel=0.02)  # half the sum of two angles
    assert window.limited_by == ("11-1", "11-2")


def test_a_lean_that_nobody_saw_across_the_line_widens_the_uncertainty(made):
    seen = field(leaning((-1.0, 0.0), (1.0, 0.0)))
    blind = seen.covariance.copy()
    for i, pin in enumerate(seen.pins):
        across = frame(pin.axis) @ np.array([0.0, 1.0, 0.0])
        blind[4 * i + 2 : 4 * i + 4, 4 * i + 2 : 4 * i + 4] += math.radians(3.0) ** 2 * np.outer(
            across, across
        )
    window = window_of(PinField(seen.pins, blind, "callipers"), [made.abutment(pins=2)])
    assert window.u_size_deg > 1.0


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_pose_and_mirror_change_nothing(made, seed, mirrored):
    rng = np.random.default_rng(seed)
    before = field(leaning(*rng.normal(size=(4, 2))), 0.3)
    turn = Rotation.random(random_state=seed).as_matrix() @ np.diag([-1.0 if mirrored else 1.0, 1.0, 1.0])
    covariance = before.covariance.copy()
    pins = []
    for i, pin in enumerate(before.pins):
        axis = turn @ pin.axis
        carry = frame(axis) @ turn @ frame(pin.axis).T
        block = np.kron(np.eye(2), carry)
        at = slice(4 * i, 4 * i + 4)
        shape = rng.normal(size=(4, 4))
        spread = before.covariance[at, at] + 1e-5 * shape @ shape.T
        before.covariance[at, at], covariance[at, at] = spread, block @ spread @ block.T
        pins.append(Pin(11, pin.number, turn @ pin.foot, axis, 0.65, 3.0, 0.01, 0.003, 0.01))
    one = window_of(before, [made.abutment()])
    two = window_of(PinField(tuple(pins), covariance, "scan"), [made.abutment()])
    np.testing.assert_allclose(two.centre, turn @ one.centre, atol=1e-9)
    assert two.size_deg == pytest.approx(one.size_deg, abs=1e-9)
    assert two.u_size_deg == pytest.approx(one.u_size_deg, rel=1e-6)
    assert two.limited_by == one.limited_by
