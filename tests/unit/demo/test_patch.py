"""A generated scan against its own truth."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.demo.cases import VARIED, Scenario, patch
from pinseat.demo.surface import edges_of


def wall(scenario: Scenario, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Which vertices lie on a pin's wall, and how far these stand out of its cylinder."""
    assert scenario.truth is not None
    assert scenario.mesh is not None
    pin = scenario.truth.pins[number]
    offset = scenario.mesh.vertices - pin.foot
    along = offset @ pin.axis
    out = np.linalg.norm(offset - along[:, None] * pin.axis, axis=1) - 0.5 * pin.diameter_mm
    on = (along > 0.3) & (along < pin.protrusion_mm - 0.15) & (np.abs(out) < 0.1)
    return on, out[on]


def test_walls_are_true_cylinders_without_noise(exact: Scenario) -> None:
    assert exact.truth is not None
    for number in range(len(exact.truth.pins)):
        on, out = wall(exact, number)
        assert on.sum() > 300
        assert np.abs(out).max() < 0.002


def test_pins_end_flat_at_their_stated_protrusion(exact: Scenario) -> None:
    assert exact.truth is not None
    assert exact.mesh is not None
    for pin in exact.truth.pins:
        offset = exact.mesh.vertices - pin.foot
        along = offset @ pin.axis
        across = np.linalg.norm(offset - along[:, None] * pin.axis, axis=1)
        end = along[(across < 0.2) & (along > 0.5 * pin.protrusion_mm)]
        assert len(end) > 5
        assert end == pytest.approx(pin.protrusion_mm, abs=0.002)


def test_feet_stand_on_flat_ledges(exact: Scenario) -> None:
    assert exact.truth is not None
    assert exact.mesh is not None
    for pin in exact.truth.pins:
        offset = exact.mesh.vertices - pin.foot
        height = offset @ exact.truth.draw
        away = np.linalg.norm(offset - height[:, None] * exact.truth.draw, axis=1)
        ring = (away > 0.5 * pin.diameter_mm + 0.12) & (away < 0.58) & (np.abs(height) < 0.15)
        assert ring.sum() > 5
        assert np.median(np.abs(height[ring])) < 0.002


def test_walls_carry_the_stated_noise_after_warp_and_pose(scanned: Scenario) -> None:
    assert scanned.truth is not None
    for number in range(len(scanned.truth.pins)):
        _, out = wall(scanned, number)
        assert abs(out.mean()) < 0.002
        assert 0.008 < out.std() < 0.012


def test_the_shell_is_whole(exact: Scenario) -> None:
    assert exact.mesh is not None
    edges, of_face = edges_of(exact.mesh.faces)
    assert np.bincount(of_face.ravel()).max() == 2
    assert len(exact.mesh.vertices) - len(edges) + len(exact.mesh.faces) == 1


def test_edges_are_fine_on_the_pins_and_coarser_elsewhere(exact: Scenario) -> None:
    assert exact.mesh is not None
    edges, _ = edges_of(exact.mesh.faces)
    on, _ = wall(exact, 0)
    length = np.linalg.norm(np.diff(exact.mesh.vertices[edges], axis=1), axis=2)[:, 0]
    assert np.median(length[on[edges].all(axis=1)]) == pytest.approx(0.10, abs=0.01)
    assert 0.15 < np.quantile(length, 0.9) < 0.30


@pytest.mark.parametrize("edge_mm", [0.15, 0.2])
def test_other_edge_lengths_are_kept(edge_mm: float) -> None:
    coarse = patch(4, edge_mm=edge_mm)
    assert coarse.mesh is not None
    edges, _ = edges_of(coarse.mesh.faces)
    on, _ = wall(coarse, 0)
    length = np.linalg.norm(np.diff(coarse.mesh.vertices[edges[on[edges].all(axis=1)]], axis=1), axis=2)
    assert np.median(length) == pytest.approx(edge_mm, rel=0.15)


def test_picks_lie_on_the_scan_and_face_as_they_should(exact: Scenario) -> None:
    assert exact.truth is not None
    assert exact.mesh is not None
    tally = [(face.kind, face.tooth) for face in exact.truth.faces]
    for tooth in (11, 22):
        assert tally.count(("margin", tooth)) >= 4
        assert tally.count(("ledge", tooth)) == 1
    assert ("groove", 22) in tally
    for face in exact.truth.faces:
        assert np.linalg.norm(exact.mesh.vertices - face.point, axis=1).min() < 0.1
        bears = float(face.normal @ exact.truth.draw)
        if face.kind == "ledge":
            assert bears > 0.95
        elif face.kind == "margin":
            assert bears > 0.3
        else:
            assert abs(bears) < 0.4


def test_same_seed_gives_the_same_bytes(scanned: Scenario) -> None:
    again = patch(4)
    assert scanned.mesh is not None
    assert again.mesh is not None
    assert again.mesh.vertices.tobytes() == scanned.mesh.vertices.tobytes()
    assert again.mesh.faces.tobytes() == scanned.mesh.faces.tobytes()
    assert again.toml == scanned.toml
    assert again.truth_json == scanned.truth_json


def test_pins_vary_with_the_seed_within_their_bounds() -> None:
    found = [patch(seed, edge_mm=0.2).truth for seed in (7, 8)]
    pins = [pin for truth in found if truth is not None for pin in truth.pins]
    assert len({pin.diameter_mm for pin in pins}) == len(pins) == 10
    for truth in found:
        assert truth is not None
        for pin in truth.pins:
            assert abs(pin.diameter_mm - VARIED.diameter_mm[0]) <= VARIED.diameter_mm[1]
            assert abs(pin.protrusion_mm - VARIED.protrusion_mm[0]) <= VARIED.protrusion_mm[1] + 0.01
            assert np.degrees(np.arccos(pin.axis @ truth.draw)) <= VARIED.tilt_deg[1] + 0.05
