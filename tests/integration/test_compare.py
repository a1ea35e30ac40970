"""``pinseat compare`` as a person calls it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pinseat.mesh.files import read_scan
from pinseat.mesh.model import Mesh
from pinseat.mesh.write import stl_bytes
from pinseat.numerics.similarity import rotation_of

from .conftest import Said, pinseat

TURN, SHIFT = rotation_of([0.4, 1.3, -0.9]), np.array([12.0, -40.0, 7.0])


def ground(step: float, seed: int) -> Mesh:
    """Rolling ground 28 mm wide, with 8 um of noise."""
    rng = np.random.default_rng(4)
    at, wide = rng.uniform(-14.0, 14.0, (30, 2)), rng.uniform(1.2, 3.0, 30)
    high = rng.uniform(0.7, 2.0, 30) * rng.choice([-1.0, 1.0], 30)
    side = np.arange(-14.0, 14.0, step)
    x, y = np.meshgrid(side, side)
    away = (x[..., None] - at[:, 0]) ** 2 + (y[..., None] - at[:, 1]) ** 2
    z = (high * np.exp(-away / wide**2)).sum(axis=-1)
    z += np.random.default_rng(seed).normal(0.0, 0.008, z.shape)
    index = np.arange(x.size, dtype=np.int32).reshape(x.shape)
    a, b, c, d = (p.ravel() for p in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    faces = np.concatenate((np.column_stack((a, b, c)), np.column_stack((a, c, d))))
    return Mesh(np.column_stack((x.ravel(), y.ravel(), z.ravel())), faces)


@pytest.fixture(scope="module")
def scans(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("scans")
    first, second = ground(0.25, 1), ground(0.26, 2)
    moved = Mesh(second.vertices @ TURN.T + SHIFT, second.faces)
    (folder / "first.stl").write_bytes(stl_bytes(first))
    (folder / "metres.stl").write_bytes(stl_bytes(Mesh(1e-3 * moved.vertices, moved.faces)))
    mirror = Mesh(moved.vertices * [-1.0, 1.0, 1.0], np.ascontiguousarray(moved.faces[:, ::-1]))
    (folder / "mirror.stl").write_bytes(stl_bytes(mirror))
    return folder


def test_two_files_give_one_object_and_their_pages(scans):
    said = pinseat(
        "compare", "first.stl", "metres.stl", "--second-unit", "m", "--json", "--out", "out", cwd=scans
    )
    assert said.code == 0, said.err
    answer = said.answer
    assert answer["compare"]["pins"] == []
    assert np.array(answer["compare"]["laid"]["rotation"]) == pytest.approx(TURN.T, abs=1e-3)
    assert {finding["verdict"] for finding in answer["findings"]} == {"clear"}
    for name in answer["compare"]["files"]:
        assert (scans / "out" / name).stat().st_size > 0
    assert str(scans) not in said.out


def test_a_scan_in_metres_is_asked_about(scans):
    asked = pinseat("compare", "first.stl", "metres.stl", cwd=scans)
    assert asked.code == 2
    assert "--second-unit m" in asked.err
    assert not (scans / "compare").exists()


def test_a_mirror_image_writes_nothing(scans):
    said = pinseat("compare", "first.stl", "mirror.stl", "--out", "never", cwd=scans)
    assert said.code == 2
    assert "mirror image" in said.err
    assert said.err.count("\n") == 1
    assert not (scans / "never").exists()


def test_a_case_against_a_file_finds_its_pins_on_both(front: tuple[Path, Said], tmp_path: Path):
    """The same scan in another pose: every pin is found on the file too, and none has changed."""
    folder, _ = front
    mesh = read_scan(folder / "scans/upper.stl", "mm").mesh
    moved = Mesh(mesh.vertices @ TURN.T + SHIFT, mesh.faces)
    (tmp_path / "again.stl").write_bytes(stl_bytes(moved))
    said = pinseat(
        "compare", folder, tmp_path / "again.stl", "--copy", "die", "--json", "--out", tmp_path / "out"
    )
    assert said.code == 0, said.err
    found = said.answer["compare"]
    assert [pin["name"] for pin in found["pins"]] == ["11-1", "11-2", "11-3", "22-1", "22-2"]
    assert all(pin["certain"] == [] for pin in found["pins"])
    assert found["unpaired"] == []
    assert [row["error"] for row in found["rows"]] == ["scale", "position", "tilt", "depth"]
    assert abs(found["rows"][0]["mean"]) < 0.001
