"""Undercut against closed forms of bodies of revolution.

Every formula is derived in the docstring of its test. Bodies have edges *h* of about 0.1 mm. A curved one
lies inside the true one by up to h^2 / 8R (0.4 um at R = 3 mm), so depths are asked for within 2 um. A
triangle counts as undercut by its corners, so the border of an area of length L is good to a fraction of h,
here h/10. Where an edge is sharp, smoothing rounds it over three edges.
"""

import itertools
import math

import numpy as np
import pytest
import trimesh

from pinseat.mesh.model import Mesh
from pinseat.survey.contour import height_of_contour
from pinseat.survey.ranking import cone_of_directions
from pinseat.survey.undercut import undercut_map

UP = np.array([0.0, 0.0, 1.0])
RADIUS = 3.0


def turned(profile: list[tuple[float, float]], step_mm: float = 0.1, sections: int = 180) -> Mesh:
    """Body of revolution about z from (r, z), bottom to top for an outward surface."""
    points = [profile[0]]
    for (r0, z0), (r1, z1) in itertools.pairwise(profile):
        count = max(math.ceil(math.hypot(r1 - r0, z1 - z0) / step_mm), 1)
        points += [(r0 + (r1 - r0) * k / count, z0 + (z1 - z0) * k / count) for k in range(1, count + 1)]
    made = trimesh.creation.revolve(np.array(points), sections=sections)
    return Mesh(np.asarray(made.vertices, float), np.asarray(made.faces, np.int32))


def from_axis(mesh: Mesh) -> np.ndarray:
    return np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1])


def ball() -> Mesh:
    made = trimesh.creation.icosphere(subdivisions=5, radius=RADIUS)
    return Mesh(np.asarray(made.vertices, float), np.asarray(made.faces, np.int32))


@pytest.mark.parametrize("draw", [(0, 0, 1), (1, -2, 0.5), (-3, 0.1, -1)])
def test_ball(draw: tuple[float, float, float]) -> None:
    """Ball of radius R seen from any side: the half away from the draw is undercut.

    Area 2 pi R^2. At r from the axis the vertical through the equator is R - r away. The cylinder around the
    lower half down to its lowest point holds pi R^3, the half ball 2/3 pi R^3: block-out is pi R^3 / 3, and
    its height below a point at height z is R + z. The height of contour is the equator, 2 pi R long.
    """
    mesh = ball()
    way = np.array(draw) / np.linalg.norm(draw)
    found = undercut_map(mesh, draw)
    z = mesh.vertices @ way
    r = np.sqrt(np.maximum((mesh.vertices**2).sum(axis=1) - z**2, 0.0))
    under = z < -0.1
    # The bisection for the outline ends at 2 um.
    np.testing.assert_allclose(found.depth_mm[under], RADIUS - r[under], atol=0.002)
    np.testing.assert_array_equal(found.depth_mm[z > 0.1], 0.0)
    np.testing.assert_allclose(found.block_out_mm[under], (z - z.min())[under], atol=0.001)
    # The equator runs through triangles, of which a share counts by their corners.
    assert found.area_mm2 == pytest.approx(2.0 * np.pi * RADIUS**2, rel=0.005)
    assert found.volume_mm3 == pytest.approx(np.pi * RADIUS**3 / 3.0, rel=0.003)
    assert found.groundless_mm2 == pytest.approx(found.area_mm2, rel=0.001)
    (line,) = height_of_contour(mesh, draw)
    np.testing.assert_allclose(
        line @ way, 0.0, atol=0.025
    )  # 0.4 deg, by which the uneven triangles turn a normal
    length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
    assert length == pytest.approx(2.0 * np.pi * RADIUS, rel=0.002)


def test_inverted_frustum() -> None:
    """Radius b below, a > b above, height h: the wall is undercut, and so is the lower lid.

    Depth at height z of the wall (h - z)(a - b)/h, on the lower lid a - r. Area of the wall pi (a + b) s with
    s = hypot(h, a - b). Block-out is the cylinder less the frustum, pi h (a^2 - (a^2 + ab + b^2)/3). A strip
    under the sharp upper edge, less than 40 um deep, is not counted: here 0.04 h/(a - b) = 0.13 of 5 mm.
    """
    a, b, h = 3.5, 2.0, 5.0
    mesh = turned([(0.0, 0.0), (b, 0.0), (a, h), (0.0, h)], step_mm=0.05, sections=400)
    found = undercut_map(mesh, UP)
    r, z = from_axis(mesh), mesh.vertices[:, 2]
    under = z < h - 0.2
    # The sharp upper edge is rounded over three edges of 0.05 mm; rays bring most of the outline back.
    np.testing.assert_allclose(found.depth_mm[under], (a - r)[under], atol=0.015)
    np.testing.assert_array_equal(found.depth_mm[(z > h - 1e-6) & (r < a - 0.2)], 0.0)
    wall, lid = np.pi * (a + b) * math.hypot(h, a - b), np.pi * b * b
    assert wall + lid - 2.0 * np.pi * a * 0.13 < found.area_mm2 < wall + lid
    volume = np.pi * h * (a * a - (a * a + a * b + b * b) / 3.0)
    assert found.volume_mm3 == pytest.approx(volume, rel=0.03)  # the strip under the edge


