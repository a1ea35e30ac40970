from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.demo.solids import Profiles, cross, cut, cylinder, join

distance = st.floats(-3.0, 3.0)


@given(distance, distance)
def test_a_joint_is_exact_beyond_its_reach_and_never_off_by_more_than_a_quarter_of_it(
    a: float, b: float
) -> None:
    joined = float(join(np.array([a]), np.array([b]), 0.2)[0])
    sharp = min(a, b)
    assert sharp - 0.05 - 1e-12 <= joined <= sharp
    if abs(a - b) >= 0.2:
        assert joined == sharp


@given(distance, distance)
def test_crossing_and_cutting_are_joining_of_the_outsides(a: float, b: float) -> None:
    one, two = np.array([a]), np.array([b])
    assert cross(one, two, 0.3) == -join(-one, -two, 0.3)
    assert cut(one, two, 0.3) == cross(one, -two, 0.3)


def test_a_bar_is_as_far_as_geometry_says() -> None:
    axis = np.array([0.6, 0.0, 0.8])
    across = np.array([0.8, 0.0, -0.6])
    places = np.stack([2.0 * axis, axis + 0.9 * across, 3.2 * axis, 3.1 * axis + 0.2 * across], axis=1)
    found = cylinder(places, np.zeros(3), axis, 0.3, 0.05, 3.0)
    assert found == pytest.approx([-0.3, 0.6, 0.2, 0.1], abs=1e-12)


def test_profiles_go_through_their_stations_and_stay_level_beyond() -> None:
    curves = Profiles.through([0.0, 1.0, 3.0], [1.0, 2.0, 2.5], [0.0, -1.0, -1.0])
    found = curves(np.array([-5.0, 0.0, 1.0, 3.0, 9.0]))
    assert found[0] == pytest.approx([1.0, 1.0, 2.0, 2.5, 2.5], abs=1e-5)
    assert found[1] == pytest.approx([0.0, 0.0, -1.0, -1.0, -1.0], abs=1e-5)
