"""Bevelled mouths, tapered pins, unequal lengths and the pivot of tilt errors, each against a closed form.

Notation as in test_seating_closed_forms: hole `D`, pin `d`, clearance ``c = D - d``, length `L`. Derived
beside each test; rigid parts, small angles: a lean `b` for its tangent leaves out b^2 / 3 of it, 0.1 um here.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pinseat.seating.plan import stages
from pinseat.seating.problem import Pose, build
from pinseat.seating.tradeoff import cemented_area_mm2, hold_N
from tests.outside.test_seating_closed_forms import (
    CLEARANCE_MM,
    HELD_UM,
    LENGTH_MM,
    PIN_MM,
    assembly,
    lacking_um,
)

TWO = [(-8.0, 0.0), (8.0, 0.0)]
Z = np.array([0.0, 0.0, 1.0])


def leaning(rad: float) -> list[np.ndarray]:
    return [np.array([math.sin(s * rad), 0.0, math.cos(s * rad)]) for s in (-1.0, 1.0)]


@pytest.mark.parametrize("bevel", [0.0, 0.5, 1.0])
def test_diverging_pins_enter_past_a_bevel(bevel: float) -> None:
    """2 b <= c / (L - bevel): the cylinder that has to be found begins below the bevel."""
    limit = CLEARANCE_MM / (LENGTH_MM - bevel) / 2.0
    for times, sign in ((0.98, -1.0), (1.02, 1.0)):
        made = replace(assembly(TWO, leaning(times * limit)), bevel_mm=bevel)
        problem = build(made)
        assert math.copysign(1.0, lacking_um(problem, problem.entries[0])) == sign
        expected = 500.0 * CLEARANCE_MM * (times - 1.0)
        assert lacking_um(problem, problem.entries[0]) == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("bevel", [0.0, 0.5, 1.0])
def test_pins_tilted_alike_in_bevelled_holes(bevel: float) -> None:
    """a (L - bevel) <= c with the bridge held by its margins: only what is below the bevel is held."""
    limit = CLEARANCE_MM / (LENGTH_MM - bevel)
    problem = build(replace(assembly(TWO), bevel_mm=bevel))
    for times, binds in ((0.999, False), (1.02, True)):
        e = [times * limit, 0.0, times * limit, 0.0]
        lacking = lacking_um(problem, problem.seat, limit_mm=0.0, tilt=e)
        assert (lacking > HELD_UM) is binds


@pytest.mark.parametrize("taper", [0.0, 0.05, 0.10])
def test_tapered_pins_that_diverge_enter(taper: float) -> None:
    """2 b L <= c + taper: only the tips have to find the mouths."""
    limit = (CLEARANCE_MM + taper) / LENGTH_MM / 2.0
    for times in (0.98, 1.02):
        made = replace(assembly(TWO, leaning(times * limit)), taper_mm=np.full(2, taper))
        problem = build(made)
        expected = 500.0 * (CLEARANCE_MM + taper) * (times - 1.0)
        assert lacking_um(problem, problem.entries[0]) == pytest.approx(expected, abs=0.1)


def test_a_taper_changes_nothing_at_the_mouth() -> None:
    """Pitch error e: the mouths are off by it as much as the tips, so |e| <= c whatever the taper."""
    for taper in (0.0, 0.1):
        problem = build(replace(assembly(TWO), taper_mm=np.full(2, taper)))
        e = [-0.06, 0.0, 0.06, 0.0]
        assert lacking_um(problem, problem.seat, position=e) == pytest.approx(10.0, abs=1e-3)


def test_area_of_a_tapered_pin_is_that_of_a_truncated_cone() -> None:
    """Lateral area pi (r1 + r2) slant of a frustum; the slant is longer than the pin by 0.03 % here."""
    made = replace(assembly([(0.0, 0.0)]), taper_mm=np.array([0.1]))
    r1, r2 = PIN_MM / 2.0, PIN_MM / 2.0 - 0.05
    exact = math.pi * (r1 + r2) * math.hypot(LENGTH_MM, r1 - r2)
    assert cemented_area_mm2(made) == pytest.approx(exact, rel=5e-4)


@pytest.mark.parametrize(
    ("pin", "length", "pins", "area"),
    [(0.6, 2.0, 1, 3.770), (0.7, 2.0, 1, 4.398), (0.6, 3.0, 1, 5.655), (0.6, 2.0, 3, 11.310)],
)
def test_cemented_area_against_the_worked_figures(pin: float, length: float, pins: int, area: float) -> None:
    """pi d L; 56.5 N at 5 MPa for three pins 0.6 mm thick and 2 mm deep (both computed, rounded at 1e-3)."""
    feet = [(4.0 * k, 0.0) for k in range(pins)]
    made = assembly(feet, pin_mm=pin, hole_mm=pin + 0.1, length_mm=length)
    assert cemented_area_mm2(made) == pytest.approx(area, abs=5e-4)
    if pins == 3:
        assert hold_N(cemented_area_mm2(made))[0] == pytest.approx(56.5, abs=0.06)  # printed to a tenth


def test_a_longer_pin_enters_first_and_alone() -> None:
    """Lengths 2.0 and 1.4 mm along the draw: the long tip finds its mouth 2.0 mm up, the short one at 1.4 mm.

    At 1.4 mm the long pin has gone 0.6 mm into its hole. The holes lean by b apart: each pin is then off its
    hole by b 1.4, the other way, and together 2 b 1.4 <= c.
    """
    limit = CLEARANCE_MM / 1.4 / 2.0
    made = assembly(TWO, leaning(0.99 * limit))
    made = replace(made, relief_mm=made.relief_mm + np.array([0.0, 0.6]))
    assert [(s.pins, round(s.lift_mm, 2)) for s in stages(made)] == [(("11-1",), 2.0), (("11-2",), 1.4)]
    problem = build(made)
    assert len(problem.entries) == 1
    expected = 500.0 * CLEARANCE_MM * (0.99 - 1.0)
    assert lacking_um(problem, problem.entries[0]) == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("pivot", [0.0, 0.5, 1.0, 2.0])
def test_tilt_errors_act_about_the_stated_pivot(pivot: float) -> None:
    """Pins tilted by a and -a about a point p below the mouth: mouths apart by 2 a p, tips by 2 a (L - p).

    Both in the line of the two pins, where the bridge can take up only their mean: it lacks
    a max(p, L - p) - c / 2.
    """
    tilt = 0.05
    made = replace(assembly(TWO), pivot_below_mm=pivot)
    problem = build(made)
    e = [tilt, 0.0, -tilt, 0.0]
    expected = 1000.0 * (tilt * max(pivot, LENGTH_MM - pivot) - CLEARANCE_MM / 2.0)
    assert lacking_um(problem, problem.seat, tilt=e) == pytest.approx(expected, abs=1e-3)


def test_named_pivots_are_the_mouth_and_the_middle() -> None:
    made = assembly(TWO)

    def tilt_effect(one: Pose) -> np.ndarray:
        return one.effect["tilt"]

    for name, below in (("mouth", 0.0), ("mid-pin", LENGTH_MM / 2.0)):
        named = replace(made, tilt_pivot=name)
        stated = replace(made, pivot_below_mm=below)
        assert np.array_equal(tilt_effect(build(named).seat), tilt_effect(build(stated).seat))
