from __future__ import annotations

import numpy as np
import pytest

from pinseat.errors import ScanError
from pinseat.mesh import nearest
from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest


def test_the_place_lies_on_the_triangle_named_and_as_far_as_stated(ball):
    mesh = ball(10.0, 3)
    points = np.random.default_rng(1).uniform(-14.0, 14.0, (800, 3))
    found = Nearest(mesh).search(points)
    corner = mesh.vertices[mesh.faces[found.face]]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    off_plane = np.einsum("ij,ij->i", normal, found.place - corner[:, 0]) / np.linalg.norm(normal, axis=1)
    assert np.abs(off_plane).max() < 1e-12
    assert np.linalg.norm(points - found.place, axis=1) == pytest.approx(np.abs(found.distance_mm), abs=1e-12)
    assert np.linalg.norm(found.normal, axis=1) == pytest.approx(np.ones(len(points)))
    assert found.counted.all()


def test_nothing_within_reach_is_no_number(cube):
    found = Nearest(cube()).search([[1.0, 1.0, 2.4], [1.0, 1.0, 2.6]], within_mm=0.5)
    assert found.distance_mm[0] == pytest.approx(0.4)
    assert np.isnan(found.distance_mm[1])
    assert np.isnan(found.place[1]).all()
    assert found.face[1] == -1
    assert found.counted.tolist() == [True, False]


def test_the_distance_alone_is_the_same_without_its_sign(ball):
    mesh = ball(10.0, 3)
    points = np.random.default_rng(7).uniform(-14.0, 14.0, (300, 3))
    signed = Nearest(mesh).search(points, within_mm=3.0).distance_mm
    far = Nearest(mesh).distance(points, within_mm=3.0)
    assert np.array_equal(np.isinf(far), np.isnan(signed))
    assert np.array_equal(far[np.isfinite(far)], np.abs(signed[np.isfinite(far)]))


def test_beyond_an_open_edge_is_not_counted(sheet):
    mesh = sheet(lambda x, y: 0.0 * x, 10.0)
    found = Nearest(mesh).search([[0.1, 0.1, 1.0], [6.0, 0.1, 1.0], [-7.0, -7.0, 0.0]])
    assert found.counted.tolist() == [True, False, False]
    assert found.at_rim.tolist() == [False, True, True]


def test_moving_and_turning_everything_changes_nothing(ball):
    mesh = ball(8.0, 2)
    points = np.random.default_rng(2).uniform(-12.0, 12.0, (300, 3))
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    one = Nearest(mesh).search(points)
    other = Nearest(Mesh(mesh.vertices @ turn.T + [30.0, -20.0, 9.0], mesh.faces))
    moved = other.search(points @ turn.T + [30.0, -20.0, 9.0])
    assert moved.distance_mm == pytest.approx(one.distance_mm, abs=1e-9)


def test_the_order_of_triangles_and_the_chunks_change_nothing(ball, monkeypatch):
    mesh = ball(8.0, 3)
    points = np.random.default_rng(4).uniform(-12.0, 12.0, (500, 3))
    one = Nearest(mesh).search(points).distance_mm
    shuffled = Mesh(mesh.vertices, np.random.default_rng(5).permutation(mesh.faces))
    assert Nearest(shuffled).search(points).distance_mm == pytest.approx(one, abs=1e-12)
    monkeypatch.setattr(nearest, "CHUNK", 7)
    assert Nearest(mesh).search(points).distance_mm == pytest.approx(one, abs=1e-12)


def test_triangles_without_area_are_passed_over(cube):
    mesh = cube()
    extra = np.array([[0, 0, 1], [5, 5, 5]], np.int32)
    padded = Mesh(mesh.vertices, np.concatenate((extra, mesh.faces)))
    points = np.random.default_rng(6).uniform(-1.0, 3.0, (100, 3))
    a, b = Nearest(mesh).search(points), Nearest(padded).search(points)
    assert np.array_equal(a.distance_mm, b.distance_mm)
    assert np.array_equal(a.face + 2, b.face)
    with pytest.raises(ScanError, match="no surface"):
        Nearest(Mesh(mesh.vertices, extra))
