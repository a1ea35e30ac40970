from __future__ import annotations

import numpy as np
import pytest

from pinseat.demo.cases import Scenario, patch
from pinseat.demo.scanner import Scanner, placing, ragged, speck
from pinseat.demo.surface import edges_of


def random(seed: int) -> np.random.Generator:
    return np.random.Generator(np.random.Philox(seed))


@pytest.fixture(scope="module")
def cloud() -> np.ndarray:
    return random(1).uniform(-1.0, 1.0, size=(2000, 3)) * np.array([30.0, 25.0, 8.0])


def test_the_warp_is_as_large_as_stated_and_smooth(cloud: np.ndarray) -> None:
    placed = placing(cloud, Scanner(warp_um=35.0, posed=False), random(2))
    moved = placed.points(cloud) - cloud
    assert np.linalg.norm(moved, axis=1).max() == pytest.approx(0.035, rel=1e-9)
    step = np.array([0.1, 0.0, 0.0])
    assert np.abs(placed.points(cloud + step) - placed.points(cloud) - step).max() < 0.1 * 0.01


def test_the_pose_is_rigid(cloud: np.ndarray) -> None:
    placed = placing(cloud, Scanner(warp_um=0.0), random(3))
    found = placed.points(cloud)
    assert placed.rotation @ placed.rotation.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(placed.rotation) == pytest.approx(1.0)
    apart = [np.linalg.norm(np.diff(p, axis=0), axis=1) for p in (cloud, found)]
    assert apart[1] == pytest.approx(apart[0], abs=1e-9)


def test_the_rim_strays_but_little(cloud: np.ndarray) -> None:
    inward = ragged(cloud, random(4))
    assert 0.0 <= inward.min() < 0.4
    assert 1.2 < inward.max() <= 1.7


def test_a_speck_is_a_small_closed_crumb() -> None:
    crumb = speck(np.array([1.0, 2.0, 3.0]), random(5))
    _, of_face = edges_of(crumb.faces)
    assert (np.bincount(of_face.ravel()) == 2).all()
    assert np.linalg.norm(crumb.vertices - [1.0, 2.0, 3.0], axis=1).max() < 0.4


def test_holes_are_where_the_truth_says(scanned: Scenario) -> None:
    assert scanned.truth is not None
    assert scanned.mesh is not None
    assert len(scanned.truth.holes) == Scanner().holes
    for centre, radius in scanned.truth.holes:
        away = np.linalg.norm(scanned.mesh.vertices - centre, axis=1).min()
        assert away > 0.6 * radius
        assert away < radius + 0.5


def test_no_hole_touches_a_prepared_tooth(scanned: Scenario) -> None:
    assert scanned.truth is not None
    for centre, radius in scanned.truth.holes:
        for pin in scanned.truth.pins:
            assert np.linalg.norm(centre - pin.foot) > radius + 1.0


def test_truth_follows_the_pose() -> None:
    still = patch(6, scanner=Scanner(warp_um=0.0, posed=False), edge_mm=0.2).truth
    posed = patch(6, scanner=Scanner(warp_um=0.0), edge_mm=0.2).truth
    assert still is not None
    assert posed is not None
    for a, b in zip(still.pins, posed.pins, strict=True):
        assert posed.rotation @ a.foot + posed.shift == pytest.approx(b.foot, abs=1e-9)
        assert posed.rotation @ a.axis == pytest.approx(b.axis, abs=1e-9)
        assert a.protrusion_mm == pytest.approx(b.protrusion_mm, abs=1e-9)
