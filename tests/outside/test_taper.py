"""Taper, convergence, heights, lengths and thicknesses against closed forms and an independent solver.

A frustum of half angle t has a wall that leans by t everywhere and converges by 2 t in every plane through
its axis; its slant area is pi (R + r) h / cos t. Blocks and boxes are planes. All bodies are turned and
shifted at random.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import nnls
from scipy.spatial.transform import Rotation

from pinseat.case.model import Abutment
from pinseat.demo.cases import patch
from pinseat.ledger.pins import Pin, PinField, frame
from pinseat.mesh.model import Mesh
from pinseat.survey.distances import pin_spacing, segment_to_segment, segment_to_triangles, thickness
from pinseat.survey.regions import Region, grow
from pinseat.survey.taper import convergence, groove_fit, wall_height, wall_taper
from pinseat.survey.terrain import Terrain
from tests.unit.survey.shapes import box_groove, frustum, noisy, pyramid, revolved, turned

TURN = Rotation.from_euler("xyz", [20.0, -35.0, 70.0], degrees=True).as_matrix()
SHIFT = np.array([10.0, -20.0, 5.0])
DRAW = TURN[:, 2]


def place(mesh: Mesh, noise_mm: float, seed: int = 1) -> Terrain:
    return Terrain(turned(noisy(mesh, noise_mm, seed), TURN, SHIFT))


def at(x: float, y: float, z: float) -> np.ndarray:
    return np.asarray(TURN @ [x, y, z] + SHIFT)


def cone_wall(taper_deg: float, edge_mm: float, noise_mm: float) -> tuple[Terrain, Region]:
    terrain = place(frustum(taper_deg, edge_mm), noise_mm)
    r = 4.0 - 2.0 * np.tan(np.radians(taper_deg))
    return terrain, grow(terrain, at(0.6 * r, 0.8 * r, 2.0), "wall", tooth=16, limit_mm2=160.0)


CONES = [(t, e, s) for t in (-4.0, 0.0, 3.0, 6.0, 12.0) for e, s in ((0.1, 0.0), (0.1, 0.01), (0.2, 0.01))]


@pytest.mark.parametrize(("taper_deg", "edge_mm", "noise_mm"), CONES)
def test_cone(taper_deg: float, edge_mm: float, noise_mm: float) -> None:
    """Taper t, convergence 2 t, slant area, height 4 mm. Without noise to a hundredth of a degree."""
    terrain, wall = cone_wall(taper_deg, edge_mm, noise_mm)
    slope = np.tan(np.radians(taper_deg))
    area = np.pi * (8.0 - 4.0 * slope) * 4.0 / np.cos(np.radians(taper_deg))
    half_an_edge = 0.5 * edge_mm * 2.0 * np.pi * (8.0 - 4.0 * slope)  # along both rims
    assert wall.area_mm2 == pytest.approx(area, abs=half_an_edge)
    taper = wall_taper(terrain, wall, DRAW)
    assert taper.mean.value == pytest.approx(taper_deg, abs=0.01 + 3.0 * taper.mean.u)
    assert taper.mean.u < 0.06
    across = TURN @ [np.cos(0.7), np.sin(0.7), 0.0]
    both = convergence(terrain, [wall], DRAW, across=across)
    round_wall = 0.01 * abs(
        taper_deg
    )  # the slab of a round wall: 0.04 mm2 / R2, R about 4, and room for chords
    assert both.value == pytest.approx(2.0 * taper_deg, abs=0.01 + round_wall + 3.0 * both.u)
    assert both.u < 0.3
    if taper_deg >= 0.0:
        height = wall_height(terrain, wall, DRAW)
        assert height.median.value == pytest.approx(4.0, abs=0.5 * edge_mm)
        assert height.largest_mm - height.least_mm < 2.0 * edge_mm


def test_stated_uncertainty_of_a_taper_is_met() -> None:
    """Thirty scans with 10 um noise of a 6 deg wall of a block: rms of error over stated u is about 1.

    Thirty readings put a true ratio of 1 between 0.7 and 1.3 in 99 of 100 (chi-square).
    """
    body = pyramid((6.0, 6.0), 0.15)
    ratios = []
    for seed in range(30):
        terrain = place(body, 0.01, seed)
        wall = grow(terrain, at(3.0 - 2.0 * np.tan(np.radians(6.0)), 0.4, 2.0), "wall", tooth=11)
        read = wall_taper(terrain, wall, DRAW).mean
        ratios.append((read.value - 6.0) / read.u)
    assert 0.6 < np.sqrt(np.mean(np.square(ratios))) < 1.5


@pytest.mark.parametrize("noise_mm", [0.0, 0.01])
@pytest.mark.parametrize(
    ("tapers_deg", "verdict"), [((5.0, 3.0), "clear"), ((-2.0, 6.0), "clear"), ((13.0, 12.0), "stop")]
)
def test_opposing_walls_of_a_block(tapers_deg: tuple[float, float], verdict: str, noise_mm: float) -> None:
    """The sum of two planes' tapers, held against the 20 deg of J Prosthet Dent 2001;85:363 (published)."""
    terrain = place(pyramid(tapers_deg, 0.12), noise_mm)
    right, left = (3.0 - 2.0 * np.tan(np.radians(t)) for t in tapers_deg)
    walls = [grow(terrain, at(x, 0.4, 2.0), "wall", tooth=11) for x in (right, -left)]
    both = convergence(terrain, walls, DRAW)
    assert both.value == pytest.approx(sum(tapers_deg), abs=0.01 + 3.0 * both.u)
    assert (both.limit, both.at_least, both.verdict) == (20.0, False, verdict)
    for wall, taper in zip(walls, tapers_deg, strict=True):
        one = wall_taper(terrain, wall, DRAW).mean
        assert one.value == pytest.approx(taper, abs=0.01 + 3.0 * one.u)


