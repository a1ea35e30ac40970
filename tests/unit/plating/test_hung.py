"""Rods, wires, shields, thieves and the anode's plate: where they hang, and what they do to one cup."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from pinseat.case.model import Abutment, Case
from pinseat.case.plating import AnodePlate, Piece, Plating, Rod, Shield, Tail, Thief
from pinseat.errors import PlatingError
from pinseat.plating.bodies import Ring
from pinseat.plating.field import solve
from pinseat.plating.hung import drive_of
from pinseat.plating.ideal import geometry_of
from pinseat.plating.model import Drive, Electrolyte, Field, Geometry
from pinseat.plating.pieces import oval, pieces_of


def geometry(width_mm: float = 7.0, **hung: Any) -> Geometry:
    """One round cup 4 mm deep, and what else hangs in the bath."""
    ring = tuple((float(x), float(y)) for x, y in oval(width_mm, width_mm))
    plating = Plating(pieces=(Piece(name="11", outline_mm=ring, depth_mm=4.0),), **hung)
    abutment = Abutment(tooth=11, pins=2, hole_diameter_mm=0.7, hole_depth_mm=2.0, cast_pin_diameter_mm=0.6)
    case = Case(number="invented", missing=(21,), abutments=(abutment,), plating=plating)
    return geometry_of(pieces_of(case), plating, 0.5)


@cache
def plated(**hung: Any) -> Field:
    """10 mA into it."""
    return solve(geometry(**hung), Electrolyte(), drive_of(Plating(**hung), 10.0, 10.0))


def floor_to_rim(field: Field) -> float:
    return field.mean_A_m2("11", "floor") / field.mean_A_m2("11", "rim")


def test_a_rod_that_hangs_with_the_anode_does_little_and_one_of_its_own_evens_the_cup() -> None:
    """It is small, so it polarises: on the common supply it gives a few hundredths of the current."""
    with_plate = plated(rods=(Rod(piece="11", above_floor_mm=2.0),))
    assert with_plate.current_mA["rod in 11"] < 1.0
    assert with_plate.current_mA["anode"] + with_plate.current_mA["rod in 11"] == pytest.approx(
        10.0, rel=1e-5
    )
    assert with_plate.potential_V["anode"] == with_plate.potential_V["rod in 11"]
    shares = []
    for own in (5.0, 10.0):
        field = plated(rods=(Rod(piece="11", above_floor_mm=2.0, current_mA=own),))
        assert field.current_mA["rod in 11"] == pytest.approx(own, rel=1e-5)
        assert field.current_mA["11"] == pytest.approx(10.0, rel=1e-5)
        shares.append(floor_to_rim(field))
    assert floor_to_rim(plated()) < shares[0] < shares[1] < 1.0


def test_rods_share_the_start_current_as_they_share_the_main_one_and_cannot_give_more() -> None:
    stated = Plating(rods=(Rod(piece="11", current_mA=4.0),))
    assert drive_of(stated, 10.0, 10.0) == Drive(current_mA=6.0, own_mA={"rod in 11": 4.0})
    assert drive_of(stated, 5.0, 10.0) == Drive(current_mA=3.0, own_mA={"rod in 11": 2.0})
    with pytest.raises(
        PlatingError, match=r"the rods give more than the whole current \(4 mA; expected 3 mA"
    ):
        drive_of(stated, 1.5, 3.0)


def test_a_shield_holds_back_the_rim_and_one_far_off_does_nothing() -> None:
    near, far = (
        plated(shields=(Shield(piece="11", hole_mm=4.0, width_mm=14.0, above_mm=above),))
        for above in (0.5, 40.0)
    )
    assert floor_to_rim(near) > 1.02 * floor_to_rim(plated())
    assert floor_to_rim(far) == pytest.approx(floor_to_rim(plated()), rel=0.01)
    assert near.current_mA["11"] == pytest.approx(10.0, rel=1e-5)
    assert near.voltage_V > plated().voltage_V


@pytest.mark.parametrize("beside", [1.0, 6.0])
def test_a_thief_robs_current_and_hardly_evens_the_cup(beside: float) -> None:
    """What both take is the whole; at the current that the cup is left with, its profile hardly changes.

    So a ring of bare metal acts in a worked table of the literature's equations (3 mm of flange takes 64 % of
    the current; floor 0.627 of the mean with it, 0.625 without).
    """
    field = plated(thieves=(Thief(piece="11", beside_mm=beside),))
    left, taken = field.current_mA["11"], field.current_mA["thief about 11"]
    assert left + taken == pytest.approx(10.0, rel=1e-5)
    assert taken > 3.0
    alone = solve(geometry(), Electrolyte(), Drive(current_mA=left))
    assert floor_to_rim(field) == pytest.approx(floor_to_rim(alone), rel=0.02)
    assert not next(e for e in field.electrodes if e.name == "thief about 11").piece


def test_a_ring_of_wire_has_the_area_of_a_torus() -> None:
    """4 pi^2 R r."""
    field = plated(thieves=(Thief(piece="11", beside_mm=2.0, diameter_mm=2.0, above_mm=3.0),))
    assert field.area_mm2["thief about 11"] == pytest.approx(4.0 * np.pi**2 * 5.5 * 1.0, rel=0.03)
    ring = Ring((0.0, 0.0, 0.0), 5.5, 2.0)
    assert ring(np.array([[5.5, 0.0, 0.0], [0.0, 6.5, 0.0], [0.0, 5.5, 3.0]])) == pytest.approx(
        [-1.0, 0.0, 2.0]
    )


def test_a_plate_of_the_anode_has_its_size_and_a_wide_one_fills_the_side() -> None:
    """Cells in the bath are 3.2 mm wide: the edge of the plate is known to half of that."""
    plate = plated(anode=AnodePlate(width_mm=19.2, height_mm=12.8))
    assert plate.area_mm2["anode"] == pytest.approx(19.2 * 12.8, rel=0.35)
    assert plate.voltage_V > plated().voltage_V
    assert plated().area_mm2["anode"] > 1500.0


def test_a_long_tail_does_not_touch_the_anode() -> None:
    field = plated(tails=(Tail(length_mm=80.0, diameter_mm=1.2),))
    assert 0.0 < field.current_mA["tail 1"] < 10.0


def test_rods_without_room_are_refused_in_words() -> None:
    with pytest.raises(PlatingError, match="rod in 11: there is no room for the rod"):
        geometry(3.0, rods=(Rod(piece="11", diameter_mm=2.9, above_floor_mm=2.0),))
