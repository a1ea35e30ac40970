"""The film while it is bare: how far metal gets by each look, and what is coated again."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from pinseat.case.model import Abutment, Case
from pinseat.case.plating import Piece, Plating, Step
from pinseat.plating.baths import bath_of
from pinseat.plating.checks import bare_finding
from pinseat.plating.covering import MOST, Round, covering
from pinseat.plating.ideal import geometry_of
from pinseat.plating.model import Drive, Geometry
from pinseat.plating.pieces import pieces_of
from pinseat.plating.plan import electrolyte_of, stages_of
from pinseat.plating.programme import programme
from pinseat.plating.solve import filmed
from pinseat.plating.step import by_areas


def case(**plating: object) -> Case:
    abutment = Abutment(tooth=11, pins=2, hole_diameter_mm=0.7, hole_depth_mm=2.0, cast_pin_diameter_mm=0.6)
    pieces = (Piece(name="one", area_mm2=90, depth_mm=4.0),)
    return Case(
        number="invented", missing=(21,), abutments=(abutment,), plating=Plating(pieces=pieces, **plating)
    )


BATH = bath_of(Plating().bath, "silver plated")


def cup(film_ohm: float) -> Geometry:
    """A cup whose lead touches one side of its rim."""
    one = case()
    plain = geometry_of(pieces_of(one), one.plating, 0.8)
    return filmed(plain, film_ohm, {"one": np.array([4.0, 0.0, 0.0])})


def rounds(film_ohm: float, current_mA: float = 5.0, hours: float = 1.0) -> tuple[Round, ...]:
    return covering(cup(film_ohm), electrolyte_of(BATH), Drive(current_mA=current_mA), hours)


def test_a_film_that_conducts_is_covered_by_the_first_look_and_good_metal_has_none() -> None:
    assert rounds(0.0) == ()
    (only,) = rounds(1.0)
    assert only.bare_percent < 1.0
    one = bare_finding((only,))
    assert one is not None
    assert one.verdict == "clear"


def test_a_poor_film_stays_bare_far_from_the_lead_and_metal_creeps_on_with_each_coat() -> None:
    found = rounds(300.0, hours=0.15)
    bare = [one.bare_percent for one in found]
    assert bare[0] > 50.0
    assert len(bare) >= 2
    assert all(a > b for a, b in pairwise(bare))
    assert found[0].where == ("one",)
    assert found[0].bare_mm2 == pytest.approx(0.01 * bare[0] * 90.0, rel=0.1)
    assert rounds(300.0, hours=0.25)[0].bare_percent < bare[0]


def test_a_film_ten_times_poorer_still_converges_and_leaves_more_bare() -> None:
    """Nearly all of the current enters at the lead then; it is raised to its value in steps."""
    poor, worse = rounds(1000.0)[0], rounds(3000.0)[0]
    assert 1.0 < poor.bare_percent < worse.bare_percent < 100.0


def test_by_faraday_nothing_can_be_covered_before_its_metal_has_flowed() -> None:
    """2 um on 90 mm2 are 0.18 mm3 of silver, half of 1 mAh: with a fifth of that all but a little is bare."""
    found = rounds(30.0, hours=0.02)
    assert len(found) == MOST
    assert found[0].bare_percent > 80.0


def test_bare_film_is_coated_again_in_the_programme_and_told() -> None:
    plated = by_areas(case(film_ohm=300.0))
    again = (Round(1.0, 12.0, 13.0, ("one",)), Round(1.0, 0.2, 0.2, ()))
    planned = programme(case(), replace(plated, covering=again), ())
    assert " ".join(row.what for row in planned.rows) == "start look start look main look main stop"
    assert "about 12 mm² on one will be bare" in planned.rows[1].do
    once = programme(case(), plated, ())
    assert planned.hours - once.hours == pytest.approx(
        0.5
    )  # half of the hour's charge is made up by the main
    assert sum(r.charge_mAh for r in planned.rows) == pytest.approx(sum(r.charge_mAh for r in once.rows))
    told = bare_finding(again)
    assert told is not None
    assert (told.verdict, told.value, told.limit) == ("caution", 13.0, 1.0)
    stays = bare_finding((Round(1.0, 12.0, 13.0, ("one",)),) * 3)
    assert stays is not None
    assert stays.verdict == "stop"


def test_stated_steps_are_the_programme_and_the_stages() -> None:
    steps = (Step(current_mA=6, hours=4), Step(current_mA=12, hours=5, wax_mm=0.5))
    one = case(steps=steps)
    plated = by_areas(one)
    planned = programme(one, plated, ())
    currents = [(row.current_mA, row.hours) for row in planned.rows if row.current_mA]
    assert currents == [(3.0, 1.0), (6.0, 4.0), (12.0, 5.0)]
    assert planned.hours == 10.0
    assert "cover 0.5 mm of the rim with wax" in planned.rows[-2].do
    charge_mAh = 3.0 + 24.0 + 60.0
    assert plated.aim.mean_mm == pytest.approx(charge_mAh * BATH.growth_mm3_mAh / 90.0)
    stages = stages_of(one.plating, plated.aim, pieces_of(one), BATH, plated.pool.current_mA)
    assert [stage.wax_mm for stage in stages] == [0.0, 0.0, 0.5]
    assert sum(s.hours * (s.drive.current_mA or 0.0) for s in stages) == pytest.approx(charge_mAh)
