"""Scan files and mesh measures against trimesh, an open library that shares no code with ours for these.

STL is read by our own code alone, so trimesh is an independent reader and writer there. For PLY, OBJ, OFF and
3MF we read through it: there it stands as the writer, and what is checked is that nothing is lost on the way.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh

from pinseat.mesh import topology
from pinseat.mesh.files import read_scan
from pinseat.mesh.health import health
from pinseat.mesh.model import Mesh
from pinseat.mesh.orient import wind_alike
from pinseat.mesh.stl import read_stl
from pinseat.mesh.write import ply_bytes, stl_bytes
from pinseat.survey.triangles import nearest_on_triangles

BODIES = {
    "ball": trimesh.creation.icosphere(subdivisions=3, radius=14.0),
    "ring": trimesh.creation.torus(20.0, 4.0),
    "pin": trimesh.creation.cylinder(0.35, 6.0),
    "capsule": trimesh.creation.capsule(8.0, 2.0),
}
SINGLE = 2.0**-24
"""Rounding of single precision, relative: what STL can hold."""


def ours(body: trimesh.Trimesh) -> Mesh:
    return Mesh(np.array(body.vertices), np.array(body.faces, np.int32))


def corners(mesh) -> np.ndarray:
    return np.asarray(mesh.vertices)[np.asarray(mesh.faces)]


@pytest.mark.parametrize("name", BODIES)
@pytest.mark.parametrize("kind", ["stl", "stl_ascii"])
def test_stl_written_by_trimesh(name, kind):
    data = BODIES[name].export(file_type=kind)
    read, _ = read_stl(data if isinstance(data, bytes) else data.encode())
    np.testing.assert_allclose(read, corners(BODIES[name]), rtol=SINGLE, atol=2e-8)


@pytest.mark.parametrize("name", BODIES)
def test_our_stl_read_by_trimesh(name):
    read = trimesh.load_mesh(io.BytesIO(stl_bytes(ours(BODIES[name]))), file_type="stl", process=False)
    np.testing.assert_allclose(corners(read), corners(BODIES[name]), rtol=SINGLE, atol=1e-12)
    np.testing.assert_allclose(read.face_normals, BODIES[name].face_normals, atol=1e-5)


def test_our_ply_read_by_trimesh():
    body = BODIES["ring"]
    colours = np.random.default_rng(0).integers(0, 256, (len(body.vertices), 3), np.uint8)
    read = trimesh.load_mesh(io.BytesIO(ply_bytes(ours(body), colours)), file_type="ply", process=False)
    np.testing.assert_array_equal(read.vertices, body.vertices)
    np.testing.assert_array_equal(read.faces, body.faces)
    np.testing.assert_array_equal(read.visual.vertex_colors[:, :3], colours)


@pytest.mark.parametrize(
    ("kind", "options", "decimals"),
    [
        ("ply", {}, 5),
        ("ply", {"encoding": "ascii"}, 5),
        ("obj", {"include_normals": True}, 7),
        ("obj", {"include_normals": False}, 7),
        ("off", {}, 9),
        ("3mf", {}, 12),
    ],
)
def test_other_formats_written_by_trimesh(tmp_path, kind, options, decimals):
    """`decimals`: what trimesh writes of each coordinate (PLY: single precision)."""
    body = BODIES["capsule"]
    body.export(tmp_path / f"scan.{kind}", **options)
    scan = read_scan(tmp_path / f"scan.{kind}", "mm")
    np.testing.assert_allclose(corners(scan.mesh), corners(body), atol=10.0**-decimals)
    assert len(scan.mesh.vertices) == len(body.vertices)


@pytest.mark.parametrize("name", BODIES)
def test_measures(name):
    body, mesh = BODIES[name], ours(BODIES[name])
    found = topology.edges(mesh)
    np.testing.assert_array_equal(found.ends, body.edges_unique[np.lexsort(body.edges_unique.T[::-1])])
    np.testing.assert_allclose(np.sort(topology.edge_lengths(mesh)), np.sort(body.edges_unique_length))
    np.testing.assert_allclose(topology.face_areas(mesh), body.area_faces, rtol=1e-9)
    np.testing.assert_allclose(topology.face_normals(mesh), body.face_normals, atol=1e-9)
    h = health(mesh)
    assert h.area_mm2 == pytest.approx(body.area, rel=1e-9)
    assert h.box_mm == pytest.approx(tuple(body.extents))
    assert (h.winding, h.components, h.holes) == ("outward", body.body_count, 0)
    assert body.is_watertight


def test_rims_of_a_pierced_ball():
    """trimesh gives the outline of open edges; its length is the sum of ours."""
    body = BODIES["ball"]
    keep = np.linalg.norm(body.triangles_center - [14.0, 0, 0], axis=1) > 5.0
    keep &= np.linalg.norm(body.triangles_center - [0, -14.0, 0], axis=1) > 3.0
    pierced = body.submesh([np.flatnonzero(keep)], append=True)
    loops = topology.boundary_loops(ours(pierced))
    assert len(loops) == 2
    assert sum(loop.length_mm for loop in loops) == pytest.approx(pierced.outline().length)


@pytest.mark.parametrize("seed", range(3))
def test_winding_mended_as_trimesh_mends_it(seed):
    """Both agree with the neighbours; trimesh then turns a closed body outward by its volume."""
    body = BODIES["ring"]
    faces = np.array(body.faces, np.int32)
    which = np.random.default_rng(seed).random(len(faces)) < 0.2
    faces[which] = faces[which][:, ::-1]
    mended = trimesh.Trimesh(body.vertices, faces, process=False)
    trimesh.repair.fix_normals(mended)
    wound = wind_alike(Mesh(np.array(body.vertices), faces))
    again = trimesh.Trimesh(body.vertices, wound.faces, process=False)
    assert again.is_winding_consistent
    assert again.volume == pytest.approx(mended.volume)
    assert again.volume == pytest.approx(body.volume)


def test_nearest_places_of_triangles():
    """Random triangles, slivers and triangles without area among them; both in double precision."""
    rng = np.random.default_rng(3)
    triangles, points = rng.normal(size=(5000, 3, 3)), rng.normal(scale=2.0, size=(5000, 3))
    triangles[:500, 2] = triangles[:500, 0] + 1e-6 * rng.normal(size=(500, 3))
    places = nearest_on_triangles(triangles, points)
    theirs = trimesh.triangles.closest_point(triangles, points)
    ours_mm, theirs_mm = (np.linalg.norm(at - points, axis=1) for at in (places, theirs))
    np.testing.assert_allclose(ours_mm[500:], theirs_mm[500:], atol=1e-12)
    assert np.all(ours_mm[:500] <= theirs_mm[:500] + 1e-9)  # of slivers nobody's is exact; none is farther
    ends = np.linalg.norm(triangles - points[:, None], axis=2).min(axis=1)
    assert np.all(ours_mm <= ends + 1e-12)
