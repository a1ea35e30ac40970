import numpy as np
import pytest

from pinseat.mesh.health import health
from pinseat.mesh.model import Mesh
from pinseat.mesh.working_copy import SPECK_SHARE, working_copy


def soup(mesh: Mesh, jitter_mm: float = 0.0) -> Mesh:
    corners = mesh.vertices[mesh.faces].reshape(-1, 3)
    corners = corners + np.random.default_rng(2).uniform(-jitter_mm, jitter_mm, corners.shape)
    return Mesh(corners, np.arange(len(corners), dtype=np.int32).reshape(-1, 3))


def test_a_sound_scan_is_left_as_it_is(arch):
    mesh = working_copy(arch()).mesh
    copy = working_copy(mesh)
    assert copy.did == ()
    np.testing.assert_array_equal(copy.mesh.vertices, mesh.vertices)
    np.testing.assert_array_equal(copy.mesh.faces, mesh.faces)


@pytest.mark.parametrize("jitter_mm", [0.0, 1e-4])
def test_torn_triangles_are_welded(ball, jitter_mm):
    mesh = ball(10.0, 3)
    copy = working_copy(soup(mesh, jitter_mm))
    assert len(copy.mesh.vertices) == len(mesh.vertices)
    assert health(copy.mesh).notes[-1] == "The surface is closed."
    assert copy.did == ("1,278 corners were joined to one closer than 1 um.",)


def test_corners_further_apart_than_scanner_rounding_are_not_welded(ball):
    copy = working_copy(soup(ball(10.0, 2), 0.02))
    assert len(copy.mesh.faces) == 128
    assert health(copy.mesh).components > 100


def test_doubled_and_collapsed_triangles_go(ball):
    mesh = ball(10.0, 2)
    faces = np.concatenate((mesh.faces, mesh.faces[:3], mesh.faces[[5]][:, [2, 0, 1]], [[4, 4, 9]]))
    copy = working_copy(Mesh(mesh.vertices, faces.astype(np.int32)))
    assert copy.did == (
        "1 triangle was removed: two corners were one.",
        "4 triangles were removed: stored twice.",
    )
    np.testing.assert_array_equal(copy.mesh.faces, mesh.faces)


def test_doubled_triangles_do_not_hinder_welding(ball):
    torn = soup(ball(10.0, 3))
    doubled = Mesh(torn.vertices, np.concatenate((torn.faces, torn.faces[:9])))
    assert health(working_copy(doubled).mesh).components == 1


def test_specks_go_and_a_loose_pin_stays(arch, ball, cube):
    mesh = arch()
    crumb, pin = ball(0.25, 1), cube(1.0)
    pin = Mesh(pin.vertices * [0.55, 0.55, 3.0], pin.faces)
    high, beside = np.array([0.0, 0, 20]), np.array([5.0, 35, 9])
    starts = len(mesh.vertices), len(mesh.vertices) + len(crumb.vertices)
    scan = Mesh(
        np.concatenate((mesh.vertices, crumb.vertices + high, pin.vertices + beside)),
        np.concatenate((mesh.faces, crumb.faces + np.int32(starts[0]), pin.faces + np.int32(starts[1]))),
    )
    before = scan.vertices.copy(), scan.faces.copy()
    area = health(mesh).area_mm2
    assert 4 * np.pi * 0.25**2 < SPECK_SHARE * area < 6.0
    copy = working_copy(scan)
    assert health(copy.mesh).components == 2
    assert copy.did[0].startswith("1 loose speck was removed, 32 triangles in all, the largest 0.")
    np.testing.assert_array_equal(scan.vertices, before[0])
    np.testing.assert_array_equal(scan.faces, before[1])


@pytest.mark.parametrize("palate_mm", [0.0, 14.0])
def test_an_arch_inside_out_with_stray_triangles(arch, palate_mm):
    mesh = working_copy(arch(palate_mm)).mesh
    faces = mesh.faces[:, ::-1].copy()
    faces[::50] = faces[::50, ::-1]
    copy = working_copy(Mesh(mesh.vertices, faces))
    assert health(copy.mesh).winding == "outward"
    np.testing.assert_array_equal(np.sort(copy.mesh.faces, axis=1), np.sort(mesh.faces, axis=1))
    strays = len(faces[::50])
    assert copy.did == (
        f"{strays:,} triangles were turned over to match the triangles beside.",
        f"{len(faces):,} triangles were turned over: the back showed outward.",
    )


def test_a_plate_is_left_alone_and_told(sheet):
    mesh = sheet(lambda x, y: 0.0 * x, 10.0, 1.0)
    copy = working_copy(mesh)
    assert copy.did == ("200 triangles were left alone: the shape does not tell which side is the outside.",)
    np.testing.assert_array_equal(copy.mesh.faces, mesh.faces)


def test_unused_points_go(cube):
    mesh = cube()
    with_more = Mesh(np.concatenate(([[9.0, 9, 9]], mesh.vertices)), mesh.faces + np.int32(1))
    copy = working_copy(with_more)
    np.testing.assert_array_equal(copy.mesh.vertices, mesh.vertices)
    np.testing.assert_array_equal(copy.mesh.faces, mesh.faces)
