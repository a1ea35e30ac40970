from __future__ import annotations

import numpy as np
import pytest

from pinseat.errors import CompareError
from pinseat.mesh.features import cloud, find_pose
from pinseat.mesh.model import Mesh
from pinseat.mesh.registration import one_per_cell, register
from pinseat.mesh.topology import vertex_normals
from pinseat.numerics.similarity import rotation_of, turn_of

TURN, SHIFT = np.array([1.9, -0.8, 1.4]), np.array([35.0, -12.0, 60.0])


def crowns(seed: int):
    """Rolling ground that no part of repeats: 16 humps of their own."""
    rng = np.random.default_rng(seed)
    at, wide = rng.uniform(-15.0, 15.0, (16, 2)), rng.uniform(1.5, 4.0, 16)
    high = rng.uniform(1.0, 3.5, 16) * rng.choice([-1.0, 1.0], 16)

    def height(x, y):
        hump = high * np.exp(-((x[..., None] - at[:, 0]) ** 2 + (y[..., None] - at[:, 1]) ** 2) / wide**2)
        return hump.sum(axis=-1)

    return height


def trembling(mesh: Mesh, noise_mm: float, seed: int) -> Mesh:
    tremble = np.random.default_rng(seed).normal(0.0, noise_mm, (len(mesh.vertices), 1))
    return Mesh(mesh.vertices + tremble * vertex_normals(mesh), mesh.faces)


def moved(mesh: Mesh, scale: float = 1.0) -> Mesh:
    return Mesh(scale * mesh.vertices @ rotation_of(TURN).T + SHIFT, mesh.faces)


def cut(mesh: Mesh, keep: np.ndarray) -> Mesh:
    faces = mesh.faces[keep[mesh.faces].all(axis=1)]
    used, index = np.unique(faces, return_inverse=True)
    return Mesh(mesh.vertices[used], index.reshape(-1, 3).astype(np.int32))


@pytest.fixture(scope="module")
def pair(sheet):
    """The same ground twice, on grids that have no point in common."""
    ground = crowns(1)
    return (
        trembling(sheet(ground, 32.0, 0.24), 0.01, 1),
        trembling(sheet(ground, 31.9, 0.253), 0.01, 2),
    )


def off(found, points: np.ndarray) -> tuple[float, float]:
    """Largest distance from where the points came from, mm, and angle, deg; points of the untouched
    second.
    """
    back = found.apply(points @ rotation_of(TURN).T + SHIFT)
    turned = found.rotation @ rotation_of(TURN)
    return float(np.linalg.norm(back - points, axis=1).max()), float(
        np.degrees(np.linalg.norm(turn_of(turned)))
    )


def test_any_pose_is_found_though_a_twelfth_of_the_surface_changed(pair):
    first, second = pair
    dish = np.hypot(second.vertices[:, 0] - 3.0, second.vertices[:, 1] + 2.0) < 5.2
    assert 0.07 < dish.mean() < 0.1
    worn = Mesh(second.vertices - 0.15 * dish[:, None] * np.array([0.0, 0.0, 1.0]), second.faces)
    found = register(first, moved(worn))
    largest_mm, turn_deg = off(found, second.vertices)
    assert largest_mm < 3.0 * found.u_worst_mm
    assert turn_deg < 0.01
    assert not found.turned_over
    assert found.shared > 0.95
    assert found.u_worst_mm < 0.005
    assert found.u_mm(second.vertices).max() == pytest.approx(found.u_worst_mm, rel=0.05)
    assert 0.010 < found.spread_mm < 0.018  # of two scans with 10 um each, averaged where a facet is met


def test_a_part_is_found_in_the_whole_and_the_whole_on_the_part(pair):
    first, second = pair
    part = cut(second, second.vertices[:, 0] < -3.0)
    for one, other in ((first, moved(part)), (part, moved(first))):
        found = register(one, other)
        assert off(found, part.vertices)[0] < 3.0 * found.u_worst_mm < 0.02
    assert found.shared < 0.6


def test_a_negative_is_turned_over(pair):
    first, second = pair
    negative = moved(Mesh(second.vertices, second.faces[:, ::-1]))
    found = register(first, negative)
    assert found.turned_over
    assert off(found, second.vertices)[0] < 3.0 * found.u_worst_mm < 0.02


def test_a_scale_is_seen_and_not_hidden_at_one_end(pair):
    """1 % over 32 mm: the rigid pose leaves the same 0.16 mm standing at both ends."""
    first, second = pair
    found = register(first, moved(second, 1.01))
    assert found.scale == pytest.approx(1.01, abs=4.0 * np.sqrt(found.covariance[6, 6]) + 1e-5)
    ends = second.vertices[[np.argmin(second.vertices[:, 0]), np.argmax(second.vertices[:, 0])]]
    there = found.apply(1.01 * ends @ rotation_of(TURN).T + SHIFT)
    apart = np.linalg.norm(there - ends, axis=1)
    assert apart == pytest.approx([0.16, 0.16], abs=0.05)


def test_a_mirror_image_is_refused(pair):
    first, second = pair
    with pytest.raises(CompareError, match="mirror image"):
        register(first, moved(Mesh(second.vertices * [1.0, -1.0, 1.0], second.faces[:, ::-1])))


def test_other_teeth_are_refused(pair, sheet):
    with pytest.raises(CompareError, match="do not show the same teeth"):
        register(pair[0], trembling(sheet(crowns(2), 32.0, 0.25), 0.01, 3))


def test_no_overlap_is_refused(pair):
    first, second = pair
    left, right = cut(first, first.vertices[:, 0] < -1.0), cut(second, second.vertices[:, 0] > 1.0)
    with pytest.raises(CompareError, match=r"same teeth|hardly overlap|does not fix"):
        register(left, moved(right))


def test_other_units_are_refused_and_named(pair):
    first, second = pair
    with pytest.raises(CompareError, match="not the size of teeth"):
        register(first, Mesh(25.4 * second.vertices, second.faces))
    with pytest.raises(
        CompareError, match=r"one is in mm and the other in cm|one is in cm and the other in mm"
    ):
        register(first, Mesh(0.1 * second.vertices, second.faces))


def test_a_shape_that_can_slide_is_refused(sheet):
    """A long round ridge slides along itself; a few specks of likeness must not make a pose of it."""
    ridge = trembling(sheet(lambda x, y: -0.02 * x * x + 0.0 * y, 24.0, 0.3), 0.004, 5)
    with pytest.raises(CompareError):
        register(ridge, moved(trembling(ridge, 0.004, 6)))


def test_the_same_places_are_recognised_and_the_answer_repeats(pair):
    first, second = pair
    a, b = cloud(first), cloud(moved(second))
    found, again = find_pose(a, b), find_pose(a, b)
    assert found is not None
    assert again is not None
    assert found.agreeing > 0.3 * found.matches
    assert np.array_equal(found.rotation, again.rotation)
    assert np.degrees(np.linalg.norm(turn_of(found.rotation @ rotation_of(TURN)))) < 3.0


def test_one_point_in_each_cell():
    points = np.random.default_rng(1).uniform(0.0, 3.0, (500, 3))
    chosen = one_per_cell(points, 1.0)
    assert len(chosen) == 27
    assert np.all(np.diff(chosen) > 0)
