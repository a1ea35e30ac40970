"""Binary glTF against the reader of trimesh, an open library that shares no code with our writer.

The rules of the container and of the buffers are those of the glTF 2.0 specification (Khronos Group, 2.0.1;
ISO/IEC 12113:2022), sections 3.6, 3.7 and 4.4; `tests/unit/mesh/test_glb.py` goes through them one by one.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh

from pinseat.mesh.colour import linear
from pinseat.mesh.glb import glb_bytes
from pinseat.mesh.model import Mesh

BODIES = {
    "ball": trimesh.creation.icosphere(subdivisions=3, radius=14.0),
    "ring": trimesh.creation.torus(20.0, 4.0),
    "capsule": trimesh.creation.capsule(8.0, 2.0),
}
SINGLE = 2.0**-24
"""Rounding of single precision, relative: what glTF can hold."""
UP = np.array([0.2, -0.5, 0.9])


def read_back(name: str) -> tuple[trimesh.Scene, np.ndarray]:
    body = BODIES[name]
    colours = np.random.default_rng(0).integers(0, 256, (len(body.vertices), 3), np.uint8)
    data = glb_bytes(Mesh(np.array(body.vertices), np.array(body.faces, np.int32)), colours, name=name, up=UP)
    scene = trimesh.load_scene(io.BytesIO(data), file_type="glb", process=False)
    return scene, colours


@pytest.mark.parametrize("name", BODIES)
def test_points_triangles_and_normals(name: str) -> None:
    scene, _ = read_back(name)
    assert list(scene.geometry) == [name]
    read, body = scene.geometry[name], BODIES[name]
    np.testing.assert_allclose(read.vertices, body.vertices, rtol=SINGLE, atol=1e-12)
    np.testing.assert_array_equal(read.faces, body.faces)
    assert np.einsum("ij,ij->i", read.vertex_normals, body.vertex_normals).min() > 0.999


@pytest.mark.parametrize("name", BODIES)
def test_colours(name: str) -> None:
    """As light, 8 bits a channel: half a step of rounding."""
    scene, colours = read_back(name)
    read = np.asarray(scene.geometry[name].visual.vertex_attributes["color"])
    np.testing.assert_allclose(read[:, :3] / 255.0, linear(colours), atol=0.5 / 255.0 + 1e-12)
    assert (read[:, 3] == 255).all()


@pytest.mark.parametrize("name", BODIES)
def test_in_the_scene_it_stands_upright_in_metres(name: str) -> None:
    scene, _ = read_back(name)
    whole, body = scene.to_mesh(), BODIES[name]
    assert whole.area == pytest.approx(1e-6 * body.area, rel=1e-5)
    assert whole.volume == pytest.approx(1e-9 * body.volume, rel=1e-5)
    heights = body.vertices @ (UP / np.linalg.norm(UP))
    np.testing.assert_allclose(whole.vertices[:, 1], 1e-3 * heights, atol=1e-9)
