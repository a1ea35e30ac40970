"""Signed distances against closed forms of a box and a ball, and against trimesh triangle by triangle."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest

TENTH_UM = 1e-4


def ours(body: trimesh.Trimesh) -> Mesh:
    return Mesh(np.array(body.vertices, float), np.array(body.faces, np.int32))


def around(seed: int, half: float, count: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(-half, half, (count, 3))


def test_a_box_is_exact_inside_and_out():
    """Closed form: with q = |p| - half, |max(q, 0)| + min(max(q), 0)."""
    half = np.array([5.0, 3.0, 2.0])
    points = around(1, 8.0, 5000)
    q = np.abs(points) - half
    exact = np.linalg.norm(np.maximum(q, 0.0), axis=1) + np.minimum(q.max(axis=1), 0.0)
    found = Nearest(ours(trimesh.creation.box(2.0 * half))).search(points)
    assert np.abs(found.distance_mm - exact).max() < 1e-9


def test_a_ball_is_exact_to_a_tenth_of_a_micrometre():
    """|p| - r. A facet whose corners lie on the ball with edges e is at most e^2 / (6 r) inside it:
    0.07 um.
    """
    radius = 4.0
    body = trimesh.creation.icosphere(subdivisions=7, radius=radius)
    assert float(body.edges_unique_length.max()) ** 2 / (6.0 * radius) < 0.75 * TENTH_UM
    points = around(2, 7.0, 4000)
    found = Nearest(ours(body)).search(points)
    assert np.abs(found.distance_mm - (np.linalg.norm(points, axis=1) - radius)).max() < TENTH_UM


@pytest.mark.parametrize("body", [trimesh.creation.torus(6.0, 2.0), trimesh.creation.capsule(8.0, 2.0)])
def test_trimesh_finds_the_same_distance_and_side(body):
    points = around(3, 8.0, 150)
    found = Nearest(ours(body)).search(points)
    triangles = np.asarray(body.triangles)
    by_library = [
        np.linalg.norm(
            trimesh.triangles.closest_point(triangles, np.tile(p, (len(triangles), 1))) - p, axis=1
        )
        for p in points
    ]
    assert np.abs(found.distance_mm) == pytest.approx(np.min(by_library, axis=1), abs=1e-9)
    assert np.array_equal(found.distance_mm < 0.0, body.contains(points))


def test_the_sign_is_right_at_a_sharp_corner():
    """Where only a corner is near, the faces' own normals disagree: a thin wedge seen from beyond its
    edge.
    """
    corner = np.array(
        [
            [0.0, 0.0, 0.0],
            [4.0, 0.4, 0.0],
            [4.0, -0.4, 0.0],
            [0.0, 0.0, 4.0],
            [4.0, 0.4, 4.0],
            [4.0, -0.4, 4.0],
        ]
    )
    wedge = trimesh.convex.convex_hull(corner)
    rng = np.random.default_rng(4)
    points = np.column_stack(
        [rng.uniform(-1.0, -0.01, 300), rng.uniform(-1.0, 1.0, 300), rng.uniform(-0.5, 4.5, 300)]
    )
    assert np.all(Nearest(ours(wedge)).search(points).distance_mm > 0.0)
