import itertools
import os
import subprocess
import sys

import numpy as np
import pytest
import trimesh

from pinseat.demo.cases import patch
from pinseat.demo.scanner import Scanner
from pinseat.errors import ScanError, SurveyError
from pinseat.mesh.model import Mesh
from pinseat.survey.contour import height_of_contour
from pinseat.survey.ranking import cone_of_directions, rank_draws
from pinseat.survey.undercut import Surveyed, UndercutMap, undercut_map

UP = np.array([0.0, 0.0, 1.0])


def lumps(subdivisions: int = 4) -> Mesh:
    """Three leaning eggs of different size, side by side over nothing, one touching the next."""
    parts = []
    for x, size, lean in (
        (0.0, (3.0, 2.5, 4.0), 0.2),
        (5.4, (2.6, 2.4, 4.4), -0.25),
        (10.9, (2.5, 3.0, 3.5), 0.1),
    ):
        egg = trimesh.creation.icosphere(subdivisions=subdivisions)
        egg.apply_scale(size)
        egg.apply_transform(trimesh.transformations.rotation_matrix(lean, (0.3, 1.0, 0.2)))
        egg.apply_translation((x, 0.2 * x, 0.0))
        parts.append(egg)
    made = trimesh.util.concatenate(parts)
    return Mesh(np.asarray(made.vertices, float), np.asarray(made.faces, np.int32))


def turn(seed: int) -> np.ndarray:
    q, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return np.asarray(q * np.sign(np.linalg.det(q)))


def mushroom() -> Mesh:
    """Floor of radius 6, stem of radius 1, and from height 3 a pointed hat with a sharp brim of radius 3.02.

    Smoothing takes 20 um off so sharp a brim.
    """
    line = [(6.0, 0.0), (1.0, 0.0), (1.0, 3.0), (3.02, 3.0), (0.0, 4.6)]
    points = [line[0]]
    for (r0, z0), (r1, z1) in itertools.pairwise(line):
        count = int(np.ceil(np.hypot(r1 - r0, z1 - z0) / 0.1))
        points += [(r0 + (r1 - r0) * k / count, z0 + (z1 - z0) * k / count) for k in range(1, count + 1)]
    made = trimesh.creation.revolve(np.array(points), sections=150)
    return Mesh(np.asarray(made.vertices, float), np.asarray(made.faces, np.int32))


def test_under_a_mushroom_floor_stem_and_cap_are_as_deep_as_the_brim_is_far() -> None:
    mesh = mushroom()
    found = undercut_map(mesh, UP)
    x, y, z = mesh.vertices.T
    r = np.hypot(x, y)
    floor, stem = (z < 1e-9) & (r > 1.3) & (r < 2.9), (r < 1.01) & (z > 0.3) & (z < 2.7)
    cap = (np.abs(z - 3.0) < 1e-9) & (r > 1.3) & (r < 2.8)
    for part in (floor, stem, cap):
        assert part.sum() > 500
        np.testing.assert_allclose(found.depth_mm[part], 3.02 - r[part], atol=0.02)
    for part in (floor, cap):
        np.testing.assert_allclose(found.block_out_mm[part], 3.0, atol=0.01)
    free = (z < 1e-9) & (r > 3.2)
    np.testing.assert_array_equal(found.depth_mm[free], 0.0)
    np.testing.assert_array_equal(found.block_out_mm[free], 0.0)
    assert found.volume_mm3 == pytest.approx(np.pi * (3.02**2 - 1.0) * 3.0, rel=0.045)


def test_a_hole_in_the_floor_under_a_brim_is_no_way_out() -> None:
    whole = mushroom()
    middles = whole.vertices[whole.faces].mean(axis=1)
    pierced = Mesh(whole.vertices, whole.faces[np.linalg.norm(middles - [2.0, 0.0, 0.0], axis=1) > 0.3])
    x, y, z = whole.vertices.T
    near = (z < 1e-9) & (np.abs(np.hypot(x - 2.0, y) - 0.5) < 0.1)
    found = undercut_map(pierced, UP)
    np.testing.assert_allclose(found.depth_mm[near], (3.02 - np.hypot(x, y))[near], atol=0.02)


