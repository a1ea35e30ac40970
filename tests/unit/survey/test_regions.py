"""Regions on bodies whose edges are known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pinseat.case.regions import MarginPick, RegionEdit, RegionPick
from pinseat.errors import SurveyError
from pinseat.ledger.pins import Pin
from pinseat.mesh.topology import face_areas
from pinseat.survey.margin import margin
from pinseat.survey.regions import grow, regions_from_case
from pinseat.survey.terrain import Terrain
from tests.unit.survey.shapes import box_groove, frustum, noisy, pyramid, revolved, turned

RIGHT = (2.85, 0.4, 2.0)
"""On the right wall of the block of :func:`block`."""


@pytest.fixture(scope="module")
def block() -> Terrain:
    """6 mm wide, 4 mm high, walls leaning by 4 and 3 deg, with 10 um of noise."""
    return Terrain(noisy(pyramid((4.0, 3.0), 0.12), 0.01))


def ring(radius: float, z: float, count: int = 24) -> np.ndarray:
    turn = 2.0 * np.pi * np.arange(count) / count
    return np.stack((radius * np.cos(turn), radius * np.sin(turn), np.full(count, z)), axis=1)


@pytest.mark.parametrize("edge_mm", [0.1, 0.2])
def test_wall_of_a_block_ends_at_its_edges(edge_mm: float) -> None:
    terrain = Terrain(noisy(pyramid((4.0, 3.0), edge_mm), 0.01))
    wall = grow(terrain, RIGHT, "wall", tooth=11)
    middles = terrain.middles[wall.faces]
    assert wall.doubt == ""
    half_an_edge = 0.5 * edge_mm * 20.0  # all round
    assert wall.area_mm2 == pytest.approx(6.0 * 4.0 / np.cos(np.radians(4.0)), abs=half_an_edge)
    assert (middles[:, 0] > 2.5).mean() > 0.98
    assert np.isin(wall.core, wall.faces).all()
    assert (terrain.face_normals[wall.core][:, 0] > 0.95).mean() > 0.98
    assert len(wall.boundary) == 1
    assert wall.boundary[0].length_mm == pytest.approx(20.0, rel=0.3)
    assert wall.rim_mm == 0.0


def test_area_is_that_of_the_smooth_surface_not_of_its_roughness(block: Terrain) -> None:
    wall = grow(block, RIGHT, "wall")
    rough = face_areas(block.mesh)[wall.faces].sum()
    assert wall.area_mm2 < rough < 1.05 * wall.area_mm2


def test_ledge_is_flat_and_all_round() -> None:
    terrain = Terrain(noisy(frustum(5.0, 0.12), 0.01))
    ledge = grow(terrain, (4.5, 0.0, 0.0), "ledge", tooth=12)
    assert ledge.area_mm2 == pytest.approx(np.pi * (25.0 - 16.0), rel=0.05)
    assert len(ledge.boundary) == 2
    assert ledge.boundary[0].length_mm > ledge.boundary[1].length_mm


def test_groove_takes_its_floor_and_sides_but_not_its_end() -> None:
    terrain = Terrain(noisy(box_groove(0.1), 0.01))
    groove = grow(terrain, (0.1, -0.8, 3.6), "groove", tooth=22)
    assert groove.area_mm2 == pytest.approx(3.0 * (1.2 + 2 * 0.8), rel=0.08)
    inside = terrain.middles[groove.core]
    assert (np.abs(inside[:, 0]) < 0.65).all()
    assert (inside[:, 2] > 2.0).all()
    sides = np.abs(terrain.face_normals[groove.core][:, 0]) > 0.9
    assert 0.3 < sides.mean() < 0.7


def test_region_at_the_end_of_the_scan_says_how_much_of_its_border_that_is() -> None:
    terrain = Terrain(noisy(box_groove(0.12), 0.01))
    wall = grow(terrain, (-1.6, 0.0, 1.0), "wall", tooth=22)
    assert wall.rim_mm == pytest.approx(5.0 + 5.0 + 5.0, abs=0.5)


def test_neighbour_is_what_faces_the_pick() -> None:
    terrain = Terrain(revolved([(0.0, 5.0), (4.0, 5.0), (4.0, -1.0), (6.0, -1.0)], 0.15))
    facing = grow(terrain, (4.0, 0.0, 2.0), "neighbour", tooth=10)
    assert facing.area_mm2 == pytest.approx(2.0 * np.radians(60.0) * 4.0 * 6.0, rel=0.06)


def test_prepared_surface_is_bounded_by_its_margin_alone(block: Terrain) -> None:
    line = margin(block, ring(1.5, 4.0), tooth=11)
    top = grow(block, (0.2, 0.3, 4.0), "prepared", tooth=11, border=line)
    assert top.area_mm2 == pytest.approx(np.pi * 1.5**2, rel=0.06)
    outside = grow(block, (3.5, 0.0, 0.0), "prepared", tooth=11, border=line)
    assert outside.area_mm2 + top.area_mm2 == pytest.approx(block.face_area.sum(), rel=1e-9)


def test_wall_ends_where_it_leans_too_much_to_the_draw() -> None:
    bent = [(0.0, 4.0), (2.5, 4.0)] + [
        (4.0 - 1.5 * np.cos(a), 4.0 - 4.0 * np.sin(a)) for a in np.linspace(0, 0.5 * np.pi, 40)
    ]
    terrain = Terrain(revolved(bent[1:], 0.12))
    whole = grow(terrain, (2.55, 0.0, 3.0), "wall", limit_mm2=200.0)
    steep = grow(terrain, (2.55, 0.0, 3.0), "wall", draw=(0, 0, 2.0), limit_mm2=200.0)
    lean = np.degrees(np.arcsin(terrain.face_normals[steep.core][:, 2]))
    assert lean.max() < 20.0
    assert steep.area_mm2 < 0.9 * whole.area_mm2


def test_region_that_runs_out_says_so_and_cannot_be_used() -> None:
    terrain = Terrain(noisy(frustum(4.0, 0.2), 0.01))
    ran = grow(terrain, (3.86, 0.0, 2.0), "wall", tooth=13, limit_mm2=30.0)
    assert "at most 30 mm2" in ran.doubt
    with pytest.raises(SurveyError, match=r"wall of tooth 13: this region ran out .* exclude a patch"):
        ran.sound()
    whole = grow(terrain, (3.86, 0.0, 2.0), "wall", tooth=13, limit_mm2=160.0)
    assert whole.sound() is whole


def test_patches_by_hand_stop_a_region_and_let_it_pass(block: Terrain) -> None:
    bare = grow(block, RIGHT, "wall")
    less = grow(
        block, RIGHT, "wall", corrections=[RegionEdit(action="exclude", at=(2.86, -1.2, 2.0), radius_mm=0.6)]
    )
    assert bare.area_mm2 - less.area_mm2 == pytest.approx(np.pi * 0.6**2, rel=0.1)
    both = grow(
        block, RIGHT, "wall", corrections=[RegionEdit(action="include", at=(2.72, 1.0, 4.0), radius_mm=0.8)]
    )
    assert both.area_mm2 > bare.area_mm2 + 10.0, "through the patch over the edge it reaches the top"
    taken_back = [
        RegionEdit(action="include", at=(2.72, 1.0, 4.0), radius_mm=0.8),
        RegionEdit(action="exclude", at=(2.72, 1.0, 4.0), radius_mm=1.0),
    ]
    assert grow(block, RIGHT, "wall", corrections=taken_back).area_mm2 < bare.area_mm2


def test_standing_pin_belongs_to_no_region() -> None:
    post = [(0.0, 3.0), (0.35, 3.0), (0.35, 0.0), (3.0, 0.0), (3.0, -2.0)]
    terrain = Terrain(noisy(revolved(post, 0.1), 0.005))
    pin = Pin(11, 1, np.zeros(3), np.array([0.0, 0.0, 1.0]), 0.7, 3.0, 0.01, 0.01, 0.01)
    line = margin(terrain, ring(2.0, 0.0), tooth=11)
    found = grow(terrain, (1.0, 0.0, 0.0), "prepared", tooth=11, border=line, pins=[pin])
    assert found.area_mm2 == pytest.approx(np.pi * (4.0 - 0.5**2), rel=0.05)
    with pytest.raises(SurveyError, match="on a pin"):
        grow(terrain, (0.35, 0.0, 1.5), "wall", tooth=11, pins=[pin])


def test_pick_off_the_scan_is_named(block: Terrain) -> None:
    with pytest.raises(SurveyError, match=r"wall of tooth 11, pick at \(9.00, 0.00, 2.00\).*mm away"):
        grow(block, (9.0, 0.0, 2.0), "wall", tooth=11)


def test_pick_just_beside_an_edge_moves_off_it(block: Terrain) -> None:
    at_edge = grow(block, (2.99, 0.4, 0.05), "wall", tooth=11)
    normal = block.face_normals[at_edge.core].mean(axis=0)
    assert max(normal[0], normal[2]) > 0.95


def test_prepared_surface_without_a_closed_margin_is_refused(block: Terrain) -> None:
    with pytest.raises(SurveyError, match="closed margin"):
        grow(block, RIGHT, "prepared", tooth=11)
    half = margin(block, [(-1, 0, 4), (1, 0, 4)], tooth=11, closed=False)
    with pytest.raises(SurveyError, match="closed margin"):
        grow(block, RIGHT, "prepared", tooth=11, border=half)


@settings(max_examples=4, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_moving_the_whole_scan_changes_no_region(seed: int) -> None:
    """A triangle on the very limit of curvature may tip either way in the last digit: a handful may."""
    rotation = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    shift = np.array([12.0, -7.0, 3.0])
    mesh = noisy(pyramid((4.0, 3.0), 0.2), 0.01)
    here = grow(Terrain(mesh), RIGHT, "wall")
    there = grow(Terrain(turned(mesh, rotation, shift)), rotation @ RIGHT + shift, "wall")
    assert len(np.setxor1d(here.faces, there.faces)) <= 4


def test_a_case_gives_its_regions_in_the_order_of_the_picks(block: Terrain) -> None:
    picks = [
        RegionPick(kind="wall", tooth=11, at=RIGHT),
        RegionPick(kind="prepared", tooth=11, at=(0.1, 0.1, 4.0)),
        RegionPick(
            kind="ledge",
            tooth=11,
            at=(3.5, 0.0, 0.0),
            corrections=(RegionEdit(action="exclude", at=(3.5, 2.0, 0.0)),),
        ),
    ]
    line = tuple(tuple(p) for p in ring(1.5, 4.0).tolist())
    regions, margins = regions_from_case(
        block, picks, [MarginPick(tooth=11, points=line)], abutments=[11], draw=(0.0, 0.0, 1.0)
    )
    assert [(r.kind, r.tooth) for r in regions] == [("wall", 11), ("prepared", 11), ("ledge", 11)]
    assert [m.tooth for m in margins] == [11]
    again, _ = regions_from_case(
        block.mesh, picks, [MarginPick(tooth=11, points=line)], abutments=[11], draw=(0.0, 0.0, 1.0)
    )
    assert all(np.array_equal(a.faces, b.faces) for a, b in zip(regions, again, strict=True))


def test_teeth_that_do_not_fit_are_named(block: Terrain) -> None:
    with pytest.raises(
        SurveyError, match=r"regions, pick 1 \(wall\): this tooth is no abutment.*\(12; expected 11, 22\)"
    ):
        regions_from_case(block, [RegionPick(kind="wall", tooth=12, at=RIGHT)], abutments=[11, 22])
    with pytest.raises(SurveyError, match="an abutment is no neighbour"):
        regions_from_case(block, [RegionPick(kind="neighbour", tooth=11, at=RIGHT)], abutments=[11])
    line = tuple(tuple(p) for p in ring(1.5, 4.0).tolist())
    with pytest.raises(SurveyError, match="two margins"):
        regions_from_case(block, [], [MarginPick(tooth=11, points=line)] * 2, abutments=[11])
