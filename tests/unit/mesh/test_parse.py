"""Bad files, parsed in this very process: whatever they hold, a ScanError is all that comes out."""

from __future__ import annotations

import io
import struct
import zipfile

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pinseat.errors import ScanError
from pinseat.mesh.content import FORMATS, looks_like
from pinseat.mesh.parse import join_identical, parse
from pinseat.mesh.write import ply_bytes, stl_bytes

OBJ = b"mtllib away.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\nusemtl a\nf 1 2 3\nf 1//1 2//1 4//1\n"
OFF = b"OFF\n4 2 0\n0 0 0\n1 0 0\n0 1 0\n0 0 1\n3 0 1 2\n3 0 1 3\n"
PLY = (
    b"ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n"
    b"element face 2\nproperty list uchar int vertex_indices\nend_header\n"
    b"0 0 0\n1 0 0\n0 1 0\n0 0 1\n3 0 1 2\n3 0 1 3\n"
)
MODEL = b"""<?xml version="1.0" encoding="UTF-8"?>
<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>
<object id="1" type="model"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/>
<vertex x="0" y="1" z="0"/><vertex x="0" y="0" z="1"/></vertices><triangles><triangle v1="0" v2="1" v3="2"/>
<triangle v1="0" v2="1" v3="3"/></triangles></mesh></object></resources>
<build><item objectid="1"/></build></model>"""


def packed(model: bytes, name: str = "3D/3dmodel.model") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, model)
    return out.getvalue()


GOOD = {"OBJ": OBJ, "OFF": OFF, "PLY": PLY, "3MF": packed(MODEL)}


@pytest.mark.parametrize("kind", sorted(GOOD))
def test_the_samples_are_sound(kind):
    parsed = parse(GOOD[kind], kind)
    assert parsed.vertices.shape == (4, 3)
    assert parsed.faces.shape == (2, 3)
    assert parsed.unit == ("mm" if kind == "3MF" else "")


