"""Pins in their holes against closed forms: rattle, beam, bearing, ring."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pinseat.impression.play import peel_radius_mm, rattle_rad, u_lean_rad, u_offset_mm
from pinseat.impression.removal import (
    bearing_load_N_mm,
    bending_load_N,
    cracking_load_N,
)

# d cos t + L sin t = D, a rectangle in a slot: calculated outside this project, put back into it below.
RATTLE = (
    (0.60, 0.70, 2.0, 2.8878),
    (0.60, 0.65, 2.0, 1.4380),
    (0.60, 0.625, 2.0, 0.7176),
    (0.65, 0.70, 2.0, 1.4384),
    (0.60, 0.70, 3.0, 1.9166),
    (0.60, 0.70, 1.5, 3.8751),
)


@pytest.mark.parametrize(("pin", "hole", "engaged", "degrees"), RATTLE)
def test_rattle_is_the_root_of_the_closed_form(pin, hole, engaged, degrees):
    angle = rattle_rad(pin, hole, engaged)
    assert math.degrees(angle) == pytest.approx(degrees, abs=5e-5)
    assert pin * math.cos(angle) + engaged * math.sin(angle) == pytest.approx(hole, abs=1e-12)


def test_rattle_of_a_pin_that_is_out_or_fills_its_hole():
    assert rattle_rad(0.65, 0.70, 0.1) == pytest.approx(math.pi / 2)
    assert rattle_rad(0.70, 0.70, 2.0) == 0.0


def test_small_clearance_gives_clearance_over_length():
    # tan t = c / L for small angles: 0.001 / 2.
    assert rattle_rad(0.6, 0.601, 2.0) == pytest.approx(0.001 / 2.0, rel=1e-4)  # next term d t / 2L, 8e-5


def test_peeling_pivot_is_length_squared_over_four_clearances():
    # (L - R t) t is largest at t = L / 2R, where it is L^2 / 4R: so R = L^2 / 4c for small angles.
    for clearance in (0.005, 0.02):
        # The pin draws in by d t^2 / 2 at t = 2 c / L, 2 d c / L^2 of the clearance: 0.65 % at 0.02 mm.
        assert peel_radius_mm(0.65, 0.65 + clearance, 2.0) == pytest.approx(4.0 / (4 * clearance), rel=0.01)
    assert math.isinf(peel_radius_mm(0.7, 0.7, 2.0))


def test_peeling_never_binds_at_its_pivot_and_binds_nearer():
    radius = peel_radius_mm(0.65, 0.70, 2.0)

    def worst(r):
        t = np.linspace(0.0, 2.0 / r, 4001)
        return float((0.65 * np.cos(t) + (2.0 - r * t) * np.sin(t)).max())

    assert worst(radius * 1.001) <= 0.70
    assert worst(radius * 0.99) > 0.70


def test_spread_over_a_disc_has_a_quarter_of_the_squared_radius():
    # Variance of one coordinate of a point spread evenly over a disc: r^2 / 4.
    rng = np.random.Generator(np.random.Philox(7))
    r, turn = 0.025 * np.sqrt(rng.random(200_000)), 2 * np.pi * rng.random(200_000)
    # Three 1 / sqrt(2n).
    assert u_offset_mm(0.65, 0.70) == pytest.approx(float(np.std(r * np.cos(turn))), rel=0.005)


def test_lean_and_middle_of_a_pin_in_its_play():
    rng = np.random.Generator(np.random.Philox(8))
    r, turn = 0.025 * np.sqrt(rng.random((2, 200_000))), 2 * np.pi * rng.random((2, 200_000))
    mouth, tip = r * np.cos(turn)
    lean, middle = (mouth - tip) / 2.0, (mouth + tip) / 2.0
    assert u_lean_rad(0.65, 0.70, 2.0) == pytest.approx(float(np.std(lean)), rel=0.005)  # three 1 / sqrt(2n)
    assert u_offset_mm(0.65, 0.70) / math.sqrt(2) == pytest.approx(float(np.std(middle)), rel=0.005)
    assert abs(np.corrcoef(lean, middle)[0, 1]) < 0.01  # four 1 / sqrt(n), as below
    assert np.corrcoef(mouth, lean)[0, 1] == pytest.approx(math.sqrt(0.5), abs=0.01)


def test_bending_load_brings_the_outer_fibre_to_yield():
    force = bending_load_N(60.0, 0.65, 1.5)
    second_moment = math.pi * 0.65**4 / 64
    assert force * 1.5 * 0.325 / second_moment == pytest.approx(60.0, rel=1e-12)


def test_bearing_load_balances_force_and_moment():
    engaged, arm, force = 2.0, 1.5, 1.3
    at_mouth = bearing_load_N_mm(force, arm, engaged)
    slope = (force - at_mouth * engaged) * 2.0 / engaged**2  # so that the integral is the force
    x = np.linspace(0.0, engaged, 20_001)
    load = at_mouth + slope * x
    assert np.trapezoid(load, x) == pytest.approx(force, rel=1e-9)
    assert np.trapezoid(load * x, x) == pytest.approx(-force * arm, rel=1e-6)


def test_thick_dentine_leaves_the_hoop_stress_equal_to_the_pressure():
    # Lame: (b^2 + a^2) / (b^2 - a^2) tends to 1 for a thick wall and to r / t for a thin one.
    unit = bearing_load_N_mm(1.0, 1.5, 2.0)
    assert cracking_load_N(60.0, 0.65, 0.70, 1.5, 2.0, 1000.0) == pytest.approx(60.0 * 0.65 / unit, rel=1e-5)
    thin = cracking_load_N(60.0, 0.65, 0.70, 1.5, 2.0, 0.001)
    # The next term is t / 2r of it.
    assert thin == pytest.approx(60.0 * 0.65 / unit / (0.35 / 0.001), rel=2e-3)
