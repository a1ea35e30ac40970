"""Cups cut from an invented scan: a sheet of gum with a round stump, an upright pin on it, and a gap."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from pinseat.errors import PlatingError
from pinseat.ledger.pins import Pin
from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import face_areas
from pinseat.plating.cells import prepare
from pinseat.plating.field import solve
from pinseat.plating.model import BANDS, Drive, Electrolyte
from pinseat.plating.scan import Standing, cups_from_scan, faces_of_tooth, faces_within

UP = np.array([0.0, 0.0, 1.0])
TALL, WIDE, TAPER = 4.0, 3.0, 0.15


def height(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A stump with a rounded edge and a slight taper, on flat gum."""
    away = np.hypot(x, y)
    return TALL * np.clip((WIDE + TALL * TAPER - away) / (TALL * TAPER), 0.0, 1.0)


def scan(gap: bool = False, turn: np.ndarray | None = None) -> Mesh:
    line = np.linspace(-9.0, 9.0, 121)
    x, y = (a.ravel() for a in np.meshgrid(line, line, indexing="ij"))
    points = np.column_stack((x, y, height(x, y)))
    corner = np.arange(121 * 121).reshape(121, 121)
    low, high = slice(None, -1), slice(1, None)
    a, b, c, d = (corner[i, j].ravel() for i, j in ((low, low), (high, low), (high, high), (low, high)))
    faces = np.concatenate((np.column_stack((a, b, c)), np.column_stack((a, c, d)))).astype(np.int32)
    if gap:
        middle = points[faces].mean(axis=1)
        faces = faces[np.hypot(middle[:, 0] - 1.0, middle[:, 1]) > 0.5]
    return Mesh(points if turn is None else points @ turn.T, faces)


def margin(radius: float = WIDE + TALL * TAPER) -> np.ndarray:
    turn = np.linspace(0.0, 2.0 * np.pi, 41)
    return np.column_stack((radius * np.cos(turn), radius * np.sin(turn), np.zeros(41)))


def cups(mesh: Mesh, **setting):
    region = faces_within(mesh, margin(), UP)
    wanted = {"anode_mm": 12.0, "metal_mm": 0.4, "rubber_mm": 0.8, **setting}
    return cups_from_scan(mesh, {"11": region}, UP, **wanted), region


def test_the_cup_has_the_area_of_the_stump_and_its_floor_is_where_the_top_was():
    mesh = scan()
    made, region = cups(mesh)
    field = solve(made.geometry, Electrolyte(), Drive(current_mA=10.0))
    assert field.area_mm2["11"] == pytest.approx(face_areas(mesh)[region].sum(), rel=0.05)
    floor = field.surface.band == BANDS.index("floor")
    place = made.to_scan(field.surface.point[floor & (field.surface.electrode == 1)])
    assert np.median(place[:, 2]) == pytest.approx(TALL, abs=0.05)
    assert field.mean_A_m2("11", "floor") < field.mean_A_m2("11", "wall") < field.mean_A_m2("11", "rim")


def test_a_gap_in_the_scan_is_closed_with_metal():
    whole, _ = cups(scan())
    open_, _ = cups(scan(gap=True))
    one, other = (solve(c.geometry, Electrolyte(), Drive(current_mA=10.0)) for c in (whole, open_))
    assert open_.closed_mm2 > 0.3 > whole.closed_mm2
    assert other.area_mm2["11"] == pytest.approx(one.area_mm2["11"], rel=0.02)
    assert other.mean_A_m2("11", "floor") == pytest.approx(one.mean_A_m2("11", "floor"), rel=0.03)