@pytest.mark.parametrize(
    ("kind", "data", "says"),
    [
        ("STL", b"", "empty"),
        ("PLY", b"\0\0 \n", "empty"),
        ("STL", PLY, r"the name says STL, but the content looks like PLY; let the name end in \.ply"),
        ("PLY", OBJ, "looks like OBJ"),
        ("OBJ", OFF, "looks like OFF"),
        ("OFF", packed(MODEL), "looks like 3MF"),
        ("STL", b"%PDF-1.7 ...", "looks like a PDF document"),
        ("OBJ", b"<!DOCTYPE html><html>", "looks like a web page"),
        ("3MF", b"hello, world", "does not look like 3MF"),
        ("PLY", PLY.replace(b"vertex 4", b"vertex 4000000000"), "4,000,000,000 as the header promises"),
        ("PLY", PLY.replace(b"vertex 4", b"vertex -4"), "header"),
        ("PLY", PLY.replace(b"face 2", b"face 900000000000"), "header promises"),
        ("PLY", PLY.replace(b"face 2", b"face 3"), "header promises"),
        ("PLY", PLY[:60], "header has no end"),
        ("PLY", PLY[:-9], "cut short"),
        ("PLY", PLY.replace(b"3 0 1 3", b"3 0 1 4"), "names a corner that is not in the file"),
        ("PLY", PLY.replace(b"3 0 1 3", b"3 0 1 -1"), "names a corner that is not in the file"),
        ("PLY", PLY.replace(b"1 0 0\n", b"nan 0 0\n"), "not a finite number"),
        ("PLY", PLY.replace(b"1 0 0\n", b"-inf 0 0\n"), "not a finite number"),
        ("PLY", PLY.replace(b"1 0 0\n", b"1e30 0 0\n"), "too large"),
        (
            "PLY",
            PLY[: PLY.index(b"element face")] + b"end_header\n0 0 0\n1 0 0\n0 1 0\n0 0 1\n",
            "no triangles",
        ),
        ("OFF", OFF.replace(b"4 2 0", b"4 3 0"), "header promises"),
        ("OFF", OFF.replace(b"4 2 0", b"4000000000 2 0"), "header promises"),
        ("OFF", OFF.replace(b"4 2 0", b"four"), "how many"),
        ("OFF", OFF.replace(b"3 0 1 3", b"3 0 1 9"), "damaged"),
        ("OFF", OFF.replace(b"1 0 0", b"x 0 0"), "damaged"),
        ("OBJ", OBJ.replace(b"f 1 2 3", b"f 1 2 9"), "damaged"),
        ("OBJ", OBJ.replace(b"f 1 2 3", b"f 0 1 2"), "corner 0"),
        ("OBJ", OBJ.replace(b"f 1 2 3", b"f 1 2"), "fewer than three"),
        ("OBJ", OBJ.replace(b"v 0 0 1\n", b"") + b"f -3 -2 -1\nv 0 0 1\n", "backwards"),
        ("OBJ", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "no triangles"),
        ("OBJ", OBJ.replace(b"v 1 0 0", b"v nan 0 0"), "not a finite number"),
        ("3MF", packed(MODEL)[:-40], "damaged or locked"),
        ("3MF", packed(MODEL, "notes.txt"), "no 3MF model"),
        ("3MF", packed(MODEL[:200]), "damaged"),
        ("3MF", packed(MODEL.replace(b"millimeter", b"foot")), "foot"),
        ("3MF", packed(MODEL.replace(b'v3="3"', b'v3="4"')), "names a corner"),
        ("3MF", packed(MODEL.replace(b'v3="3"', b'v3="-1"')), "names a corner"),
        ("3MF", packed(MODEL.replace(b'x="1"', b'x="NaN"')), "not a finite number"),
        ("3MF", packed(MODEL.replace(b'<item objectid="1"/>', b"")), "damaged"),
        (
            "3MF",
            packed(
                MODEL.replace(b"<model ", b'<!DOCTYPE m [<!ENTITY e SYSTEM "file:///etc/hostname">]><model ')
            ),
            "outside itself",
        ),
        ("3MF", packed(MODEL.replace(b"UTF-8", b"UTF-7")), "encoding"),
        ("3MF", packed(MODEL.decode().encode("utf-16")), "encoding"),
    ],
)
def test_bad_files(kind, data, says):
    with pytest.raises(ScanError, match=says) as caught:
        parse(data, kind)
    assert "\n" not in str(caught.value)
    assert caught.value.do


def test_nan_in_binary_stl(cube):
    data = bytearray(stl_bytes(cube()))
    data[84 + 12 : 84 + 16] = struct.pack("<f", np.nan)
    with pytest.raises(ScanError, match="not a finite number"):
        parse(bytes(data), "STL")


def test_every_cut_of_a_binary_ply_is_noticed(cube):
    data = ply_bytes(cube())
    for length in [*range(4, len(data), 17), len(data) - 1]:
        with pytest.raises(ScanError):
            parse(data[:length], "PLY")


def test_a_packed_giant_is_refused_before_it_is_unpacked(monkeypatch):
    monkeypatch.setattr("pinseat.mesh.parse.MOST_UNPACKED_BYTES", 1_000_000)
    with pytest.raises(ScanError, match="grows too large"):
        parse(packed(MODEL + b" " * 2_000_000), "3MF")


def test_3mf_places_and_units():
    moved = MODEL.replace(b'objectid="1"/>', b'objectid="1" transform="0 1 0 -1 0 0 0 0 1 5 6 7"/>')
    parsed = parse(packed(moved.replace(b"millimeter", b"inch")), "3MF")
    assert parsed.unit == "in"
    np.testing.assert_allclose(parsed.vertices, [[5, 6, 7], [5, 7, 7], [4, 6, 7], [5, 6, 8]])


