from __future__ import annotations

import numpy as np
import pytest

from pinseat.demo.surface import edges_of, isosurface, largest, project, relax, split, vertex_normals
from pinseat.mesh.model import Mesh


def ball(points: np.ndarray) -> np.ndarray:
    return np.linalg.norm(points - 0.1, axis=1) - 2.0


@pytest.fixture(scope="module")
def sphere() -> Mesh:
    corner = np.full(3, 2.6)
    return isosurface(ball, lambda p: np.full(len(p), 1.0), -corner, corner, 0.3)


def volume(mesh: Mesh) -> float:
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6.0


def closed_once(mesh: Mesh) -> bool:
    edges, of_face = edges_of(mesh.faces)
    twice = bool((np.bincount(of_face.ravel()) == 2).all())
    return twice and len(mesh.vertices) - len(edges) + len(mesh.faces) == 2


def test_isosurface_is_closed_and_faces_outward(sphere: Mesh) -> None:
    assert closed_once(sphere)
    assert volume(sphere) == pytest.approx(4.0 / 3.0 * np.pi * 8.0, rel=0.02)


def test_projection_sets_points_on_the_surface(sphere: Mesh) -> None:
    off = sphere.vertices + 0.05 * np.sin(7.0 * sphere.vertices)
    assert np.abs(ball(project(ball, off, 2))).max() < 1e-6


def test_relaxing_keeps_the_surface_and_evens_the_triangles(sphere: Mesh) -> None:
    def spread(mesh: Mesh) -> float:
        edges, _ = edges_of(mesh.faces)
        length = np.linalg.norm(np.diff(mesh.vertices[edges], axis=1), axis=2)
        return float(length.std() / length.mean())

    after = relax(sphere, 3)
    assert spread(after) < 0.7 * spread(sphere)
    assert np.abs(ball(after.vertices)).max() < 0.03


def test_splitting_some_faces_leaves_no_gap(sphere: Mesh) -> None:
    wanted = sphere.vertices[sphere.faces].mean(axis=1)[:, 2] > 0.7
    after = split(sphere, wanted)
    assert closed_once(after)
    assert volume(after) == pytest.approx(volume(sphere), rel=1e-12)
    assert len(after.faces) > len(sphere.faces) + 3 * wanted.sum()


def test_normals_point_outward(sphere: Mesh) -> None:
    outward = (sphere.vertices - 0.1) / np.linalg.norm(sphere.vertices - 0.1, axis=1, keepdims=True)
    assert np.einsum("ij,ij->i", vertex_normals(sphere), outward).min() > 0.97


def test_the_largest_piece_is_kept(sphere: Mesh) -> None:
    small = Mesh(np.eye(3) + 9.0, np.array([[0, 1, 2]], np.int32))
    faces = np.concatenate([small.faces, sphere.faces + np.int32(3)])
    both = Mesh(np.concatenate([small.vertices, sphere.vertices]), faces)
    kept = largest(both)
    assert kept.vertices == pytest.approx(sphere.vertices)
    assert len(kept.faces) == len(sphere.faces)