def test_the_way_out_leads_past_a_neighbour_not_under_it() -> None:
    """Between two balls 0.2 mm apart the near gap is open; pushed into one another it is shut there."""
    depths = []
    for apart in (6.2, 5.4):
        balls = [trimesh.creation.icosphere(subdivisions=5, radius=3.0) for _ in range(2)]
        balls[1].apply_translation((apart, 0.0, 1.0))
        made = trimesh.util.concatenate(balls)
        found = undercut_map(Mesh(np.asarray(made.vertices, float), np.asarray(made.faces, np.int32)), UP)
        at = np.argmin(np.linalg.norm(made.vertices - [np.sqrt(8.0), 0.0, -1.0], axis=1))
        depths.append(found.depth_mm[at])
    assert depths[0] == pytest.approx(3.0 - np.sqrt(8.0), abs=0.02)
    # The circles' outlines cross at x = 2.7, y = 1.31: from (2.83, 0) it is 1.31 mm to there, 2.57 to beyond.
    assert depths[1] == pytest.approx(np.hypot(2.83 - 2.7, np.sqrt(9.0 - 2.7**2)), abs=0.06)


def test_moving_scan_and_draw_together_changes_nothing() -> None:
    mesh, q = lumps(), turn(5)
    draw = np.array([0.1, -0.05, 1.0])
    still = undercut_map(mesh, draw)
    moved = undercut_map(Mesh(mesh.vertices @ q.T + [400.0, -300.0, 900.0], mesh.faces), q @ draw)
    assert moved.area_mm2 == pytest.approx(still.area_mm2, rel=1e-3)
    assert moved.volume_mm3 == pytest.approx(still.volume_mm3, rel=1e-3)
    change = np.abs(moved.depth_mm - still.depth_mm)
    assert np.percentile(change, 99.0) < 1e-3


def test_what_faces_the_draw_and_has_nothing_above_it_is_free() -> None:
    dome = trimesh.creation.revolve(
        np.array([(3.0 * np.cos(t), 3.0 * np.sin(t)) for t in np.linspace(0.1, np.pi / 2)])
    )
    found = undercut_map(Mesh(np.asarray(dome.vertices, float), np.asarray(dome.faces, np.int32)), UP)
    assert found.area_mm2 == found.volume_mm3 == found.groundless_mm2 == 0.0
    assert not found.depth_mm.any()
    assert not found.block_out_mm.any()


def test_a_scan_without_triangles_is_refused() -> None:
    with pytest.raises(ScanError, match="no surface"):
        undercut_map(Mesh(np.zeros((3, 3)), np.empty((0, 3), np.int32)), UP)


def scans(seed: int) -> tuple[UndercutMap, UndercutMap]:
    """One stretch of an arch, clean and with 10 um noise."""
    found = []
    for noise_um in (0.0, 10.0):
        made = patch(
            seed, teeth=(12, 11, 21, 22, 23), scanner=Scanner(noise_um=noise_um, speck=False), edge_mm=0.1
        )
        assert made.mesh is not None
        assert made.truth is not None
        found.append(undercut_map(made.mesh, made.truth.draw))
    return found[0], found[1]


@pytest.mark.parametrize("seed", [1, 2])
def test_ten_micrometres_of_noise_change_the_undercut_area_by_less_than_three_per_cent(seed: int) -> None:
    clean, noisy = scans(seed)
    assert clean.area_mm2 > 50.0
    assert noisy.area_mm2 == pytest.approx(clean.area_mm2, rel=0.03)
    deep = clean.depth_mm > 0.1
    assert np.median(np.abs(noisy.depth_mm - clean.depth_mm)[deep]) < 0.01


