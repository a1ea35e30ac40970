import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinseat.mesh.model import Mesh
from pinseat.mesh.orient import front_share, outside, wind_alike
from pinseat.mesh.topology import edges


def turned(mesh: Mesh, which=slice(None)) -> Mesh:
    faces = mesh.faces.copy()
    faces[which] = faces[which][:, ::-1]
    return Mesh(mesh.vertices, faces)


@settings(max_examples=25, deadline=None)
@given(which=st.sets(st.integers(0, 127), max_size=60))
def test_any_few_turned_triangles_are_turned_back(ball, which):
    mesh = ball(5.0, 2)
    wound = wind_alike(turned(mesh, sorted(which)))
    np.testing.assert_array_equal(np.flatnonzero(wound.turned), sorted(which))
    np.testing.assert_array_equal(wound.faces, mesh.faces)


def test_each_part_by_itself(cube):
    one, two = cube(2.0), turned(cube(5.0))
    both = Mesh(
        np.concatenate((one.vertices, two.vertices + 10.0)),
        np.concatenate((one.faces, two.faces + np.int32(8))),
    )
    wound = wind_alike(both)
    assert not wound.turned.any()
    np.testing.assert_array_equal(wound.part, np.repeat([0, 1], 12))
    assert outside(both, wound.part).tolist() == [1, -1]


def test_a_band_with_one_side_only():
    """A Moebius band of 20 quadrilaterals: somewhere two neighbours must lie against each other."""
    angle = np.arange(20) * 2 * np.pi / 20
    out = np.column_stack((np.cos(angle), np.sin(angle), 0 * angle))
    across = np.cos(angle / 2)[:, None] * out + np.sin(angle / 2)[:, None] * [0, 0, 1]
    corners = np.concatenate((10 * out + across, 10 * out - across))
    quads = [(i, i + 20, (i + 1) % 20 + 20, (i + 1) % 20) for i in range(19)] + [(19, 39, 0, 20)]
    faces = [f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))]
    assert wind_alike(Mesh(corners, np.array(faces, np.int32))).clashes == 1


@pytest.mark.parametrize("palate_mm", [0.0, 8.0, 14.0, 20.0])
@pytest.mark.parametrize("noise_mm", [0.0, 0.02])
def test_the_outside_of_an_arch(arch, palate_mm, noise_mm):
    """With a palate the arch encloses no volume to speak of, so only the look from all around can tell."""
    mesh = arch(palate_mm)
    rng = np.random.default_rng(1)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turn[:, 0] *= np.linalg.det(turn)
    mesh = Mesh((mesh.vertices + noise_mm * rng.normal(size=mesh.vertices.shape)) @ turn.T, mesh.faces)
    part = np.zeros(len(mesh.faces), np.int32)
    assert outside(mesh, part).tolist() == [1]
    assert outside(turned(mesh), part).tolist() == [-1]


def test_a_plate_has_no_outside(sheet):
    mesh = sheet(lambda x, y: 0.0 * x)
    assert outside(mesh, np.zeros(len(mesh.faces), np.int32)).tolist() == [0]


def test_all_of_a_ball_shows_its_front(ball):
    mesh = ball()
    part = np.zeros(len(mesh.faces), np.int32)
    assert front_share(mesh, part) == pytest.approx(1.0)
    assert front_share(turned(mesh), part) == pytest.approx(0.0)


def test_winding_alike_leaves_no_edge_between_opposites(arch):
    mesh = arch(8.0, 1.0)
    which = np.random.default_rng(5).random(len(mesh.faces)) < 0.3
    wound = wind_alike(turned(mesh, which))
    assert not edges(Mesh(mesh.vertices, wound.faces)).flipped.any()
    np.testing.assert_array_equal(wound.turned, which)
