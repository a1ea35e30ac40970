import numpy as np
import pytest
import trimesh

from pinseat.mesh.model import Mesh
from pinseat.mesh.smoothing import smoothed_normals, steadied
from pinseat.mesh.topology import face_normals, vertex_normals

RADIUS = 4.0


def ball(noise_um: float = 0.0) -> tuple[Mesh, np.ndarray]:
    """A ball the size of a molar, edges 0.15 mm, and its true normals."""
    made = trimesh.creation.icosphere(subdivisions=5, radius=RADIUS)
    true = np.asarray(made.vertices) / RADIUS
    noise = 1e-3 * noise_um * np.random.default_rng(1).normal(size=(len(true), 1))
    return Mesh(true * (RADIUS + noise), np.asarray(made.faces, np.int32)), true


def angle_deg(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), (a * b).sum(axis=1)))


def grid() -> Mesh:
    x, y = np.meshgrid(np.arange(9.0), np.arange(9.0))
    at = np.arange(81).reshape(9, 9)
    a, b, c, d = (part.ravel() for part in (at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]))
    faces = np.concatenate((np.stack((a, b, c), 1), np.stack((a, c, d), 1))).astype(np.int32)
    return Mesh(np.stack((x.ravel(), y.ravel(), np.zeros(81)), 1), faces)


def test_normals_of_a_plane_and_a_ball() -> None:
    np.testing.assert_allclose(smoothed_normals(grid()), np.tile([0.0, 0.0, 1.0], (81, 1)), atol=1e-15)
    mesh, true = ball()
    assert angle_deg(smoothed_normals(mesh), true).max() < 0.45


def test_noise_turns_smoothed_normals_a_tenth_of_what_it_turns_triangles() -> None:
    mesh, true = ball(10.0)
    smooth = angle_deg(smoothed_normals(mesh), true)
    single = angle_deg(face_normals(mesh), true[mesh.faces].sum(axis=1))
    one_ring = angle_deg(vertex_normals(mesh), true)
    assert np.median(smooth) < 0.7
    assert np.median(smooth) < np.median(single) / 6.0
    assert np.median(smooth) < np.median(one_ring) / 2.5


def test_normals_turn_with_the_scan_and_do_not_see_the_order_of_triangles() -> None:
    mesh, _ = ball(10.0)
    turn, _ = np.linalg.qr(np.random.default_rng(2).normal(size=(3, 3)))
    turn *= np.sign(np.linalg.det(turn))
    order = np.random.default_rng(3).permutation(len(mesh.faces))
    moved = Mesh(mesh.vertices @ turn.T + [100.0, -50.0, 7.0], mesh.faces[order])
    np.testing.assert_allclose(smoothed_normals(moved), smoothed_normals(mesh) @ turn.T, atol=1e-9)


def test_a_vertex_without_a_triangle_has_no_normal() -> None:
    mesh = grid()
    lonely = Mesh(np.concatenate((mesh.vertices, [[0.0, 0.0, 9.0]])), mesh.faces)
    np.testing.assert_array_equal(smoothed_normals(lonely)[-1], 0.0)


def test_steadying_leaves_planes_balls_and_rims_in_place() -> None:
    flat = grid()
    np.testing.assert_allclose(steadied(flat, smoothed_normals(flat)).vertices, flat.vertices, atol=1e-15)
    mesh, _ = ball()
    moved = steadied(mesh, smoothed_normals(mesh))
    assert np.abs(np.linalg.norm(moved.vertices, axis=1) - RADIUS).max() < 2e-4
    rough = Mesh(flat.vertices + [0.0, 0.0, 0.1] * np.random.default_rng(4).normal(size=(81, 1)), flat.faces)
    rim = (flat.vertices[:, :2] % 8.0 == 0.0).any(axis=1)
    still = steadied(rough, np.tile([0.0, 0.0, 1.0], (81, 1))).vertices
    np.testing.assert_array_equal(still[rim], rough.vertices[rim])
    assert not np.allclose(still[~rim], rough.vertices[~rim])


def test_steadying_takes_out_a_third_of_the_noise_and_does_not_shrink() -> None:
    mesh, true = ball(10.0)
    left_um = 1e3 * ((steadied(mesh, smoothed_normals(mesh)).vertices * true).sum(axis=1) - RADIUS)
    assert left_um.std() < 6.7
    assert left_um.mean() == pytest.approx(0.0, abs=0.5)
