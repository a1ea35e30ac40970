from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from pinseat.errors import PlatingError
from pinseat.plating.bodies import Bar
from pinseat.plating.cups import Cup, ideal_cups
from pinseat.plating.field import solve
from pinseat.plating.model import Drive, Electrode, Electrolyte, Geometry
from pinseat.plating.search import Setup, search


def make(setup: Setup) -> Geometry:
    extra = []
    if setup.rod_above_mm is not None:
        foot = np.array([0.0, 0.0, 6.0])
        length = 6.0 + 4.0 - setup.rod_above_mm
        rod = Bar(foot, np.array([0.0, 0.0, -1.0]), length, 1.0, 2, length - setup.rod_bare_mm)
        extra = [(Electrode("rod", "anode", with_="anode"), rod)]
    return ideal_cups(
        [Cup("11", 4.0, 6.0)], mask_mm=setup.mask_mm, extra=extra, tank_mm=20.0, metal_mm=0.8, rubber_mm=0.8
    )


def test_a_rod_makes_the_same_cup_shorter_and_more_even():
    trials = search(
        make,
        Electrolyte(),
        [Setup(), Setup(rod_above_mm=2.0, rod_bare_mm=1.5)],
        [5.0, 10.0, 20.0],
        wanted_mm=0.3,
        rim_limit_mm=0.8,
        density_limit_A_m2=1000.0,
    )
    assert trials[0].setup.rod_above_mm == 2.0
    assert trials[0].best
    assert all(
        t.minimum_mm == pytest.approx(0.3, rel=1e-6) and t.rim_mm <= 0.8 + 1e-9 for t in trials if t.steps
    )
    front = [t for t in trials if t.best]
    assert all(a.rim_mm > b.rim_mm for a, b in pairwise(front))
    assert "insulated rod, bare end 1.5 mm, 2 mm above the floor" in trials[0].what


def test_one_current_is_as_long_as_its_thinnest_spot_takes():
    (trial,) = search(
        make, Electrolyte(), [Setup()], [10.0], wanted_mm=0.3, rim_limit_mm=9.0, density_limit_A_m2=1e4
    )
    field = solve(make(Setup()), Electrolyte(), Drive(current_mA=10.0))
    slowest = field.density_A_m2[field.surface.band >= 0].min()
    assert trial.hours == pytest.approx(0.3 / (3.6e-3 * Electrolyte().deposit_mm3_per_C * slowest), rel=1e-4)


def test_nothing_within_the_limits_is_told_and_not_hidden():
    (trial,) = search(
        make, Electrolyte(), [Setup()], [10.0], wanted_mm=0.3, rim_limit_mm=0.31, density_limit_A_m2=1e4
    )
    assert trial.hours == float("inf")
    assert not trial.best
    assert trial.what == "as it is: no current reaches the minimum"
    with pytest.raises(PlatingError, match="nothing to try"):
        search(make, Electrolyte(), [], [1.0], wanted_mm=0.3, rim_limit_mm=1.0, density_limit_A_m2=1.0)
