"""A generated scan against its own truth."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.demo.cases import Scenario, patch
from pinseat.demo.scanner import Scanner
from pinseat.demo.surface import edges_of

EXACT = Scanner(noise_um=0.0, warp_um=0.0, holes=0, speck=False, posed=False)


def wall(scenario: Scenario, number: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices on a pin's wall, and how far they stand out of its cylinder and along it."""
    assert scenario.truth is not None
    assert scenario.mesh is not None
    pin = scenario.truth.pins[number]
    offset = scenario.mesh.vertices - pin.foot
    along = offset @ pin.axis
    out = np.linalg.norm(offset - along[:, None] * pin.axis, axis=1) - 0.5 * pin.diameter_mm
    on = (along > 0.3) & (along < pin.protrusion_mm - 0.15) & (np.abs(out) < 0.1)
    return on, out[on], along[on]


@pytest.fixture(scope="module")
def exact() -> Scenario:
    return patch(4, scanner=EXACT)


@pytest.fixture(scope="module")
def scanned() -> Scenario:
    return patch(4)


def test_walls_are_true_cylinders_without_noise(exact: Scenario) -> None:
    assert exact.truth is not None
    for number in range(len(exact.truth.pins)):
        on, out, _ = wall(exact, number)
        assert on.sum() > 300
        assert np.abs(out).max() < 0.002


def test_walls_carry_the_stated_noise_after_warp_and_pose(scanned: Scenario) -> None:
    assert scanned.truth is not None
    for number in range(len(scanned.truth.pins)):
        _, out, _ = wall(scanned, number)
        assert abs(out.mean()) < 0.002
        assert 0.008 < out.std() < 0.012


def test_the_shell_is_whole(exact: Scenario) -> None:
    assert exact.mesh is not None
    edges, of_face = edges_of(exact.mesh.faces)
    assert np.bincount(of_face.ravel()).max() == 2
    assert len(exact.mesh.vertices) - len(edges) + len(exact.mesh.faces) == 1


def test_edges_are_fine_on_the_pins(scanned: Scenario) -> None:
    assert scanned.mesh is not None
    edges, _ = edges_of(scanned.mesh.faces)
    on, _, _ = wall(scanned, 0)
    length = np.linalg.norm(np.diff(scanned.mesh.vertices[edges[on[edges].all(axis=1)]], axis=1), axis=2)
    assert np.median(length) == pytest.approx(0.10, abs=0.015)


def test_same_seed_same_bytes_other_seed_other_pins(scanned: Scenario) -> None:
    again, other = patch(4), patch(5)
    assert scanned.mesh is not None
    assert again.mesh is not None
    assert again.mesh.vertices.tobytes() == scanned.mesh.vertices.tobytes()
    assert again.mesh.faces.tobytes() == scanned.mesh.faces.tobytes()
    assert scanned.truth is not None
    assert other.truth is not None
    assert [p.diameter_mm for p in other.truth.pins] != [p.diameter_mm for p in scanned.truth.pins]
