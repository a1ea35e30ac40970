"""Margin lines on bodies whose edges are known."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.errors import SurveyError
from pinseat.mesh.model import Mesh
from pinseat.survey.margin import margin
from pinseat.survey.terrain import Terrain
from tests.unit.survey.shapes import frustum, noisy, welded


@pytest.fixture(scope="module")
def cone() -> Terrain:
    """Shoulder from radius 4 to 5 at z = 0; its outer edge is the margin. 10 um of noise."""
    return Terrain(noisy(frustum(5.0, 0.12), 0.01))


def ring(radius: float, count: int, z: float = 0.0) -> np.ndarray:
    turn = 2.0 * np.pi * np.arange(count) / count
    return np.stack((radius * np.cos(turn), radius * np.sin(turn), np.full(count, z)), axis=1)


def test_line_traced_between_twelve_picks_keeps_to_the_edge(cone: Terrain) -> None:
    """Picks 0.25 mm beside the edge, 2.6 mm apart."""
    line = margin(cone, ring(4.75, 12), tooth=11, traced=True)
    radius = np.hypot(line.points[:, 0], line.points[:, 1])
    assert np.abs(radius - 5.0).max() < 0.12
    assert np.abs(line.points[:, 2]).max() < 0.12
    assert line.length_mm == pytest.approx(2.0 * np.pi * 5.0, rel=0.05)
    assert np.array_equal(line.points[0], line.points[-1])
    assert (line.closed, line.traced, line.tooth) == (True, True, 11)


def test_line_given_point_by_point_stays_as_given(cone: Terrain) -> None:
    given = ring(4.5, 20)
    line = margin(cone, given, tooth=11)
    assert np.abs(line.points[:-1] - given).max() < 0.05
    assert len(line.points) == 21
    ends = cone.mesh.vertices[cone.edges.ends[line.edges]].reshape(-1, 3)
    assert np.abs(np.hypot(ends[:, 0], ends[:, 1]) - 4.5).max() < 0.2


def test_long_straight_leg_runs_straight_over_the_mesh() -> None:
    side = np.linspace(0.0, 6.0, 61)
    x, y = np.meshgrid(side, side, indexing="ij")
    i, j = np.meshgrid(np.arange(60), np.arange(60), indexing="ij")
    a, b = i * 61 + j, (i + 1) * 61 + j
    faces = np.concatenate((np.stack((a, b, b + 1), -1), np.stack((a, b + 1, a + 1), -1))).reshape(-1, 3)
    flat = Terrain(welded(np.stack((x, y, 0.0 * x), -1).reshape(-1, 3), faces))
    line = margin(flat, [(1.0, 1.0, 0.0), (5.0, 2.0, 0.0)], closed=False)
    ends = flat.mesh.vertices[flat.edges.ends[line.edges]].reshape(-1, 3)
    beside = np.abs((ends[:, 0] - 1.0) * 1.0 - (ends[:, 1] - 1.0) * 4.0) / np.hypot(1.0, 4.0)
    assert beside.max() < 0.1, "on a square grid most shortest ways go round a corner"
    assert line.length_mm == pytest.approx(np.hypot(4.0, 1.0), rel=1e-9)


def test_open_line_has_two_ends(cone: Terrain) -> None:
    line = margin(cone, ring(4.75, 12)[:4], closed=False, traced=True)
    assert line.length_mm == pytest.approx(5.0 * np.pi / 2.0, rel=0.06)
    assert not np.array_equal(line.points[0], line.points[-1])


def test_point_off_the_scan_is_named(cone: Terrain) -> None:
    given = ring(4.75, 12)
    given[4] *= 1.3
    with pytest.raises(
        SurveyError, match=r"margin of tooth 11, point 5: .*1\.\d\d mm away; expected within 1.0 mm"
    ):
        margin(cone, given, tooth=11)


@pytest.mark.parametrize(("count", "closed"), [(2, True), (1, False), (0, True)])
def test_too_few_points_are_refused(cone: Terrain, count: int, closed: bool) -> None:
    with pytest.raises(SurveyError, match="too few points"):
        margin(cone, ring(4.75, 12)[:count], closed=closed)


def test_points_on_parts_that_do_not_hang_together_are_refused(cone: Terrain) -> None:
    cut = np.abs(cone.middles[:, 1]) < 0.2
    halves = Terrain(Mesh(cone.mesh.vertices, cone.mesh.faces[~cut]))
    with pytest.raises(SurveyError, match=r"margin of tooth 11, point 1: .*crosses a gap"):
        margin(halves, [(4.7, -0.6, 0.0), (4.7, 0.6, 0.0)], tooth=11, closed=False)
