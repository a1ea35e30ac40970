import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.errors import ScanError
from pinseat.mesh.model import Mesh
from pinseat.mesh.raster import height_field, interpolate, view_axes


def test_height_of_a_plane_is_exact(sheet):
    field = height_field(sheet(lambda x, y: 0.3 * x - 0.2 * y + 5.0), (0, 0, 1), 0.13, up=(0, 1, 0))
    assert (field.face >= 0).mean() > 0.99
    rows, columns = np.nonzero(field.face >= 0)
    at = field.to_world(rows, columns)
    np.testing.assert_allclose(at[:, 2], 0.3 * at[:, 0] - 0.2 * at[:, 1] + 5.0, atol=1e-9)


def test_height_of_a_ball_is_its_upper_half(ball):
    """z = sqrt(R^2 - r^2), up to the sag of the facets: e^2 / 8R with edges e of at most 0.66 mm."""
    mesh = ball(10.0, 5)
    field = height_field(mesh, (0, 0, 1), 0.2)
    rows, columns = np.nonzero(field.face >= 0)
    at = field.to_world(rows, columns)
    near = np.hypot(at[:, 0], at[:, 1]) < 9.0
    true = np.sqrt(100.0 - at[near, 0] ** 2 - at[near, 1] ** 2)
    sag = 0.66**2 / 80.0 * 10.0 / true
    assert (np.abs(at[near, 2] - true) < 2.0 * sag).all()
    assert (mesh.vertices[mesh.faces[field.face[rows, columns]], 2].max(axis=1) > -0.7).all()


def test_seen_area_of_a_ball_is_its_disc(ball):
    field = height_field(ball(10.0, 5), (1, 2, 3), 0.1)
    assert (field.face >= 0).sum() * 0.01 == pytest.approx(np.pi * 100.0, rel=5e-3)


def test_the_nearer_of_two_sheets_is_seen_whatever_their_order(sheet):
    low, high = sheet(lambda x, y: 0.0 * x), sheet(lambda x, y: 0.0 * x + 2.0)
    for first, second in ((low, high), (high, low)):
        both = Mesh(
            np.concatenate((first.vertices, second.vertices)),
            np.concatenate((first.faces, second.faces + np.int32(len(first.vertices)))),
        )
        field = height_field(both, (0, 0, 1), 0.5)
        assert np.nanmin(field.height) == 2.0


@given(
    st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda d: np.linalg.norm(d) > 0.1),
    st.floats(0.05, 3.0),
)
def test_there_and_back(direction, pixel_mm):
    corners = np.array([[0.0, 0, 0], [9, 1, 2], [3, 8, 1], [2, 2, 7]])
    mesh = Mesh(corners, np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]], np.int32))
    field = height_field(mesh, direction, pixel_mm)
    np.testing.assert_allclose(field.axes @ field.axes.T, np.eye(3), atol=1e-12)
    at = field.to_pixel(corners)
    np.testing.assert_allclose(field.to_world(at[:, 0], at[:, 1], at[:, 2]), corners, atol=1e-9)
    seen = np.argwhere(field.face >= 0)
    normals = np.cross(*(corners[mesh.faces[:, i]] - corners[mesh.faces[:, 0]] for i in (1, 2)))
    world = field.to_world(*seen.T)
    face = field.face[field.face >= 0]
    off = np.einsum("ij,ij->i", world - corners[mesh.faces[face, 0]], normals[face])
    np.testing.assert_allclose(off / np.linalg.norm(normals[face], axis=1), 0.0, atol=1e-6)


def test_no_pixel_is_lost_along_shared_edges(sheet):
    """A turned, finely divided sheet covers every pixel inside it once."""
    field = height_field(sheet(lambda x, y: 0.0 * x, 20.0, 0.37), (0, 0, 1), 0.05, up=(0.3, 1.0, 0))
    inner = field.face[150:-150, 150:-150]
    assert (inner >= 0).all()


def test_up_is_towards_row_zero(sheet):
    field = height_field(sheet(lambda x, y: x), (0, 0, 1), 1.0, up=(1, 0, 0))
    assert np.nanmean(field.height[0]) > np.nanmean(field.height[-1])
    right, down, eye = view_axes((0, 0, 1), (0, 1, 0))
    np.testing.assert_allclose([right, down, eye], [[1, 0, 0], [0, -1, 0], [0, 0, 1]], atol=1e-15)


def test_values_are_mixed_linearly(sheet):
    mesh = sheet(lambda x, y: 0.1 * x * y)
    field = height_field(mesh, (0, 0, 1), 0.3)
    values = interpolate(mesh, field, mesh.vertices[:, :2] @ [[2.0], [-3.0]])
    rows, columns = np.nonzero(field.face >= 0)
    at = field.to_world(rows, columns)
    np.testing.assert_allclose(values[rows, columns, 0], 2.0 * at[:, 0] - 3.0 * at[:, 1], atol=1e-4)
    assert np.isnan(values[field.face < 0]).all()


def test_a_scan_of_a_kilometre_is_refused(ball):
    with pytest.raises(ScanError, match="check the unit"):
        height_field(ball(1e6, 1), (0, 0, 1), 0.1)


def test_an_arch_cut_off_by_a_steep_view_is_not_changed_by_read_only_arrays(arch):
    mesh = arch()
    mesh.faces.flags.writeable = False
    mesh.vertices.flags.writeable = False
    assert (height_field(mesh, (0, 1, 1), 0.5).face >= 0).any()
