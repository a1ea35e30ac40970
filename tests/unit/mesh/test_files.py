"""The whole way: a file on disk, a process of its own, one clear line."""

from __future__ import annotations

import hashlib
import os
import struct
import sys
import zipfile

import numpy as np
import pytest

from pinseat.errors import ScanError, UnitError
from pinseat.mesh.files import _understood, read_scan
from pinseat.mesh.write import ply_bytes, stl_bytes

MODEL = (
    b'<?xml version="1.0" encoding="UTF-8"?><model unit="%s" xmlns="http://schemas.microsoft.com/'
    b'3dmanufacturing/core/2015/02"><resources><object id="1" type="model"><mesh><vertices>%s</vertices>'
    b'<triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object></resources>'
    b'<build><item objectid="1"/></build></model>'
)
CORNERS = b'<vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/><vertex x="0" y="1" z="0"/>'


def model(path, corners=CORNERS, unit=b"millimeter"):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("3D/3dmodel.model", MODEL % (unit, corners))
    return path


def test_a_scan_as_received(tmp_path, ball):
    path = tmp_path / "scan.stl"
    path.write_bytes(stl_bytes(ball(10.0, 3)))
    scan = read_scan(path, "mm")
    assert (scan.format, scan.unit, scan.notes) == ("STL", "mm", ())
    assert scan.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert scan.mesh.vertices.shape == (258, 3)
    assert (scan.mesh.vertices.dtype, scan.mesh.faces.dtype) == (np.float64, np.int32)
    assert scan.mesh.faces.flags.writeable
    np.testing.assert_allclose(np.linalg.norm(scan.mesh.vertices, axis=1), 10.0, rtol=1e-6)


def test_units_are_converted_only_when_they_are_known(tmp_path, cube):
    path = tmp_path / "scan.PLY"
    path.write_bytes(ply_bytes(cube(2.0)))
    assert read_scan(path, "in").mesh.vertices.max() == pytest.approx(50.8)
    unknown = read_scan(path, None)
    assert unknown.unit is None
    assert unknown.mesh.vertices.max() == 2.0
    with pytest.raises(UnitError):
        read_scan(path, "ell")


def test_a_3mf_file_says_its_own_unit(tmp_path):
    path = model(tmp_path / "scan.3mf", unit=b"centimeter")
    scan = read_scan(path, None)
    assert scan.unit == "cm"
    assert scan.mesh.vertices.max() == pytest.approx(10.0)
    assert read_scan(path, "cm").unit == "cm"
    with pytest.raises(ScanError, match=r"name different units \(the file itself says cm; expected mm"):
        read_scan(path, "mm")


def test_reading_leaves_no_trace(tmp_path, cube):
    path = tmp_path / "scan.stl"
    path.write_bytes(stl_bytes(cube()))
    before = path.stat()
    read_scan(path, "mm")
    (tmp_path / "bad.obj").write_bytes(b"v 0 0 0\nf 1 2 3\n")
    with pytest.raises(ScanError):
        read_scan(tmp_path / "bad.obj", "mm")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bad.obj", "scan.stl"]
    assert path.stat().st_mtime_ns == before.st_mtime_ns


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("none.stl", "there is no such file"),
        ("folder.stl", "this is a folder"),
        ("scan.step", r"not the name of a scan file \(expected a name that ends in \.stl"),
        ("scan", "not the name of a scan file"),
        ("none\0.stl", "not a file name"),
        ("x" * 5000 + ".stl", "cannot be opened"),
    ],
)
def test_what_is_not_a_scan_file(tmp_path, name, says):
    (tmp_path / "folder.stl").mkdir()
    with pytest.raises(ScanError, match=says) as caught:
        read_scan(tmp_path / name, None)
    assert caught.value.where == str(tmp_path / name)
    assert caught.value.do


def test_a_locked_file(tmp_path, monkeypatch):
    path = tmp_path / "scan.stl"
    path.write_bytes(b"solid")

    def locked(*_args, **_more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "open", locked)
    with pytest.raises(ScanError, match="may not be read"):
        read_scan(path, None)