def test_convergence_in_an_oblique_plane_is_that_of_the_section() -> None:
    """A wall of taper t cut by a plane turned p from its own shows tan t / cos p."""
    terrain = place(pyramid((8.0, 8.0), 0.12), 0.0)
    x = 3.0 - 2.0 * np.tan(np.radians(8.0))
    walls = [grow(terrain, at(s * x, 0.4, 2.0), "wall", tooth=11) for s in (1.0, -1.0)]
    p = np.radians(25.0)
    cut = convergence(terrain, walls, DRAW, across=TURN @ [np.cos(p), np.sin(p), 0.0])
    expected = 2.0 * np.degrees(np.arctan(np.tan(np.radians(8.0)) / np.cos(p)))
    assert cut.value == pytest.approx(expected, abs=0.02)  # twice what a flat wall is known to, one a side


@pytest.mark.parametrize(("edge_mm", "noise_mm"), [(0.1, 0.0), (0.1, 0.01), (0.15, 0.01), (0.2, 0.01)])
@pytest.mark.parametrize("length_mm", [2.0, 3.0])
def test_box_groove(length_mm: float, edge_mm: float, noise_mm: float) -> None:
    """Its length to half an edge; its axis along the draw."""
    terrain = place(box_groove(edge_mm, length_mm), noise_mm)
    groove = grow(terrain, at(0.1, -0.8, 5.0 - 0.5 * length_mm), "groove", tooth=22)
    fit = groove_fit(terrain, groove, DRAW)
    assert fit.length.value == pytest.approx(length_mm, abs=0.5 * edge_mm)
    assert fit.length.u == pytest.approx(edge_mm / np.sqrt(6.0), rel=0.15)  # the mesh's own edges vary so
    assert fit.lean.value <= 0.01 + 3.0 * np.hypot(*fit.u_axis_deg)
    assert max(fit.u_axis_deg) < 1.0


def test_stated_uncertainty_of_a_groove_axis_is_met() -> None:
    """Sixteen scans with 10 um noise, two leans each: 32 readings, bounds as for the taper."""
    body, ratios = box_groove(0.12), []
    for seed in range(16):
        terrain = place(body, 0.01, seed)
        fit = groove_fit(terrain, grow(terrain, at(0.1, -0.8, 3.5), "groove", tooth=22), DRAW)
        ratios.extend(frame(fit.axis) @ DRAW / np.radians(fit.u_axis_deg))
    assert 0.6 < np.sqrt(np.mean(np.square(ratios))) < 1.5