def test_turning_the_scan_with_its_draw_changes_nothing():
    angle = 0.7
    turn = np.array(
        [[1.0, 0.0, 0.0], [0.0, np.cos(angle), -np.sin(angle)], [0.0, np.sin(angle), np.cos(angle)]]
    )
    mesh, turned = scan(), scan(turn=turn)
    region = faces_within(mesh, margin(), UP)
    setting = {"anode_mm": 12.0, "metal_mm": 0.4, "rubber_mm": 0.8}
    one = cups_from_scan(mesh, {"11": region}, UP, **setting)
    other = cups_from_scan(turned, {"11": region}, turn @ UP, **setting)
    a, b = (solve(c.geometry, Electrolyte(), Drive(current_mA=10.0)) for c in (one, other))
    assert a.mean_A_m2("11", "floor") == pytest.approx(b.mean_A_m2("11", "floor"), rel=0.03)
    np.testing.assert_allclose(other.to_scan(other.from_scan(turned.vertices)), turned.vertices, atol=1e-12)


@cache
def plain_area_mm2() -> float:
    made, _ = cups(scan(), metal_mm=0.2, rubber_mm=0.4)
    return solve(made.geometry, Electrolyte(), Drive(current_mA=10.0)).area_mm2["11"]


@pytest.mark.parametrize("metal", [True, False])
def test_a_pin_stands_up_in_the_cup_as_long_as_its_hole_was_deep(metal):
    pin = Pin(11, 1, np.array([-1.0, 0.0, TALL]), UP, 0.8, 1.0, 0.0, 0.0, 0.0)
    made, _ = cups(scan(), pins=[Standing(pin, 2.0, "11", metal)], metal_mm=0.2, rubber_mm=0.4)
    field = solve(made.geometry, Electrolyte(), Drive(current_mA=10.0))
    on = (field.surface.band == BANDS.index("pin")) & (field.surface.electrode == 1)
    if metal:
        place = made.to_scan(field.surface.point[on])
        assert place[:, 2].min() == pytest.approx(TALL - 2.0, abs=0.1)
        assert field.surface.area_mm2[on].sum() == pytest.approx(np.pi * 0.8 * (2.0 + 0.2), rel=0.1)
    plain = solve(
        cups(scan(), metal_mm=0.2, rubber_mm=0.4)[0].geometry, Electrolyte(), Drive(current_mA=10.0)
    )
    more = field.area_mm2["11"] - plain.area_mm2["11"]
    assert more == pytest.approx(np.pi * 0.8 * 2.0 if metal else -np.pi * 0.16, abs=0.45)


def test_masks_and_flanges():
    mesh = scan()
    plain, _ = cups(mesh)
    masked, _ = cups(mesh, mask_mm=1.0)
    ringed, _ = cups(mesh, flange_mm=1.0)
    a, b, c = (solve(one.geometry, Electrolyte(), Drive(current_mA=10.0)) for one in (plain, masked, ringed))
    around = 2.0 * np.pi * (WIDE + 0.5 * TALL * TAPER)
    assert a.area_mm2["11"] - b.area_mm2["11"] == pytest.approx(around, rel=0.2)
    assert c.area_mm2["ring 11"] == pytest.approx(np.pi * ((WIDE + 1.6) ** 2 - (WIDE + 0.6) ** 2), rel=0.15)
    assert c.current_mA["ring 11"] > 2.0
    with pytest.raises(PlatingError, match="11: the mask covers the whole piece"):
        cups(mesh, mask_mm=9.0)
    with pytest.raises(PlatingError, match="there is no cathode"):
        cups_from_scan(mesh, {}, UP)


def test_without_a_margin_the_tooth_is_taken_about_its_pins():
    mesh = scan()
    faces = faces_of_tooth(mesh, np.array([[0.0, 0.0, TALL]]), UP, 2.5)
    middle = mesh.vertices[mesh.faces[faces]].mean(axis=1)
    assert np.hypot(middle[:, 0], middle[:, 1]).max() < 2.5
    assert face_areas(mesh)[faces].sum() == pytest.approx(np.pi * 2.5**2, rel=0.03)


def test_a_bath_far_too_large_for_its_cells_is_refused():
    made, _ = cups(scan(), anode_mm=3e6)
    with pytest.raises(PlatingError, match="too large for such fine cells"):
        prepare(made.geometry)