def test_a_pipe_is_not_waited_for(tmp_path):
    path = tmp_path / "scan.stl"
    os.mkfifo(path)
    with pytest.raises(ScanError, match="not a plain file"):
        read_scan(path, None)


def test_a_giant_file_is_not_even_read(tmp_path):
    path = tmp_path / "scan.stl"
    with path.open("wb") as file:
        file.truncate(2**31)
    with pytest.raises(ScanError, match="too large for a scan of teeth"):
        read_scan(path, None)


def test_a_material_file_is_never_opened(tmp_path):
    """Opening the named pipe would wait for ever, and so would run into the time limit."""
    os.mkfifo(tmp_path / "trap.mtl")
    trap = str(tmp_path / "trap.mtl").encode()
    path = tmp_path / "scan.obj"
    path.write_bytes(b"mtllib " + trap + b"\nusemtl a\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n")
    assert len(read_scan(path, "mm").mesh.faces) == 1
    path = tmp_path / "scan.ply"
    path.write_bytes(ply_bytes(read_scan(tmp_path / "scan.obj", "mm").mesh))
    path.write_bytes(path.read_bytes().replace(b"comment lengths in mm", b"comment TextureFile " + trap))
    assert len(read_scan(path, "mm").mesh.faces) == 1


def test_a_module_in_the_current_folder_is_not_run(tmp_path, monkeypatch, cube):
    for name in ("numpy", "json", "trimesh", "pinseat"):
        (tmp_path / f"{name}.py").write_text("raise SystemExit('taken in')")
    (tmp_path / "scan.stl").write_bytes(stl_bytes(cube()))
    monkeypatch.chdir(tmp_path)
    assert len(read_scan(tmp_path / "scan.stl", "mm").mesh.faces) == 12


def test_a_packed_giant_stays_within_the_memory_limit(tmp_path):
    corners = CORNERS + b'<vertex x="1" y="1" z="1"/>' * 6_000_000
    path = model(tmp_path / "scan.3mf", corners)
    assert path.stat().st_size < 2_000_000
    with pytest.raises(ScanError, match="within the memory allowed"):
        read_scan(path, "mm", memory_limit_bytes=700_000_000)


def test_a_list_of_four_thousand_million_corners(tmp_path):
    header = (
        b"ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty float x\nproperty float y\n"
        b"property float z\nelement face 1\nproperty list uint int vertex_indices\nend_header\n"
    )
    path = tmp_path / "scan.ply"
    path.write_bytes(header + struct.pack("<9f", *range(9)) + struct.pack("<I3i", 2**32 - 1, 0, 1, 2))
    with pytest.raises(ScanError, match="damaged"):
        read_scan(path, "mm", memory_limit_bytes=700_000_000)


def test_bad_lines_come_back_from_the_child_with_the_name_of_the_file(tmp_path):
    path = tmp_path / "scan.off"
    path.write_bytes(b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 nan 0\n3 0 1 2\n")
    with pytest.raises(ScanError) as caught:
        read_scan(path, "mm")
    assert str(caught.value) == (
        f"{path}: a coordinate is not a finite number (1 of 3 corners); "
        "export the scan again, as binary STL if you can"
    )


@pytest.mark.parametrize("answer", [b"", b"rubbish", b'{"vertices": 3', b'{"vertices": 3, "faces": 1}\n123'])
def test_a_broken_answer_is_not_trusted(answer):
    with pytest.raises(ScanError, match="broke the reader"):
        _understood(answer, 10**9)


def test_a_missing_python_is_told(tmp_path, monkeypatch, cube):
    (tmp_path / "scan.stl").write_bytes(stl_bytes(cube()))
    monkeypatch.setattr(sys, "executable", str(tmp_path / "no-python"))
    with pytest.raises(ScanError, match="cannot be started"):
        read_scan(tmp_path / "scan.stl", "mm")
