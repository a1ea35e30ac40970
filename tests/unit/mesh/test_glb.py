from __future__ import annotations

import json
import struct

import numpy as np
import pytest

from pinseat.errors import ScanError
from pinseat.mesh.colour import linear
from pinseat.mesh.glb import glb_bytes
from pinseat.mesh.model import Mesh


def taken_apart(data: bytes):
    """Header, tree, length of its text, binary chunk; by the layout of glTF 2.0, section 4.4."""
    magic, version, length = struct.unpack_from("<4sII", data)
    size, kind = struct.unpack_from("<I4s", data, 12)
    text = data[20 : 20 + size]
    data_size, data_kind = struct.unpack_from("<I4s", data, 20 + size)
    assert (kind, data_kind) == (b"JSON", b"BIN\0")
    return (magic, version, length), json.loads(text), text, data[28 + size : 28 + size + data_size]


def painted(mesh: Mesh) -> np.ndarray:
    return np.random.default_rng(3).integers(0, 256, (len(mesh.vertices), 3), np.uint8)


@pytest.mark.parametrize("name", ["s", "sc", "sca", "scan", "Überblick"])
def test_container_is_whole_and_aligned_whatever_the_length_of_the_text(ball, name) -> None:
    data = glb_bytes(ball(5.0, 1), painted(ball(5.0, 1)), name=name)
    (magic, version, length), tree, text, binary = taken_apart(data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    assert len(data) % 4 == len(text) % 4 == len(binary) % 4 == 0
    assert len(data) == 28 + len(text) + len(binary)
    assert text.rstrip(b" ").endswith(b"}")
    assert tree["nodes"][0]["name"] == name


def test_views_follow_each_other_and_hold_their_accessors(ball) -> None:
    """glTF 2.0, sections 3.6.2.4 and 3.7.2.1: alignment, fit, one count for all attributes, targets."""
    mesh = ball(5.0, 2)
    _, tree, _, binary = taken_apart(glb_bytes(mesh, painted(mesh)))
    size = {5126: 4, 5125: 4, 5121: 1}
    parts = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}
    end = 0
    for view, accessor in zip(tree["bufferViews"], tree["accessors"], strict=True):
        assert view["byteOffset"] == end
        assert view["byteOffset"] % 4 == 0
        element = size[accessor["componentType"]] * parts[accessor["type"]]
        assert element % 4 == 0
        assert view["byteLength"] == element * accessor["count"]
        end += view["byteLength"]
    assert tree["buffers"] == [{"byteLength": end}]
    assert len(binary) - end in range(4)
    primitive = tree["meshes"][0]["primitives"][0]
    used = primitive["attributes"]
    assert list(used) == ["POSITION", "NORMAL", "COLOR_0"]
    assert {tree["accessors"][i]["count"] for i in used.values()} == {len(mesh.vertices)}
    assert tree["accessors"][primitive["indices"]]["count"] == 3 * len(mesh.faces)
    assert [view["target"] for view in tree["bufferViews"]] == [34962, 34962, 34962, 34963]


def numbers(data: bytes, which: str) -> np.ndarray:
    _, tree, _, binary = taken_apart(data)
    primitive = tree["meshes"][0]["primitives"][0]
    i = primitive["indices"] if which == "indices" else primitive["attributes"][which]
    view, kind = tree["bufferViews"][i], {5126: "<f4", 5125: "<u4", 5121: "u1"}
    stretch = binary[view["byteOffset"] : view["byteOffset"] + view["byteLength"]]
    return np.frombuffer(stretch, kind[tree["accessors"][i]["componentType"]]).reshape(
        tree["accessors"][i]["count"], -1
    )


def test_the_box_is_that_of_the_stored_numbers(ball) -> None:
    mesh = ball(7.3, 2)
    data = glb_bytes(Mesh(mesh.vertices + 0.1, mesh.faces))
    _, tree, _, _ = taken_apart(data)
    stored, said = numbers(data, "POSITION"), tree["accessors"][0]
    np.testing.assert_array_equal(np.float32(said["min"]), stored.min(axis=0))
    np.testing.assert_array_equal(np.float32(said["max"]), stored.max(axis=0))
    np.testing.assert_array_equal(numbers(data, "indices").reshape(-1, 3), mesh.faces)


def test_colours_are_stored_as_light(ball) -> None:
    """Section 3.7.2.1: COLOR_0 is a linear multiplier."""
    mesh = ball(5.0, 3)
    colours = painted(mesh)
    stored = numbers(glb_bytes(mesh, colours), "COLOR_0")
    assert (stored[:, 3] == 255).all()
    np.testing.assert_allclose(stored[:, :3] / 255.0, linear(colours), atol=0.5 / 255.0 + 1e-12)


def test_normals_are_of_length_one_even_where_no_triangle_is() -> None:
    lonely = Mesh(np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [5, 5, 5]]), np.array([[0, 1, 2]], np.int32))
    stored = numbers(glb_bytes(lonely, up=(0, 3, 4)), "NORMAL")
    assert np.linalg.norm(stored, axis=1) == pytest.approx(np.ones(4), abs=1e-6)
    assert stored[0] == pytest.approx((0, 0, 1))
    assert stored[3] == pytest.approx((0, 0.6, 0.8))


@pytest.mark.parametrize("up", [(0, 0, 1), (0, 0, -2), (0, 1, 0), (0, -1, 0), (1, 0, 0), (0.3, -0.8, 0.5)])
def test_what_is_up_stands_up_in_metres(ball, up) -> None:
    """The node's turn as glTF applies it: scale first, then the unit quaternion (x, y, z, w)."""
    _, tree, _, _ = taken_apart(glb_bytes(ball(5.0, 1), up=up))
    node = tree["nodes"][0]
    q = np.array(node["rotation"])
    assert np.linalg.norm(q) == pytest.approx(1.0)
    v = np.array(up) / np.linalg.norm(up)
    turned = v + 2.0 * np.cross(q[:3], np.cross(q[:3], v) + q[3] * v)
    assert turned == pytest.approx((0, 1, 0), abs=1e-9)
    assert node["scale"] == [0.001] * 3


def test_words_travel_with_the_scan_and_the_unit_is_said(ball) -> None:
    _, tree, _, _ = taken_apart(glb_bytes(ball(5.0, 1), extras={"input hash": "5d1f"}))
    said = tree["nodes"][0]["extras"]
    assert said["input hash"] == "5d1f"
    assert "mm" in said["unit"]
    assert "COLOR_0" not in tree["meshes"][0]["primitives"][0]["attributes"]


def test_same_mesh_same_bytes(ball) -> None:
    assert glb_bytes(ball(), painted(ball())) == glb_bytes(ball(), painted(ball()))


def test_what_cannot_be_shown_is_refused(ball) -> None:
    mesh = ball(5.0, 1)
    with pytest.raises(ScanError, match="no triangle"):
        glb_bytes(Mesh(mesh.vertices, mesh.faces[:0]))
    with pytest.raises(ScanError, match="one for each of 18 points"):
        glb_bytes(mesh, painted(mesh)[1:])
    hurt = mesh.vertices.copy()
    hurt[3, 1] = np.nan
    with pytest.raises(ScanError, match="no number"):
        glb_bytes(Mesh(hurt, mesh.faces))