def test_half_round_groove_and_its_lean() -> None:
    """Half a cylinder of radius 0.45 mm sunk in a block, read against a draw 4 deg off its axis."""
    turn = np.linspace(np.pi, 2.0 * np.pi, 15)
    section = np.concatenate(
        ([[-2.0, 0.0]], np.stack((0.45 * np.cos(turn), 0.45 * np.sin(turn)), 1), [[2.0, 0.0]])
    )
    terrain = place(extruded(section, 4.0, 0.1), 0.01)
    groove = grow(terrain, at(0.0, -0.45, 2.0), "groove", tooth=22)
    lean = np.radians(4.0)
    fit = groove_fit(terrain, groove, TURN @ [np.sin(lean), 0.0, np.cos(lean)])
    assert fit.lean.value == pytest.approx(4.0, abs=3.0 * np.hypot(*fit.u_axis_deg))
    assert fit.lean.u < 0.5
    # Half an edge of 0.1 mm along both borders of 4 mm is 7 %, along both ends 2.5 %; the rest is noise.
    assert groove.area_mm2 == pytest.approx(np.pi * 0.45 * 4.0, rel=0.12)


def extruded(section: np.ndarray, height_mm: float, edge_mm: float) -> Mesh:
    """A line in x and y, running towards +x, drawn out along z; seen from +y."""
    line = [section[0]]
    for a, b in pairwise(section):
        count = max(round(float(np.linalg.norm(b - a)) / edge_mm), 1)
        line += [a + (b - a) * k / count for k in range(1, count + 1)]
    x, y = np.array(line).T
    z = np.linspace(0.0, height_mm, round(height_mm / edge_mm) + 1)
    points = np.stack(np.broadcast_arrays(x[:, None], y[:, None], z[None, :]), -1).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(len(x) - 1), np.arange(len(z) - 1), indexing="ij")
    a, b = i * len(z) + j, (i + 1) * len(z) + j
    faces = np.concatenate((np.stack((a, a + 1, b), -1), np.stack((b, a + 1, b + 1), -1))).reshape(-1, 3)
    return Mesh(points, faces.astype(np.int32))


@pytest.mark.parametrize(("turn_deg", "edge_mm"), [(25.0, 0.1), (25.0, 0.15), (40.0, 0.2)])
def test_least_edge_that_ends_a_wall(turn_deg: float, edge_mm: float) -> None:
    """Two planes of 12 mm2 that meet at a given angle, as the manual states.

    A shallow crest is known to one edge.
    """
    a = np.radians(turn_deg)
    section = np.array([[-3.0, 0.0], [0.0, 0.0], [3.0 * np.cos(a), -3.0 * np.sin(a)]])
    terrain = place(extruded(section, 4.0, edge_mm), 0.01)
    wall = grow(terrain, at(-1.5, 0.0, 2.0), "wall", tooth=11)
    assert wall.area_mm2 == pytest.approx(12.0, abs=edge_mm * 4.0)


@pytest.mark.parametrize("noise_mm", [0.0, 0.01])
@pytest.mark.parametrize(
    ("offset_mm", "lean_deg"), [(0.0, 0.0), (2.0, 0.0), (2.3, 5.0), (1.0, -6.0), (3.3, 0.0)]
)
def test_axis_to_a_round_tooth(offset_mm: float, lean_deg: float, noise_mm: float) -> None:
    """A tooth of radius 3.5 mm, a hole 2 mm deep whose floor leans outward: R - offset - 2 sin lean - r.

    Leaning inward, it is thinnest half a millimetre below the mouth, where reading starts. The last one
    breaks through: R - offset is less than its radius.
    """
    terrain = place(revolved([(0.0, 0.0), (3.5, 0.0), (3.5, -5.0)], 0.1), noise_mm)
    lean = np.radians(lean_deg)
    axis = TURN @ [-np.sin(lean), 0.0, np.cos(lean)]
    pin = Pin(11, 1, at(offset_mm, 0.0, 0.0), axis, 0.65, 3.0, 0.01, 0.01, 0.01)
    hole = Abutment(tooth=11, pins=1, hole_diameter_mm=0.7, hole_depth_mm=2.0, cast_pin_diameter_mm=0.6)
    (found,) = thickness(terrain, PinField((pin,), np.zeros((4, 4)), "scan"), [hole])
    deepest = max(2.0 * np.sin(lean), 0.5 * np.sin(lean))
    expected = 3.5 - offset_mm - deepest - 0.35
    assert found.least.value == pytest.approx(expected, abs=0.003 + 4.0 * noise_mm)
    assert (found.least.verdict == "stop") == (expected < 1.0)


