from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.errors import ScanError
from pinseat.mesh.colour import ramp
from pinseat.mesh.glb import glb_bytes
from pinseat.mesh.model import Mesh
from pinseat.workbench.drawing import numbers, painted, surface
from pinseat.workbench.pack import pack, unpack

KINDS = st.sampled_from([np.float32, np.uint32, np.int8, np.uint8])


@given(
    st.dictionaries(st.text("abc_", min_size=1, max_size=5), st.tuples(KINDS, st.integers(0, 17)), max_size=4)
)
def test_arrays_come_back_and_lie_where_a_browser_can_read_them(wanted: dict) -> None:
    arrays = {name: np.arange(count).astype(kind) for name, (kind, count) in wanted.items()}
    data = pack(arrays, {"unit": "mm"})
    back, said = unpack(data)
    assert said == {"unit": "mm"}
    assert len(data) % 8 == 0
    for name, array in arrays.items():
        assert back[name].dtype == array.dtype
        assert back[name].tolist() == array.tolist()


def test_not_a_number_cannot_hide_in_the_head() -> None:
    with pytest.raises(ValueError, match="JSON"):
        pack({}, {"limit": float("nan")})


def _sphere(n: int) -> Mesh:
    u, v = np.meshgrid(np.linspace(0, np.pi, n), np.linspace(0, 2 * np.pi, 2 * n), indexing="ij")
    points = np.stack([np.sin(u) * np.cos(v), np.sin(u) * np.sin(v), np.cos(u)], axis=-1).reshape(-1, 3)
    a = (np.arange(n - 1)[:, None] * 2 * n + np.arange(2 * n - 1)).ravel()
    faces = np.concatenate(
        [np.stack([a, a + 2 * n, a + 1], 1), np.stack([a + 1, a + 2 * n, a + 2 * n + 1], 1)]
    )
    return Mesh(points, faces.astype(np.int32))


def test_a_surface_keeps_every_point_and_its_coarse_copy_is_near_it() -> None:
    mesh = _sphere(150)
    arrays, said = unpack(surface(mesh))
    assert said == {"triangles": len(mesh.faces)}
    assert np.array_equal(arrays["position"].reshape(-1, 3), mesh.vertices.astype(np.float32))
    assert np.array_equal(arrays["index"].reshape(-1, 3), mesh.faces)
    coarse = arrays["coarse_position"].reshape(-1, 3)
    assert 8_000 < len(arrays["coarse_index"]) / 3 < 20_000
    assert abs(np.linalg.norm(coarse, axis=1) - 1.0).max() < 0.01
    from_ = mesh.vertices[arrays["coarse_from"]]
    assert np.linalg.norm(from_ - coarse, axis=1).max() < 0.05


def test_colours_are_those_of_the_printed_pages() -> None:
    values = np.array([0.0, 50.0, 100.0, 100.1, 300.0, np.nan])
    arrays, said = unpack(numbers(values, {"unit": "um"}, 100.0))
    assert np.isnan(arrays["value"][-1])
    assert said["top"] == 200.0
    shades = arrays["ramp"].reshape(-1, 3)
    at = np.rint(np.clip(values[:5] / 200.0, 0, 1) * 255).astype(int)
    assert np.abs(shades[at[[0, 1, 4]]].astype(int) - ramp(values[[0, 1, 4]], 100.0).astype(int)).max() <= 1
    step = np.abs(np.diff(shades.astype(int), axis=0)).sum(axis=1)
    assert int(step.argmax()) == 127  # the decision is seen: the largest step of all is at the limit


def test_a_coloured_surface_comes_with_its_own_colours(tmp_path: Path) -> None:
    mesh = _sphere(20)
    colours = np.arange(3 * len(mesh.vertices)).reshape(-1, 3).astype(np.uint8)
    path = tmp_path / "made.glb"
    path.write_bytes(glb_bytes(mesh, colours, extras={"limit": "0.5 mm"}))
    arrays, said = unpack(painted(path))
    assert said["extras"]["limit"] == "0.5 mm"
    assert np.allclose(arrays["position"].reshape(-1, 3), mesh.vertices, atol=1e-6)
    assert np.array_equal(arrays["index"].reshape(-1, 3), mesh.faces)
    bright = colours > 50  # stored as light, so dark shades are known to 6 of 255 only
    assert np.abs(arrays["paint"].reshape(-1, 3).astype(int) - colours)[bright].max() <= 2
    path.write_bytes(glb_bytes(mesh))
    with pytest.raises(ScanError, match="no colours"):
        painted(path)