def test_a_mirrored_3mf_item_keeps_its_front_outside():
    mirrored = MODEL.replace(b'objectid="1"/>', b'objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>')
    plain, turned = parse(packed(MODEL), "3MF"), parse(packed(mirrored), "3MF")
    normal = [
        np.cross(*(p.vertices[p.faces[0, i]] - p.vertices[p.faces[0, 0]] for i in (1, 2)))
        for p in (plain, turned)
    ]
    np.testing.assert_allclose(normal[1], normal[0] * [-1, 1, 1])


def assembled(levels: int, times: int) -> bytes:
    """Each object holds the one before `times` times over."""
    held = "".join(
        f'<object id="{level}" type="model"><components>{f"""<component objectid="{level - 1}"/>""" * times}'
        "</components></object>"
        for level in range(2, levels + 2)
    )
    whole = MODEL.replace(b"</resources>", held.encode() + b"</resources>")
    return packed(whole.replace(b'item objectid="1"', b'item objectid="%d"' % (levels + 1)))


def test_an_assembly_is_read_whole_or_refused():
    """The library stops counting somewhere above 64 parts; a scan that lacks some of them must not pass."""
    assert len(parse(assembled(1, 5), "3MF").faces) == 10
    for levels in (2, 3, 9):
        with pytest.raises(ScanError, match="parts of parts"):
            parse(assembled(levels, 10), "3MF")


def test_a_part_that_holds_itself():
    own = MODEL.replace(
        b"</resources>",
        b'<object id="2"><components><component objectid="2"/></components></object></resources>',
    )
    with pytest.raises(ScanError):
        parse(packed(own.replace(b'item objectid="1"', b'item objectid="2"')), "3MF")


def test_obj_counting_backwards_from_the_end():
    parsed = parse(OBJ.replace(b"f 1 2 3", b"f -4 -3 -2"), "OBJ")
    np.testing.assert_allclose(parsed.vertices[parsed.faces[0]], [[0, 0, 0], [1, 0, 0], [0, 1, 0]])


def test_quadrilaterals_become_two_triangles():
    assert len(parse(b"v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nf 1 2 3 4\n", "OBJ").faces) == 2


def test_lone_points_are_left_out_and_told():
    parsed = parse(OFF.replace(b"4 2 0", b"5 2 0").replace(b"3 0 1 2", b"7 7 7\n3 0 1 2"), "OFF")
    assert len(parsed.vertices) == 4
    assert parsed.notes == ("1 points that belong to no triangle were left out",)


@given(st.lists(st.tuples(*[st.sampled_from([0.0, -0.0, 1.0, 1.5, 2.0**-40])] * 3), min_size=1))
def test_identical_corners_become_one(corners):
    corners = np.array(corners)
    vertices, index = join_identical(corners)
    np.testing.assert_array_equal(vertices[index], corners)
    assert len(vertices) == len(np.unique(corners + 0.0, axis=0))
    first = [int(np.flatnonzero(index == i)[0]) for i in range(len(vertices))]
    assert first == sorted(first)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(FORMATS), st.binary(max_size=300))
def test_random_bytes(kind, data):
    with pytest.raises(ScanError):
        parse(data, kind)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.sampled_from(sorted(GOOD)),
    st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=4),
    st.floats(0.3, 1.0),
)
def test_spoilt_bytes(kind, changes, kept):
    data = bytearray(GOOD[kind])
    for where, value in changes:
        data[int(where * len(data))] = value
    try:
        parsed = parse(bytes(data[: int(kept * len(data))]), kind)
    except ScanError:
        return
    assert np.isfinite(parsed.vertices).all()
    assert parsed.faces.min() >= 0
    assert parsed.faces.max() < len(parsed.vertices)


@pytest.mark.parametrize("kind", sorted(GOOD))
def test_content_is_known_without_its_name(kind):
    assert looks_like(GOOD[kind]) == kind
    assert looks_like(b"\xef\xbb\xbf# a comment\r\n" + GOOD[kind]) == ("" if kind in ("PLY", "3MF") else kind)
