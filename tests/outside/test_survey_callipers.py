"""Calliper readings against closed forms derived here.

Two guide pins of length L, feet a distance b apart, free ends a distance t apart: the splay in line is
atan((t - b) / L), and with independent readings of standard uncertainty u each its uncertainty is
sqrt(2) u / L. For L = 6 mm, b = 18.42, t = 18.60, u = 0.02: 1.72 deg and 0.27 deg.
"""

from __future__ import annotations

import math

import pytest

from pinseat.case.model import Callipers
from pinseat.survey.callipers import network, sights, solve


def two_pins(base: list[float], tip: list[float]) -> Callipers:
    layout = [
        {"tooth": 11, "number": 1, "x_mm": 0.0, "y_mm": 0.0, "guide_length_mm": 6.0},
        {"tooth": 22, "number": 1, "x_mm": 18.0, "y_mm": 0.0, "guide_length_mm": 6.0},
    ]
    readings = [
        {"kind": "base", "pins": ["11-1", "22-1"], "mm": base, "u_mm": 0.02},
        {"kind": "tip", "pins": ["11-1", "22-1"], "mm": tip, "u_mm": 0.02},
    ]
    return Callipers.model_validate({"layout": layout, "readings": readings})


def test_splay_in_line_of_two_guide_pins():
    given = two_pins([18.42], [18.60])
    net = network(given)
    along, _ = sights(net, solve(net, given.readings), {"11-1": 0.04, "22-1": 0.04})
    assert math.degrees(math.atan(0.18 / 6.0)) == pytest.approx(1.718, abs=5e-4)
    assert along.splay_deg == pytest.approx(1.72, abs=0.01)  # the assumed lean of 3 deg draws it in by 0.4 %
    assert along.u_deg == pytest.approx(math.degrees(math.sqrt(2.0) * 0.02 / 6.0), rel=0.01)
    assert along.u_deg == pytest.approx(0.27, abs=0.005)


def test_four_repeats_halve_the_uncertainty():
    once, four = two_pins([18.42], [18.60]), two_pins([18.42] * 4, [18.60] * 4)
    u = []
    for given in (once, four):
        net = network(given)
        u.append(sights(net, solve(net, given.readings), {"11-1": 0.04, "22-1": 0.04})[0].u_deg)
    assert u[1] == pytest.approx(u[0] / 2.0, rel=0.01)
