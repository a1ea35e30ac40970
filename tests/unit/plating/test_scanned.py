"""Pieces of a case on its scan: metal up to a margin line, patches of wax, what hangs over them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pinseat.case.model import Abutment, Case, Scan
from pinseat.case.plating import Mask, Plating, Rod, Shield, Thief
from pinseat.errors import PlatingError
from pinseat.ledger.faces import MarginLine
from pinseat.ledger.pins import PinField
from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import face_areas
from pinseat.plating.field import solve
from pinseat.plating.hung import drive_of
from pinseat.plating.model import BANDS, Electrolyte, with_cells
from pinseat.plating.pieces import pieces_of
from pinseat.plating.scanned import Scanned, scanned_cups

UP = np.array([0.0, 0.0, 1.0])
NO_PINS = PinField((), np.zeros((0, 0)), "scan")
TALL, WIDE, TAPER = 4.0, 3.0, 0.15


def stump() -> Mesh:
    """A round stump with a slight taper on flat gum."""
    line = np.linspace(-9.0, 9.0, 121)
    x, y = (a.ravel() for a in np.meshgrid(line, line, indexing="ij"))
    z = TALL * np.clip((WIDE + TALL * TAPER - np.hypot(x, y)) / (TALL * TAPER), 0.0, 1.0)
    corner = np.arange(121 * 121).reshape(121, 121)
    a, b, c, d = (corner[i : 120 + i, j : 120 + j].ravel() for i, j in ((0, 0), (1, 0), (1, 1), (0, 1)))
    faces = np.concatenate((np.column_stack((a, b, c)), np.column_stack((a, c, d))))
    return Mesh(np.column_stack((x, y, z)), faces.astype(np.int32))


def line(height: float = 0.0, closed: bool = True) -> MarginLine:
    radius, turn = WIDE + (TALL - height) * TAPER, np.linspace(0.0, 2.0 * np.pi, 41)
    points = np.column_stack((radius * np.cos(turn), radius * np.sin(turn), np.full(41, height)))
    return MarginLine(11, points, closed)


def case(**plating: Any) -> Case:
    abutment = Abutment(tooth=11, pins=0, hole_diameter_mm=0.7, hole_depth_mm=2.0, cast_pin_diameter_mm=0.6)
    return Case(
        number="invented",
        missing=(),
        abutments=(abutment,),
        scan=Scan(file="x.stl"),
        plating=Plating(**plating),
    )


def cut(mesh: Mesh, margin: MarginLine, **plating: Any) -> Scanned:
    one = case(**plating)
    return scanned_cups(one, pieces_of(one), mesh, NO_PINS, UP, 0.6, (margin,))


def test_metal_ends_at_the_margin_line_and_the_band_along_it_is_told() -> None:
    """The area above a line: of the top, and of the cone down to it."""
    mesh = stump()
    whole, upper = cut(mesh, line()), cut(mesh, line(2.0))
    slant = float(np.hypot(1.0, TAPER))
    for found, tall in ((whole, TALL), (upper, 2.0)):
        area = np.pi * (WIDE**2 + (2.0 * WIDE + tall * TAPER) * tall * slant)
        assert face_areas(mesh)[found.regions["11"]].sum() == pytest.approx(area, rel=0.05)
        assert not any("margin line" in note for note in found.notes)
    field = solve(with_cells(whole.cups.geometry, 0.3), Electrolyte(), drive_of(Plating(), 10.0, 10.0))
    assert (field.surface.band == BANDS.index("margin")).any()


def test_a_line_that_is_open_bounds_nothing() -> None:
    with pytest.raises(PlatingError, match="the scan shows none of the pieces"):
        cut(stump(), line(closed=False))


def test_a_patch_of_wax_has_its_area_and_its_own_edge() -> None:
    at = (0.0, 0.0, TALL)
    plain, patched = (
        solve(cut(stump(), line(), masks=masks).cups.geometry, Electrolyte(), drive_of(Plating(), 10.0, 10.0))
        for masks in ((), (Mask(at=at, radius_mm=1.5),))
    )
    assert plain.area_mm2["11"] - patched.area_mm2["11"] == pytest.approx(np.pi * 1.5**2, rel=0.1)
    found = cut(stump(), line(), masks=(Mask(at=at, radius_mm=1.5),)).cups
    assert found.geometry.zone is not None
    far = found.geometry.zone.from_edge_mm(found.from_scan(np.array([[2.5, 0.0, TALL], [0.0, 2.0, TALL]])))
    assert far == pytest.approx([1.0, 0.5], abs=0.15)


def test_what_hangs_over_a_scanned_cup_takes_or_gives_what_it_is_told() -> None:
    stated = {
        "rods": (Rod(piece="11", above_floor_mm=2.0, current_mA=6.0),),
        "shields": (Shield(piece="11", hole_mm=4.0, above_mm=2.0),),
        "thieves": (Thief(piece="11", beside_mm=1.5, above_mm=0.6),),
    }
    found = cut(stump(), line(), **stated)
    field = solve(found.cups.geometry, Electrolyte(), drive_of(Plating(**stated), 10.0, 10.0))
    assert field.current_mA["rod in 11"] == pytest.approx(6.0, rel=1e-5)
    assert field.current_mA["anode"] == pytest.approx(4.0, rel=1e-5)
    assert field.current_mA["11"] + field.current_mA["thief about 11"] == pytest.approx(10.0, rel=1e-5)
    number = [e.name for e in field.electrodes].index("rod in 11")
    rod = field.surface.point[field.surface.electrode == number]
    assert found.cups.to_scan(rod)[:, 2].max() == pytest.approx(TALL - 2.0, abs=0.3)
