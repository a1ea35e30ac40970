import json
from dataclasses import asdict

import numpy as np
import pytest

from pinseat.mesh.health import health
from pinseat.mesh.model import Mesh


def test_a_sound_cube(cube):
    h = health(cube(2.0))
    assert (h.triangles, h.vertices, h.components, h.holes) == (12, 8, 1, 0)
    assert (h.winding, h.flipped_edges, h.nonmanifold_edges) == ("outward", 0, 0)
    assert (h.duplicate_faces, h.degenerate_faces) == (0, 0)
    assert h.box_mm == (2.0, 2.0, 2.0)
    assert h.area_mm2 == pytest.approx(24.0)
    assert h.edge_mm == pytest.approx((2.0, 2.0, 2.0 * np.sqrt(2.0)))
    assert h.rim_mm == h.largest_hole_mm == 0.0
    assert "The surface is closed." in h.notes


def test_a_cube_inside_out(cube):
    mesh = cube()
    assert health(Mesh(mesh.vertices, mesh.faces[:, ::-1])).winding == "inward"


def test_flipped_doubled_collapsed_and_crowded(cube):
    mesh = cube()
    faces = mesh.faces.copy()
    faces[5] = faces[5, ::-1]
    faces = np.concatenate((faces, faces[[0]], faces[[1]][:, [1, 2, 0]], [[0, 0, 3]]))
    h = health(Mesh(mesh.vertices, faces.astype(np.int32)))
    assert h.winding == "mixed"
    assert h.duplicate_faces == 2
    assert h.degenerate_faces == 1
    assert h.nonmanifold_edges >= 5  # the edges of the two doubled triangles
    assert "2 triangles stored twice." in h.notes
    assert "1 triangle without area." in h.notes


def test_a_needle_has_no_area():
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [2, 1e-9, 0]])
    assert health(Mesh(corners, np.array([[0, 1, 2]], np.int32))).degenerate_faces == 1


def test_a_ball_with_three_holes(ball):
    mesh = ball(10.0, 5)
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    keep = np.ones(len(middle), bool)
    for pole, radius in (((0, 0, 10), 2.0), ((10, 0, 0), 1.2), ((0, -10, 0), 0.8)):
        keep &= np.linalg.norm(middle - pole, axis=1) > radius
    h = health(Mesh(mesh.vertices, mesh.faces[keep]))
    assert (h.holes, h.rim_mm, h.winding) == (3, 0.0, "outward")
    assert 2 * np.pi * 2.0 < h.largest_hole_mm < 1.35 * 2 * np.pi * 2.0  # a zigzag around the circle
    assert any(note.startswith("3 holes, the largest") for note in h.notes)


def test_an_open_arch_with_a_hole_and_a_speck(arch, ball):
    mesh, crumb = arch(), ball(0.3, 1)
    keep = (np.linalg.norm(mesh.vertices[mesh.faces].mean(axis=1)[:, :2] - [0, 35], axis=1)) > 1.0
    both = Mesh(
        np.concatenate((mesh.vertices, crumb.vertices + 30.0)),
        np.concatenate((mesh.faces[keep], crumb.faces + np.int32(len(mesh.vertices)))),
    )
    h = health(both)
    assert (h.components, h.holes, h.winding) == (2, 1, "outward")
    assert h.triangles - h.largest_component == 32
    assert h.rim_mm > 150.0


def test_it_can_be_stored_as_json(ball):
    h = health(ball())
    assert json.loads(json.dumps(asdict(h)))["triangles"] == h.triangles


def test_nothing_is_changed_and_the_pose_does_not_matter(arch):
    mesh = arch()
    before = mesh.vertices.copy(), mesh.faces.copy()
    still = health(mesh)
    turn = np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]])
    moved = health(Mesh(mesh.vertices @ turn.T + 100.0, mesh.faces))
    np.testing.assert_array_equal(mesh.vertices, before[0])
    np.testing.assert_array_equal(mesh.faces, before[1])
    assert (moved.holes, moved.winding) == (still.holes, still.winding)
    assert moved.edge_mm == pytest.approx(still.edge_mm)
    assert moved.rim_mm == pytest.approx(still.rim_mm)
