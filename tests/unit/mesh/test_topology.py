import numpy as np

from pinseat.mesh import topology
from pinseat.mesh.model import Mesh


def together(*meshes):
    starts = np.cumsum([0] + [len(m.vertices) for m in meshes])
    faces = np.concatenate([m.faces + at for m, at in zip(meshes, starts, strict=False)])
    return Mesh(np.concatenate([m.vertices for m in meshes]), faces.astype(np.int32))


def test_edges_of_a_cube(cube):
    found = topology.edges(cube())
    assert len(found.ends) == 18  # 12 edges and 6 diagonals
    assert set(found.count) == {2}
    assert not found.flipped.any()


def test_a_turned_triangle_is_wound_against_its_three_neighbours(cube):
    mesh = cube()
    faces = mesh.faces.copy()
    faces[3] = faces[3, ::-1]
    assert topology.edges(Mesh(mesh.vertices, faces)).flipped.sum() == 3


def test_edge_lengths_of_a_cube(cube):
    lengths = np.sort(topology.edge_lengths(cube(2.0)))
    np.testing.assert_allclose(lengths, [2.0] * 12 + [2.0 * np.sqrt(2.0)] * 6)


def test_rim_of_a_sheet_is_its_perimeter_and_a_hole_is_a_rim_of_its_own(sheet):
    mesh = sheet(lambda x, y: 0.0 * x, 40.0, 0.5)
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    pierced = Mesh(mesh.vertices, mesh.faces[(np.abs(middle[:, :2]) > 1.0).any(axis=1)])
    loops = topology.boundary_loops(pierced)
    np.testing.assert_allclose([loop.length_mm for loop in loops], [160.0, 8.0])
    assert len(loops[1].edges) == 16


def test_a_closed_body_has_no_rim(ball):
    assert topology.boundary_loops(ball()) == ()


def test_parts_are_numbered_as_they_come(cube, ball):
    part = topology.components(together(ball(1.0, 1), cube(), ball(2.0, 0)))
    np.testing.assert_array_equal(part, np.repeat([0, 1, 2], [32, 12, 8]))


def test_normals_of_a_ball_point_away_from_its_middle(ball):
    mesh = ball(10.0, 4)
    normals = topology.vertex_normals(mesh)
    np.testing.assert_allclose(np.linalg.norm(normals, axis=1), 1.0)
    assert (
        np.einsum("ij,ij->i", normals, mesh.vertices / 10.0) > np.cos(np.radians(2.0))
    ).all()  # facets span 6 deg


def test_a_triangle_without_area_has_no_normal():
    line = Mesh(np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]]), np.array([[0, 1, 2]], np.int32))
    np.testing.assert_array_equal(topology.face_normals(line), np.zeros((1, 3)))


def test_neighbours_of_a_cube_corner(cube):
    ring = topology.neighbours(cube())
    assert ring.sum() == 36.0
    assert (ring != ring.T).nnz == 0
