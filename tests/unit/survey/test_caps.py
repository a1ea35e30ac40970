"""Caps whose deepest point and border are plain, and what must not depend on pose or order."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pinseat.survey.caps import angles_to, area_of, border, deepest, leans_deg

UP = np.array([0.0, 0.0, 1.0])


def caps_round_up(seed: int, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Caps of all sizes that hold some common ground about z."""
    rng = np.random.default_rng(seed)
    lean = rng.uniform(0.0, 1.4, n)
    turn = rng.uniform(0.0, 2.0 * math.pi, n)
    centres = np.stack([np.sin(lean) * np.cos(turn), np.sin(lean) * np.sin(turn), np.cos(lean)], axis=1)
    return centres, np.minimum(lean + rng.uniform(0.02, 0.4, n), math.pi / 2.0)


def test_one_cap_is_deepest_at_its_centre_and_its_border_is_one_circle():
    found = deepest(UP[None], np.array([0.3]))
    np.testing.assert_allclose(found.draw, UP, atol=1e-15)
    assert (found.spare, found.bearing, found.share) == (0.3, (0,), (1.0,))
    (arc,) = border(UP[None], np.array([0.3]), UP)
    assert arc.turn == pytest.approx(2.0 * math.pi, abs=1e-15)
    np.testing.assert_allclose(arc.points(np.linspace(0.0, 1.0, 9))[:, 2], math.cos(0.3), atol=1e-15)


def test_the_wider_of_two_caps_gets_its_share_of_the_way():
    centres = np.array([[math.sin(-0.1), 0.0, math.cos(0.1)], [math.sin(0.2), 0.0, math.cos(0.2)]])
    found = deepest(centres, np.array([0.3, 0.2]))
    assert found.spare == pytest.approx((0.3 + 0.2 - 0.3) / 2.0, abs=1e-14)
    np.testing.assert_allclose(found.draw, [math.sin(0.1), 0.0, math.cos(0.1)], atol=1e-14)
    assert found.share == (pytest.approx(0.5), pytest.approx(0.5))


def test_three_upright_half_spaces_and_a_cone_whose_centres_nearly_span_no_volume():
    """Centres on the equator have no inverse; the pole is at one distance from all three."""
    turn = np.radians([0.0, 120.0, 240.0])
    centres = np.stack([np.cos(turn), np.sin(turn), np.zeros(3)], axis=1)
    found = deepest(centres, np.full(3, math.pi / 2.0))
    assert found.spare == pytest.approx(0.0, abs=1e-15)
    np.testing.assert_allclose(np.abs(found.draw), UP, atol=1e-15)
    np.testing.assert_allclose(found.share, 1.0 / 3.0)


def test_a_wide_cone_cut_by_a_slot_shows_its_circle_twice():
    """A cone of 20 deg between half-spaces that leave 5 deg to either side: four arcs, two of the cone."""
    slot = np.array([[math.cos(0.0873), 0.0, math.sin(0.0873)], [-math.cos(0.0873), 0.0, math.sin(0.0873)]])
    centres, radii = np.vstack([UP, slot]), np.array([0.349, math.pi / 2.0, math.pi / 2.0])
    arcs = border(centres, radii, UP)
    assert sorted(arc.cap for arc in arcs) == [0, 0, 1, 2]
    assert [a.cap == 0 for a in arcs] in ([True, False, True, False], [False, True, False, True])


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 40))
def test_the_deepest_point_cannot_be_bettered_and_the_border_closes(seed, n):
    centres, radii = caps_round_up(seed, n)
    found = deepest(centres, radii)
    rng = np.random.default_rng(seed + 1)
    for size in (1e-4, 1e-2, 0.3):
        beside = found.draw + size * rng.normal(size=(200, 3))
        beside /= np.linalg.norm(beside, axis=1, keepdims=True)
        assert (radii - angles_to(beside[:, None], centres)).min(axis=1).max() <= found.spare + 1e-12
    assert sum(found.share) == pytest.approx(1.0, abs=1e-12)
    arcs = border(centres, radii, found.draw)
    for before, after in zip(arcs, [*arcs[1:], arcs[0]], strict=True):
        np.testing.assert_allclose(before.points(np.ones(1)), after.points(np.zeros(1)), atol=1e-9)
    on = np.concatenate([arc.points(np.linspace(0.0, 1.0, 7)) for arc in arcs])
    np.testing.assert_allclose((radii - angles_to(on[:, None], centres)).min(axis=1), 0.0, atol=1e-7)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 25), st.booleans())
def test_pose_mirror_and_order_change_nothing(seed, n, mirrored):
    centres, radii = caps_round_up(seed, n)
    turn = Rotation.random(random_state=seed).as_matrix() @ np.diag([-1.0 if mirrored else 1.0, 1.0, 1.0])
    order = np.random.default_rng(seed).permutation(n)
    one, two = deepest(centres, radii), deepest(centres[order] @ turn.T, radii[order])
    np.testing.assert_allclose(two.draw, turn @ one.draw, atol=1e-7)
    assert two.spare == pytest.approx(one.spare, abs=1e-12)
    arcs_one = border(centres, radii, one.draw)
    arcs_two = border(centres[order] @ turn.T, radii[order], two.draw)
    assert area_of(arcs_two) == pytest.approx(area_of(arcs_one), abs=1e-12)
    assert sorted(int(order[arc.cap]) for arc in arcs_two) == sorted(arc.cap for arc in arcs_one)


def test_tilts_are_read_each_in_its_own_plane():
    x, y = math.tan(math.radians(3.0)), math.tan(math.radians(-7.0))
    seen = np.array([[x, y, 1.0]]) / math.hypot(x, y, 1.0)
    np.testing.assert_allclose(leans_deg(UP, seen), [[3.0, -7.0]], atol=1e-12)
