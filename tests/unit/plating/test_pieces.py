"""Pieces without a scan, and the bath they hang in."""

import math
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.case.model import Abutment, Case
from pinseat.case.plating import Bath as StatedBath
from pinseat.case.plating import BathName, Piece, Plating, Preparation
from pinseat.plating.baths import STATED, bath_of
from pinseat.plating.pieces import Form, area_of, perimeter_of, pieces_of


def case(*pieces: Piece, missing: tuple[int, ...] = (21,)) -> Case:
    abutments = tuple(
        Abutment(tooth=t, pins=1, hole_diameter_mm=0.7, hole_depth_mm=2.0, cast_pin_diameter_mm=0.6)
        for t in (11, 22)
    )
    return Case(number="invented", missing=missing, abutments=abutments, plating=Plating(pieces=pieces))


@given(st.floats(5.0, 500.0), st.sampled_from(["cup", "saddle"]), st.one_of(st.none(), st.floats(0.0, 3.0)))
def test_a_stated_area_is_the_area_of_the_cup(area: float, form: Form, depth: float | None) -> None:
    preparation: Preparation = "saddle" if form == "saddle" else "full crown"
    (piece,) = pieces_of(case(Piece(name="x", area_mm2=area, preparation=preparation, depth_mm=depth)))
    assert piece.form == form
    own = area_of(piece.outline_mm) + perimeter_of(piece.outline_mm) * piece.depth_mm
    assert own == pytest.approx(area, rel=1e-9)
    if depth is not None:
        assert piece.depth_mm == depth


@given(st.integers(0, 3), st.booleans(), st.floats(-20.0, 20.0), st.floats(0.0, 6.3))
def test_a_ruler_may_start_at_any_corner_and_lie_anywhere(
    first: int, turned: bool, shift: float, angle: float
) -> None:
    """By hand: 6 by 4 mm, 2 mm deep: 24 mm2 of floor and 40 mm2 of wall."""
    corners = np.array([[0.0, 0.0], [6.0, 0.0], [6.0, 4.0], [0.0, 4.0]])
    corners = np.roll(corners[::-1] if turned else corners, first, axis=0)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    moved = corners @ turn.T + shift
    outline = tuple((float(x), float(y)) for x, y in moved)
    (piece,) = pieces_of(case(Piece(name="inlay", outline_mm=outline, depth_mm=2.0)))
    assert piece.area_mm2 == pytest.approx(64.0)
    assert area_of(piece.outline_mm) == pytest.approx(24.0)
    assert piece.outline_mm.mean(axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)
    assert piece.u_area_mm2 > 0.0


def test_without_a_word_on_plating_abutments_and_ridges_are_plated() -> None:
    pieces = pieces_of(case(missing=(12, 21, 23, 24)))
    assert [(p.name, p.form) for p in pieces] == [
        ("11", "cup"),
        ("22", "cup"),
        ("ridge 12", "saddle"),
        ("ridge 21", "saddle"),
        ("ridge 23 to 24", "saddle"),
    ]
    assert all(10.0 < p.area_mm2 < 200.0 and p.u_area_mm2 > 0.0 for p in pieces)


def test_a_ridge_over_the_middle_line_is_one() -> None:
    assert [p.name for p in pieces_of(case(missing=(12, 21))) if p.form == "saddle"] == [
        "ridge 12",
        "ridge 21",
    ]
    lower = case(missing=(31, 41)).model_copy(update={"missing": (31, 41, 42)})
    assert [p.name for p in pieces_of(lower) if p.form == "saddle"] == ["ridge 42 to 31"]


@pytest.mark.parametrize("cut", ["pin ledge", "three-quarter crown", "full crown", "inlay"])
def test_every_preparation_of_every_tooth_has_a_size(cut: Preparation) -> None:
    for tooth in (13, 16, 21, 34, 46):
        (piece,) = pieces_of(case(Piece(tooth=tooth, preparation=cut)))
        assert 15.0 < piece.area_mm2 < 400.0


def test_a_deeper_cut_has_more_metal() -> None:
    shallow, deep = (pieces_of(case(Piece(tooth=11, depth_mm=d)))[0].area_mm2 for d in (1.0, 3.0))
    assert deep > shallow


@pytest.mark.parametrize("name", get_args(BathName))
def test_every_bath_says_where_its_numbers_come_from(name: str) -> None:
    bath = bath_of(StatedBath(name=name), "silver plated")  # type: ignore[arg-type]
    assert set(bath.basis) == {"conductivity", "exchange", "efficiency", "limit", "temperature"}
    low, high = bath.exchange_range_A_m2
    assert low < bath.exchange_A_m2 < high
    assert 0.0 < bath.efficiency <= 1.0
    assert bath.limiting_A_m2 > 10.0


def test_the_default_is_never_the_one_with_cyanide() -> None:
    assert bath_of(StatedBath(), "silver plated").name == "silver cyanide-free"
    assert bath_of(StatedBath(), "copper plated").name == "acid copper"


def test_what_is_stated_takes_the_place_of_what_is_assumed() -> None:
    bath = bath_of(
        StatedBath(
            conductivity_S_m="12,5",
            exchange_current_A_m2=7,
            efficiency_percent=97,
            density_limit_A_dm2=1.5,
            temperature_degC=24,
        ),
        "silver plated",
    )
    assert (bath.conductivity_S_m, bath.efficiency, bath.density_limit_A_m2) == (12.5, 0.97, 150.0)
    assert bath.exchange_range_A_m2 == (7.0, 7.0)
    assert set(bath.basis.values()) == {STATED}
    assert bath.u_efficiency == 0.0


def test_a_mouth_that_looks_down_starves_the_metal() -> None:
    up, down = (bath_of(StatedBath(), "silver plated", mouth=m).limiting_A_m2 for m in ("up", "down"))
    assert down < up
