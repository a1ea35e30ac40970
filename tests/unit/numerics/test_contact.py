from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from pinseat.numerics.contact import Contact, solve_lacking, solve_opening

from .bridges import Bridge, bridge

Float = NDArray[np.float64]
LIMIT_MM = 0.12
SAME_MM = 1e-7
seeds = st.integers(0, 10_000)
some = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def answers(case: Bridge) -> Float:
    return np.array(
        [solve_opening(case.contact, case.y)[0][0], solve_lacking(case.contact, case.y, LIMIT_MM)[0][0]]
    )


def assert_same(one: Bridge, other: Bridge) -> None:
    np.testing.assert_allclose(answers(one), answers(other), rtol=0, atol=SAME_MM)


@some
@given(seeds, st.tuples(*[st.floats(-1, 1)] * 6))
def test_a_rigid_move_changes_nothing(seed: int, move: tuple[float, ...]) -> None:
    case, turn, shift = bridge(seed), Rotation.from_rotvec(3 * np.array(move[:3])), 50 * np.array(move[3:])
    moved = replace(
        case,
        points=turn.apply(case.points) + shift,
        frames=np.array([turn.apply(f) for f in case.frames]),
        face_points=turn.apply(case.face_points) + shift,
        normals=turn.apply(case.normals),
        origin=turn.apply(case.origin) + shift,
    )
    assert_same(case, moved)


@some
@given(seeds, st.floats(-5, 5))
def test_the_origin_of_turning_changes_nothing(seed: int, along: float) -> None:
    # Beyond the box of motions it could; a millimetre or two of origin are well inside it.
    case = bridge(seed)
    assert_same(case, replace(case, origin=case.origin + np.array([along, -along / 2, along / 3])))


@some
@given(seeds)
def test_a_mirror_changes_nothing(seed: int) -> None:
    case, flip = bridge(seed), np.array([-1.0, 1.0, 1.0])
    mirrored = replace(
        case,
        points=case.points * flip,
        frames=case.frames * flip,
        face_points=case.face_points * flip,
        normals=case.normals * flip,
        origin=case.origin * flip,
    )
    assert_same(case, mirrored)


@some
@given(seeds, st.randoms(use_true_random=False))
def test_the_order_of_pins_and_faces_changes_nothing(seed: int, random) -> None:  # type: ignore[no-untyped-def]
    case = bridge(seed)
    d, f = list(range(len(case.points))), list(range(len(case.normals)))
    random.shuffle(d)
    random.shuffle(f)
    permuted = replace(
        case,
        points=case.points[d],
        frames=case.frames[d],
        offset=case.offset[d],
        radius=case.radius[d],
        face_points=case.face_points[f],
        normals=case.normals[f],
        counted=case.counted[f],
        gap=case.gap[f],
    )
    assert_same(case, permuted)


@some
@given(seeds, st.floats(0, 2 * np.pi))
def test_the_choice_of_directions_across_a_pin_changes_nothing(seed: int, angle: float) -> None:
    case = bridge(seed)
    spin = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    turned = replace(case, frames=np.einsum("ij,djk->dik", spin, case.frames), offset=case.offset @ spin.T)
    assert_same(case, turned)


@some
@given(seeds, st.floats(0.0, 0.03))
def test_more_clearance_never_hurts_and_gains_at_most_itself(seed: int, more: float) -> None:
    case = bridge(seed)
    wide = replace(case, radius=case.radius + more)
    opening, lacking = answers(case)
    wide_opening, wide_lacking = answers(wide)
    assert wide_opening <= opening + SAME_MM
    assert lacking - more - SAME_MM <= wide_lacking <= lacking + SAME_MM


@some
@given(seeds, st.floats(0.0, 0.4))
def test_lacking_nothing_means_opening_within_the_limit(seed: int, limit: float) -> None:
    case = bridge(seed)
    opening = solve_opening(case.contact, case.y)[0][0]
    lacking = solve_lacking(case.contact, case.y, limit)[0][0]
    if abs(lacking) > SAME_MM:
        assert (lacking < 0) == (opening < limit)


