"""The files that print, read back and judged by libraries that are not ours: trimesh and manifold3d.

3MF parts and the millimetre as unit: 3MF Core Specification 1.3, sections 2 and 3.4 (from memory).
"""

import io
import zipfile

import manifold3d
import numpy as np
import pytest
import trimesh
from lxml import etree

from pinseat.errors import ScanError
from pinseat.mesh.model import Mesh
from pinseat.mesh.threemf import threemf_bytes
from pinseat.mesh.write import stl_bytes
from pinseat.tray.step import Tray, run
from tests.unit.tray.conftest import case_of, handover, model


@pytest.fixture(scope="module")
def tray() -> Tray:
    return run(case_of(grid_mm=0.5, retention_hole_mm=2.0), handover(), mesh=model(0.45))


def body(tray: Tray) -> Mesh:
    assert tray.mesh is not None
    return tray.mesh


def test_stl_is_a_closed_outward_solid_to_trimesh(tray: Tray) -> None:
    read = trimesh.load(io.BytesIO(stl_bytes(body(tray))), file_type="stl")
    read.merge_vertices()
    assert read.is_watertight
    assert read.is_winding_consistent
    assert read.volume == pytest.approx(1e3 * tray.result.doses.tray_cm3, rel=1e-5)
    assert len(read.split(only_watertight=False)) == 1
    assert tray.result.sound is not None
    assert 1 - read.euler_number // 2 == tray.result.sound.genus_designed


def test_manifold_takes_it_in_single_precision(tray: Tray) -> None:
    mesh = body(tray)
    solid = manifold3d.Manifold(
        manifold3d.Mesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32))
    )
    assert solid.status() == manifold3d.Error.NoError
    assert solid.volume() == pytest.approx(1e3 * tray.result.doses.tray_cm3, rel=1e-5)
    assert len(solid.decompose()) == 1


def test_3mf_comes_back_from_trimesh_as_it_was(tray: Tray) -> None:
    mesh = body(tray)
    data = threemf_bytes(mesh, name="tray T-1 <&>")
    scene = trimesh.load(io.BytesIO(data), file_type="3mf")
    (read,) = scene.geometry.values()
    assert len(read.faces) == len(mesh.faces)
    assert scene.units in ("mm", "millimeter", "millimeters")
    assert read.is_watertight
    assert read.volume == pytest.approx(1e3 * tray.result.doses.tray_cm3, rel=1e-4)
    low, high = read.bounds
    assert np.allclose(low, mesh.vertices.min(axis=0), atol=1e-4)
    assert np.allclose(high, mesh.vertices.max(axis=0), atol=1e-4)


def test_3mf_has_the_parts_unit_and_names_of_the_standard(tray: Tray) -> None:
    data = threemf_bytes(body(tray), name="tray 26-014", said={"Description": "of a <case> & more"})
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None
        assert set(archive.namelist()) == {"[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"}
        root = etree.fromstring(archive.read("3D/3dmodel.model"))
    space = {"m": "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"}
    assert root.get("unit") == "millimeter"
    assert root.findtext("m:metadata[@name='Title']", namespaces=space) == "tray 26-014"
    assert root.findtext("m:metadata[@name='Description']", namespaces=space) == "of a <case> & more"
    (item,) = root.findall("m:build/m:item", namespaces=space)
    (thing,) = root.findall("m:resources/m:object", namespaces=space)
    assert item.get("objectid") == thing.get("id")
    assert thing.get("name") == "tray 26-014"


def test_3mf_is_the_same_each_time_and_refuses_nothing_and_nan() -> None:
    one = Mesh(np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]), np.array([[0, 1, 2]], np.int32))
    assert threemf_bytes(one, name="a") == threemf_bytes(one, name="a")
    with pytest.raises(ScanError):
        threemf_bytes(Mesh(one.vertices, one.faces[:0]), name="a")
    with pytest.raises(ScanError):
        threemf_bytes(Mesh(one.vertices * np.nan, one.faces), name="a")
    with pytest.raises(ScanError, match="no such word"):
        threemf_bytes(one, name="a", said={"Colour": "red"})