def test_frustum_that_leans_beyond_its_taper() -> None:
    """Wall taper t to each side; the draw leans by q.

    The normal (cos t cos p, cos t sin p, sin t) and the draw (sin q, 0, cos q) make n.d < 0 where cos p <
    -tan t / tan q: a share arccos(tan t / tan q) / pi of the wall, nothing at q <= t. This is the draw window
    of one tapered wall.
    """
    taper = math.radians(6.0)
    low, high = 3.0, 3.0 - 4.0 * math.tan(taper)
    mesh = turned([(low, 0.0), (high, 4.0)], sections=720)
    wall = np.pi * (low + high) * 4.0 / math.cos(taper)
    for lean_deg in (0.0, 5.0, 5.9):
        lean = math.radians(lean_deg)
        assert undercut_map(mesh, (math.sin(lean), 0.0, math.cos(lean))).area_mm2 == 0.0
    for lean_deg in (7.0, 10.0, 20.0):
        lean = math.radians(lean_deg)
        away = math.acos(math.tan(taper) / math.tan(lean)) / math.pi * wall
        found = undercut_map(mesh, (math.sin(lean), 0.0, math.cos(lean)))
        assert found.area_mm2 == pytest.approx(away, rel=0.01)  # one of 720 sections at either border


@pytest.mark.parametrize("gap_mm", [0.5, 3.0])
def test_ball_over_a_floor(gap_mm: float) -> None:
    """A ball of radius R hovers over a wide floor: the shadow on the floor is a disc, pi R^2.

    Undercut area 2 pi R^2 + pi R^2; on the floor at r from the middle the depth is R - r and the block-out
    reaches up to the ball, gap + R - sqrt(R^2 - r^2). Block-out volume: the cylinder of height gap + R less
    half the ball.
    """
    body = ball()
    floor = turned([(7.0, -RADIUS - gap_mm), (0.0, -RADIUS - gap_mm)])
    floor = Mesh(floor.vertices + np.array([0.37, 0.21, 0.0]), floor.faces)  # no ring along the border
    mesh = Mesh(
        np.concatenate((body.vertices, floor.vertices)),
        np.concatenate((body.faces, floor.faces + np.int32(len(body.vertices)))),
    )
    found = undercut_map(mesh, UP)
    parts = (slice(len(body.faces)), slice(len(body.faces), None))
    area, volume = (
        [each[part].sum() for part in parts] for each in (found.face_area_mm2, found.face_volume_mm3)
    )
    np.testing.assert_allclose(area, [2.0 * np.pi * RADIUS**2, np.pi * RADIUS**2], rtol=0.005)
    assert volume[0] == pytest.approx(np.pi * RADIUS**2 * (gap_mm + RADIUS / 3.0), rel=0.003)
    assert volume[1] == pytest.approx(0.0, abs=1e-3)
    assert found.groundless_mm2 == 0.0
    r = from_axis(floor)
    shade = r < RADIUS - 0.05
    np.testing.assert_allclose(found.depth_mm[len(body.vertices) :][shade], (RADIUS - r)[shade], atol=0.002)
    height = gap_mm + RADIUS - np.sqrt(RADIUS**2 - r[shade] ** 2)
    near = r[shade] < 2.8
    lying = found.block_out_mm[len(body.vertices) :][shade]
    np.testing.assert_allclose(lying[near], height[near], atol=0.005)
    np.testing.assert_array_equal(found.depth_mm[len(body.vertices) :][r > RADIUS + 0.05], 0.0)


def test_directions_share_the_spherical_cap_evenly() -> None:
    """A cap of half angle q has the area 2 pi (1 - cos q): so the share of directions within it."""
    made = cone_of_directions((1.0, 2.0, -2.0), 25.0, 2000)
    cosine = made @ np.array([1.0, 2.0, -2.0]) / 3.0
    np.testing.assert_allclose(np.linalg.norm(made, axis=1), 1.0, rtol=1e-12)
    for half_deg in (5.0, 12.0, 20.0, 25.0):
        share = (1.0 - math.cos(math.radians(half_deg))) / (1.0 - math.cos(math.radians(25.0)))
        assert np.mean(cosine >= math.cos(math.radians(half_deg)) - 1e-12) == pytest.approx(share, abs=0.001)
    assert 0.5 * (1.0 + math.cos(math.radians(25.0))) == pytest.approx(float(cosine.mean()), abs=1e-6)