def assert_motion_holds(case: Bridge, motion: Float, give: float, lid: float) -> None:
    out = np.linalg.norm(case.contact.discs @ motion + case.offset, axis=1) - case.radius
    gap = case.contact.faces @ motion + case.gap
    assert out.max() <= give + 2e-9
    assert gap.min() >= -give - 2e-9
    assert gap[case.counted].max() <= lid + 2e-9


@some
@given(seeds)
def test_the_motions_do_what_is_said(seed: int) -> None:
    case = bridge(seed)
    (opening,), (motion,) = solve_opening(case.contact, case.y)
    if np.isinf(opening):
        assert np.all(np.isnan(motion))
    else:
        assert_motion_holds(case, motion, 0.0, opening)
    (lacking,), (motion,) = solve_lacking(case.contact, case.y, LIMIT_MM)
    assert_motion_holds(case, motion, lacking, LIMIT_MM)


def test_each_bridge_is_solved_by_itself() -> None:
    case, rng = bridge(3), np.random.default_rng(3)
    y = case.y + rng.normal(0, 0.01, (1500, case.y.shape[1]))
    y[:, 20:30] = np.abs(y[:, 20:30])
    together = solve_lacking(case.contact, y, LIMIT_MM)[0]
    one_by_one = [solve_lacking(case.contact, y[k : k + 1], LIMIT_MM)[0][0] for k in range(0, 1500, 50)]
    np.testing.assert_allclose(together[::50], one_by_one, rtol=0, atol=1e-8)


def test_a_pin_thicker_than_its_hole_never_goes_on_and_lacks_at_least_that() -> None:
    case = bridge(1)
    case.radius[3] = -0.02
    opening, lacking = answers(case)
    assert np.isinf(opening)
    assert lacking >= 0.02 - 1e-9


def test_a_single_pin_may_spin_without_end() -> None:
    case = bridge(2, pins=1, margins=0, walls=0)
    case.offset[:] = 0.0
    opening, lacking = answers(case)
    assert opening == 0.0
    assert lacking == pytest.approx(-case.radius.min(), abs=1e-8)


def test_contradicting_margins_lack_without_end() -> None:
    faces = np.array([[0, 0, 1.0, 0, 0, 0], [0, 0, -1.0, 0, 0, 0]])
    contact = Contact(np.zeros((0, 2, 6)), faces, np.array([True, True]))
    assert solve_lacking(contact, np.array([[0.2, 0.2]]), LIMIT_MM)[0][0] == np.inf
    assert solve_lacking(contact, np.array([[0.1, 0.1]]), LIMIT_MM)[0][0] == pytest.approx(-0.1, abs=1e-8)


def test_nothing_to_touch() -> None:
    contact = Contact(np.zeros((0, 2, 6)), np.zeros((0, 6)), np.zeros(0, dtype=bool))
    assert solve_opening(contact, np.zeros((2, 0)))[0].tolist() == [0.0, 0.0]
    assert solve_lacking(contact, np.zeros((2, 0)), LIMIT_MM)[0].tolist() == [-10.0, -10.0]


def test_no_bridges() -> None:
    case = bridge(4)
    opening, motion = solve_opening(case.contact, np.zeros((0, case.contact.size)))
    assert opening.shape == (0,)
    assert motion.shape == (0, 6)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_numbers_must_be_finite(bad: float) -> None:
    case = bridge(5)
    y = case.y.copy()
    y[0, 3] = bad
    with pytest.raises(ValueError, match="finite"):
        solve_opening(case.contact, y)


def test_the_vector_must_fit() -> None:
    case = bridge(6)
    with pytest.raises(ValueError, match="43"):
        solve_lacking(case.contact, case.y[:, :-1], LIMIT_MM)


def test_too_many_faces_are_refused() -> None:
    contact = Contact(np.zeros((0, 2, 6)), np.zeros((2049, 6)), np.zeros(2049, dtype=bool))
    with pytest.raises(ValueError, match="4096"):
        solve_opening(contact, np.zeros((1, 2049)))
