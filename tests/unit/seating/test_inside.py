"""A scanned inside, noise and all, let down on scanned teeth."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.diagnosis import bridge
from pinseat.errors import SeatingError
from pinseat.mesh.model import Mesh
from pinseat.seating.inside import inside_finding, rest_inside
from pinseat.seating.intaglio import settle, surfaces


def sheet(x: float, y: float, z: float, *, up: bool, noise_mm: float = 0.0, edge: float = 0.15) -> Mesh:
    """A flat scan of 2 x by 2 y mm at height z, facing up or down."""
    columns, rows = round(2 * x / edge) + 1, round(2 * y / edge) + 1
    at = np.stack(np.meshgrid(np.linspace(-x, x, columns), np.linspace(-y, y, rows), indexing="ij"), axis=-1)
    height = z + noise_mm * np.random.default_rng(3).standard_normal((columns, rows, 1))
    corner = np.arange(columns * rows).reshape(columns, rows)
    a, b, c, d = (corner[i : columns - 1 + i, k : rows - 1 + k].ravel() for i in (0, 1) for k in (0, 1))
    faces = np.concatenate([np.stack([a, c, b], axis=1), np.stack([b, c, d], axis=1)]).astype(np.int32)
    return Mesh(np.concatenate([at, height], axis=2).reshape(-1, 3), faces if up else faces[:, ::-1])


def test_noise_of_two_scans_lifts_patches_far_less_than_points() -> None:
    """Two planes with 8 um noise, 50 um through each other: the highest of thousands of points touch first.

    Means over patches are three to four times less noisy, so the lift is too high by less than half as much.
    """
    assembly, _ = bridge(2)
    teeth = sheet(13.0, 4.0, -1.0, up=True, noise_mm=0.008)
    inside = sheet(12.5, 3.5, -1.05, up=False, noise_mm=0.008)
    found = rest_inside(assembly, teeth, inside, "casting")
    points = settle(surfaces(teeth, inside), assembly.draw, np.array([0.0, 0.0, -1.0]))
    assert 0.0 < found.lift_um - 50.0 < 0.5 * (1000.0 * points.lift_mm - 50.0)
    assert inside_finding(found, assembly).verdict == "clear"


def test_a_bead_holds_the_inside_up_and_is_shown() -> None:
    assembly, _ = bridge(2)
    teeth, inside = sheet(13.0, 4.0, -1.0, up=True), sheet(12.5, 3.5, -1.0, up=False)
    bead = inside.vertices.copy()
    near = np.linalg.norm(bead[:, :2] - [11.0, 2.0], axis=1) < 0.6
    bead[near, 2] -= 0.4
    found = rest_inside(assembly, teeth, Mesh(bead, inside.faces), "pattern")
    finding = inside_finding(found, assembly)
    assert finding.verdict == "stop"
    assert np.linalg.norm(found.touches[:, :2] - [11.0, 2.0], axis=1).min() < 1.0
    assert "never press" in finding.do


def test_scans_that_lie_apart_are_refused() -> None:
    assembly, _ = bridge(2)
    with pytest.raises(SeatingError, match="does not lie over"):
        rest_inside(assembly, sheet(13.0, 4.0, -1.0, up=True), sheet(12.0, 3.0, 30.0, up=False), "casting")