def test_height_of_contour_of_an_egg_on_a_stalk_is_one_closed_line_and_hollows_are_left_out() -> None:
    made = trimesh.creation.revolve(
        np.array([(1.0 + 0.6 * np.sin(t) + 0.05 * (9.0 - t), 0.4 * t) for t in np.linspace(0.0, 9.0, 90)]),
        sections=120,
    )
    mesh = Mesh(np.asarray(made.vertices, float), np.asarray(made.faces, np.int32))
    lines = height_of_contour(mesh, UP)
    # dr/dt = 0.6 cos t - 0.05 changes sign downwards at t = 1.487 and 7.771, upwards (a waist) at 4.796.
    heights = sorted(float(line[:, 2].mean()) for line in lines)
    assert heights == [pytest.approx(0.4 * 1.487, abs=0.01), pytest.approx(0.4 * 7.771, abs=0.01)]
    for line in lines:
        np.testing.assert_array_equal(line[0], line[-1])
        assert np.ptp(line[:, 2]) < 1e-6
    lengths = [np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in lines]
    assert lengths == sorted(lengths, reverse=True)


def by_every_ray(mesh: Mesh, directions: np.ndarray) -> np.ndarray:
    surveyed = Surveyed(mesh)
    area = []
    for draw in directions:
        barred = (surveyed.normals @ draw < 0.0) | surveyed.rays.blocked(surveyed.off, draw)
        area.append(surveyed.vertex_area[barred].sum())
    return np.array(area)


@pytest.mark.parametrize(("half_angle_deg", "seed"), [(8.0, 1), (20.0, 2), (35.0, 3)])
def test_the_best_draw_is_that_of_brute_force(half_angle_deg: float, seed: int) -> None:
    mesh, q = lumps(), turn(seed)
    mesh = Mesh(mesh.vertices @ q.T, mesh.faces)
    directions = cone_of_directions(q[:, 2], half_angle_deg, 700)
    area = by_every_ray(mesh, directions)
    found = rank_draws(mesh, q[:, 2], half_angle_deg, 700)
    np.testing.assert_array_equal(found.directions[0], directions[np.argmin(area)])
    which = [int(np.flatnonzero((directions == d).all(axis=1))[0]) for d in found.directions]
    np.testing.assert_allclose(found.undercut_area_mm2, area[which], rtol=1e-12)
    assert len(set(which)) == len(which) == 6
    assert found.undercut_area_mm2[0] == pytest.approx(
        undercut_map(mesh, found.directions[0]).area_mm2, rel=1e-9
    )
    assert (np.diff(found.undercut_area_mm2) >= 0.0).all()
    assert found.tried == 700


def test_fewer_directions_than_the_last_stage_keeps() -> None:
    found = rank_draws(lumps(2), UP, 10.0, 3)
    assert found.directions.shape == (3, 3)
    assert rank_draws(lumps(2), UP, 0.0, 1).directions.tolist() == [UP.tolist()]


@pytest.mark.parametrize(("half_angle_deg", "count"), [(91.0, 10), (-1.0, 10), (float("nan"), 10), (10.0, 0)])
def test_a_cone_or_count_out_of_range_is_refused(half_angle_deg: float, count: int) -> None:
    with pytest.raises(SurveyError, match="expected"):
        rank_draws(lumps(2), UP, half_angle_deg, count)


_DIGEST = """
import hashlib, numpy as np, trimesh
from pinseat.mesh.model import Mesh
from pinseat.survey.ranking import rank_draws
from pinseat.survey.undercut import undercut_map
ball = trimesh.creation.icosphere(subdivisions=5, radius=3.0)
bumps = 1.0 + 0.1 * np.sin(3.0 * ball.vertices).sum(axis=1, keepdims=True)
mesh = Mesh(np.asarray(ball.vertices * bumps, float), np.asarray(ball.faces, np.int32))
best = rank_draws(mesh, (0.1, 0.2, 1.0), 15.0, 500)
found = undercut_map(mesh, best.directions[0])
parts = (best.directions, best.undercut_area_mm2, found.depth_mm, found.block_out_mm, found.face_volume_mm3)
print(hashlib.sha256(b"".join(np.ascontiguousarray(p).tobytes() for p in parts)).hexdigest())
"""


def test_the_number_of_threads_does_not_change_a_byte() -> None:
    digests = set()
    for threads in ("1", "2"):
        names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS")
        done = subprocess.run(
            [sys.executable, "-c", _DIGEST],
            env={**os.environ, **dict.fromkeys(names, threads)},
            capture_output=True,
            text=True,
            check=True,
        )
        digests.add(done.stdout)
    assert len(digests) == 1
