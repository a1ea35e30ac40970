"""Five pieces, an ammeter and a clock: what the bench has to be told."""

import pytest

from pinseat.case.model import Abutment, Case
from pinseat.case.plating import Bath, Piece, Plating
from pinseat.plating.baths import bath_of
from pinseat.plating.pieces import pieces_of
from pinseat.plating.shares import pool


def five() -> Case:
    pieces = (
        *(Piece(tooth=t, area_mm2=a) for t, a in ((11, 74), (12, 58), (22, 66), (23, 91))),
        Piece(name="saddle 21", preparation="saddle", area_mm2=47),
    )
    abutments = (
        Abutment(tooth=11, pins=2, hole_diameter_mm=0.7, hole_depth_mm=2.0, cast_pin_diameter_mm=0.6),
    )
    plating = Plating(pieces=pieces, mean_mm=0.60, bath=Bath(efficiency_percent=97))
    return Case(number="invented-5", missing=(21,), abutments=abutments, plating=plating)


def test_ten_milliamperes_a_piece_and_what_becomes_of_it() -> None:
    """By hand: 336 mm2 x 0.60 mm is 201.6 mm3 of silver, 2.11 g; 50 mA at 97 % give 18.61 mm3/h."""
    case = five()
    bath = bath_of(case.plating.bath, case.chain.die)
    whole, shares = pool(pieces_of(case), bath, 50.0, 0.60)
    assert whole.area_mm2 == pytest.approx(336.0)
    assert whole.hours == pytest.approx(10.8, abs=0.05)
    assert whole.mass_g == pytest.approx(2.11, abs=0.005)
    means = [share.mean_mm for share in shares]
    assert min(means) == pytest.approx(0.44, abs=0.005)
    assert max(means) == pytest.approx(0.86, abs=0.005)
    alone = [share.hours_alone for share in shares]
    assert min(alone) == pytest.approx(7.6, abs=0.05)
    assert max(alone) == pytest.approx(14.7, abs=0.05)
    assert sum(share.even_mA for share in shares) == pytest.approx(50.0)
    assert all(share.even_mA / share.area_mm2 == pytest.approx(50 / 336) for share in shares)
