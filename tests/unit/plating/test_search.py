"""The search by itself on invented rates, and on coarse cups with rods and further wax."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from pinseat.case.document import load_case
from pinseat.case.model import Abutment, Case
from pinseat.case.plating import Piece, Plating
from pinseat.demo.cases import write
from pinseat.errors import PlatingError
from pinseat.plating import suggest
from pinseat.plating.baths import bath_of
from pinseat.plating.field import solve
from pinseat.plating.growth import grow
from pinseat.plating.ideal import geometry_of, row_of, stands_of
from pinseat.plating.model import Drive, Electrolyte, Stage
from pinseat.plating.pieces import oval, pieces_of
from pinseat.plating.plan import aim_of, stages_of
from pinseat.plating.search import Arrangement, Leg, Trial, search
from pinseat.plating.suggest import Trials, says, suggestions, toml_of

PLAIN, WAX = Arrangement(), Arrangement(wax_mm=0.5)


def invented(one: Arrangement, current_mA: float) -> np.ndarray:
    """Floor and rim: the rim gets three times as much, until it is covered and the floor has it all."""
    return current_mA * (np.array([2.0, 0.0]) if one.wax_mm else np.array([1.0, 3.0]))


def look(
    rates: Callable[[Arrangement, float], np.ndarray], families: Any, **changed: Any
) -> tuple[Trial, ...]:
    wanted = {"mm_per_h": 1e-3, "wanted_mm": 0.3, "rim_limit_mm": 0.6, "density_limit_A_m2": 100.0}
    return search(rates, families, [5.0, 10.0], **(wanted | changed))


def test_wax_on_a_rim_that_is_thick_enough_sends_the_rest_to_the_floor() -> None:
    """By hand: 10 h at 10 mA leave rim and floor with 0.3 and 0.1 mm; 10 h more with wax give the floor 0.3.

    Without wax the floor takes 30 h, and the rim then has 0.9 mm, more than is allowed.
    """
    (best,) = look(invented, [[PLAIN], [PLAIN, WAX]])
    assert best.legs == (Leg(10.0, pytest.approx(10.0)), Leg(10.0, pytest.approx(10.0), 0.5))
    assert (best.hours, best.minimum_mm, best.rim_mm) == pytest.approx((20.0, 0.3, 0.3))
    assert (
        says(best)
        == "10 mA for 10.0 h, then cover 0.5 mm of the rim with wax and go on with 10 mA for 10.0 h"
    )
    assert look(invented, [[PLAIN]]) == ()
    assert look(invented, [[PLAIN]], rim_limit_mm=1.0, longest_h=29.0) == ()
    (plain,) = look(invented, [[PLAIN]], rim_limit_mm=1.0)
    assert (plain.hours, plain.rim_mm) == pytest.approx((30.0, 0.9))


def test_wax_waits_for_the_last_cell_too_though_nobody_reports_it() -> None:
    """The rim is in the last cell: it is held to no limit, but it is not covered while it is bare."""
    last = np.array([np.inf, 0.2])
    (best,) = look(invented, [[PLAIN, WAX]], last_mm=last)
    assert best.legs == (Leg(10.0, pytest.approx(10.0)), Leg(10.0, pytest.approx(10.0), 0.5))
    (plain,) = look(invented, [[PLAIN]], last_mm=last)
    assert (plain.hours, plain.rim_mm) == pytest.approx((30.0, 0.3))


def test_a_current_above_the_limit_anywhere_is_not_used() -> None:
    (slow,) = look(invented, [[PLAIN]], rim_limit_mm=1.0, density_limit_A_m2=20.0)
    assert slow.legs == (Leg(5.0, pytest.approx(60.0)),)
    assert look(invented, [[PLAIN]], density_limit_A_m2=1.0) == ()


def test_what_cannot_be_made_is_left_out() -> None:
    def rates(one: Arrangement, current_mA: float) -> np.ndarray:
        if one.rod_share:
            raise PlatingError("there is no room for the rod")
        return invented(one, current_mA)

    found = look(rates, [[PLAIN], [Arrangement(rod_share=0.5)]], rim_limit_mm=1.0)
    assert [trial.rod_share for trial in found] == [0.0]
    with pytest.raises(PlatingError, match="nothing to try"):
        look(rates, [])
    with pytest.raises(PlatingError, match="the rim may not even have the minimum"):
        look(rates, [[PLAIN]], rim_limit_mm=0.3)


def trials(current_mA: float = 10.0) -> Trials:
    ring = tuple((float(x), float(y)) for x, y in oval(6.0, 6.0))
    plating = Plating(
        pieces=(Piece(name="11", outline_mm=ring, depth_mm=5.0),), minimum_mm=0.15, stop_mean_mm=0.25
    )
    abutment = Abutment(tooth=11, pins=2, hole_diameter_mm=0.7, hole_depth_mm=2.0, cast_pin_diameter_mm=0.6)
    case = Case(number="invented", missing=(21,), abutments=(abutment,), plating=plating)
    pieces, bath = pieces_of(case), bath_of(plating.bath, "silver plated")
    geometry = geometry_of(pieces, plating, 0.8)
    return Trials(geometry, plating, pieces, stands_of(row_of(pieces)), bath, current_mA)


def test_rods_of_their_own_even_a_deep_cup_and_are_offered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(suggest, "STEPS", 3)
    monkeypatch.setattr(suggest, "ROD_SHARES", (0.9,))
    asked = trials()
    spread = [float(np.ptp(asked.densities(Arrangement(share), 10.0))) for share in (0.0, 0.5, 0.9)]
    assert spread[0] > spread[1] > spread[2]
    aim = aim_of(asked.plating)
    stages = stages_of(asked.plating, aim, asked.pieces, asked.bath, 10.0)
    planned = grow(asked.geometry, asked.electrolyte, stages, steps=3)
    found = suggestions(asked, aim, planned, stages)
    assert "an insulated rod in each cup" in found[0].what
    assert all(a.hours < b.hours and a.rim_mm > b.rim_mm for a, b in pairwise(found[1:]))
    assert found[0].grown
    assert all(one.minimum_mm >= 0.98 * 0.15 for one in found)


def test_covered_spots_stand_still_and_the_others_have_the_current() -> None:
    asked = trials()
    plain, wax = asked.densities(PLAIN, 10.0), asked.densities(Arrangement(wax_mm=1.5), 10.0)
    covered = wax == 0.0
    assert 0.1 < covered.mean() < 0.6
    assert wax[~covered].mean() > plain[~covered].mean()
    field = solve(asked.geometry, asked.electrolyte, Drive(current_mA=10.0))
    assert plain == pytest.approx(field.density_A_m2[field.surface.electrode == 1], rel=1e-4)
    assert np.isinf(asked.last_mm).sum() == (field.surface.band >= 0).sum()


def test_what_is_offered_can_be_put_into_the_case(tmp_path: Any) -> None:
    one = Trial(0.5, (Leg(4.0, 6.0), Leg(8.0, 5.5, 0.5)), 11.5, 0.5, 0.9, 100.0)
    write("bench", tmp_path / "bench")
    toml = tmp_path / "bench" / "case.toml"
    toml.write_text(toml.read_text(encoding="utf-8") + "\n" + toml_of(one, trials()), encoding="utf-8")
    stated = load_case(tmp_path / "bench").plating
    assert [(s.current_mA, s.hours, s.wax_mm) for s in stated.steps] == [(4.0, 6.0, 0.0), (8.0, 5.5, 0.5)]
    assert stated.rods[0].current_mA == pytest.approx(4.0)


def test_a_further_mask_in_the_growth_stops_the_rim_and_keeps_the_metal() -> None:
    """Half way through, 1.5 mm of the rim is covered: it stands still, the floor gets more than without."""
    geometry = trials().geometry
    half = Stage(4.0, Drive(current_mA=10.0))
    plain = grow(geometry, Electrolyte(), [half, half], steps=4)
    waxed = grow(geometry, Electrolyte(), [half, Stage(4.0, Drive(current_mA=10.0), wax_mm=1.5)], steps=4)
    assert geometry.zone is not None
    under = geometry.zone.from_edge_mm(waxed.surface.point) < 1.2
    deep = geometry.zone.from_edge_mm(waxed.surface.point) > 2.5
    middle = int(np.argmin(np.abs(waxed.hours - 4.0)))
    assert waxed.thickness_mm[-1][under] == pytest.approx(waxed.thickness_mm[middle][under])
    assert waxed.thickness_mm[-1][deep].mean() > 1.1 * plain.thickness_mm[-1][deep].mean()
    assert waxed.charge_C == pytest.approx(plain.charge_C, rel=1e-4)
    assert waxed.grown_mm3 == pytest.approx(waxed.expected_mm3, rel=2e-3)