def test_piece_to_triangle_against_non_negative_least_squares() -> None:
    """Both are convex hulls, so the distance is a least-squares problem in the weights of their corners.

    The weights of each hull sum to one by two heavy rows (Lawson and Hanson, Solving least squares problems,
    ch. 23).
    """
    rng = np.random.default_rng(4)
    heavy = 1e5
    for _ in range(150):
        a, b, triangle = rng.normal(size=3), rng.normal(size=3), rng.normal(size=(3, 3)) + rng.normal(size=3)
        got, part, spot = segment_to_triangles(a, b, triangle[None])
        rows = np.column_stack([a, b, *(-triangle)])
        sums = heavy * np.array([[1.0, 1, 0, 0, 0], [0, 0, 1.0, 1, 1]])
        _, rest = nnls(np.vstack((rows, sums)), np.array([0.0, 0, 0, heavy, heavy]))
        assert got[0] == pytest.approx(rest, abs=1e-6)
        assert np.linalg.norm(a + part[0] * (b - a) - spot[0]) == pytest.approx(got[0], abs=1e-9)
        across, *_ = segment_to_segment(a[None], b[None], triangle[:1], triangle[1:2])
        rows = np.column_stack([a, b, *(-triangle[:2])])
        sums = heavy * np.array([[1.0, 1, 0, 0], [0, 0, 1.0, 1]])
        _, rest = nnls(np.vstack((rows, sums)), np.array([0.0, 0, 0, heavy, heavy]))
        assert across[0] == pytest.approx(rest, abs=1e-6)


def test_parallel_and_collapsed_pieces() -> None:
    """By hand: side by side 2 apart; end to end with a gap of 1; a point beside a piece."""
    x, y, o = np.array([[1.0, 0, 0]]), np.array([[0, 1.0, 0]]), np.zeros((1, 3))
    assert segment_to_segment(o, x, 2 * y, 2 * y + x)[0] == pytest.approx([2.0], abs=1e-12)
    assert segment_to_segment(o, x, 2 * x, 3 * x)[0] == pytest.approx([1.0], abs=1e-12)
    assert segment_to_segment(o, o, y - x, y + x)[0] == pytest.approx([1.0], abs=1e-12)


def test_invented_scan() -> None:
    """The wall between the pins of the central incisor is one plane, and its true normal is known.

    The holes' axes are sampled every 5 um, so the least distance is at most 0.1 um smaller.
    """
    scene = patch(3)
    assert scene.mesh is not None
    assert scene.truth is not None
    pins = tuple(
        Pin(p.tooth, p.number, p.foot, p.axis, p.diameter_mm, p.protrusion_mm, 0.01, 0.01, 0.01)
        for p in scene.truth.pins
    )
    terrain, draw = Terrain(scene.mesh), scene.truth.draw
    face = next(f for f in scene.truth.faces if (f.kind, f.tooth) == ("wall", 11))
    wall = grow(terrain, face.point, "wall", tooth=11, draw=draw, pins=pins)
    taper = wall_taper(terrain, wall, draw).mean
    true_deg = np.degrees(np.arcsin(face.normal @ draw))
    assert taper.value == pytest.approx(true_deg, abs=0.3), "its two ends are rounded by the bur"
    field = PinField(pins, np.zeros((4 * len(pins), 4 * len(pins))), "scan")
    depth = np.linspace(0.0, 2.0, 401)[:, None]
    for read in pin_spacing(field, scene.case.abutments):
        first, second = (
            next(p for p in scene.truth.pins if p.name == n) for n in read.where[5:].split(" and ")
        )
        a, b = (p.foot - depth * p.axis for p in (first, second))
        sampled = np.linalg.norm(a[:, None] - b[None], axis=2).min()
        assert sampled - 1e-4 < read.value <= sampled
