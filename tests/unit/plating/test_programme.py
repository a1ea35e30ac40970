"""The programme by the plan and by the log, and every question that is asked."""

from datetime import timedelta, timezone
from typing import Any

import pytest

from pinseat.case.log import Entry
from pinseat.case.model import Abutment, Case, Chain
from pinseat.case.plating import Bath, Piece, Plating
from pinseat.errors import PlatingError
from pinseat.ledger.findings import Finding
from pinseat.plating.charge import SWITCHED_OFF
from pinseat.plating.programme import programme
from pinseat.plating.result import PlatingResult, ProgrammeResult
from pinseat.plating.step import by_areas

from .test_charge import at

ZONE = timezone(timedelta(hours=1))


def case(die: Any = "silver plated", **plating: Any) -> Case:
    pieces = (
        *(Piece(tooth=t, area_mm2=a) for t, a in ((11, 74), (12, 58), (22, 66), (23, 91))),
        Piece(name="saddle 21", preparation="saddle", area_mm2=47),
    )
    abutment = Abutment(tooth=11, pins=2, hole_diameter_mm=0.7, hole_depth_mm=2.0, cast_pin_diameter_mm=0.6)
    given = {"pieces": pieces, "mean_mm": 0.6, "bath": Bath(efficiency_percent=97), **plating}
    return Case(
        number="invented-5",
        missing=(21,),
        abutments=(abutment,),
        chain=Chain(die=die),
        plating=Plating(**given),
    )


def both(*entries: Entry, **plating: Any) -> tuple[PlatingResult, ProgrammeResult]:
    one = case(**plating)
    plated = by_areas(one)
    return plated, programme(one, plated, entries, ZONE)


def found(findings: tuple[Finding, ...], code: str) -> Finding:
    (one,) = [f for f in findings if f.code == code]
    return one


def test_the_plan_puts_the_whole_charge_in() -> None:
    """By hand: 541.7 mAh; the first hour at 25 mA leaves 516.7 for 50 mA: 10.33 h, 11.33 h in all."""
    plated, planned = both()
    assert plated.pool.current_mA == 50.0
    assert sum(row.charge_mAh for row in planned.rows) == pytest.approx(541.7, abs=0.2)
    assert planned.hours == pytest.approx(11.33, abs=0.01)
    assert [row.what for row in planned.rows] == ["start", "look", "main", "look", "main", "stop"]
    assert planned.finish is None
    assert planned.remaining_h[0] <= plated.pool.hours <= planned.remaining_h[1]


def test_it_warns_that_a_mean_is_no_minimum_and_shares_by_area() -> None:
    plated, _ = both()
    assert found(plated.findings, "plating.mean").verdict == "caution"
    split = found(plated.findings, "plating.split")
    assert "0.44 to 0.86 mm" in split.says
    assert "the thinnest spots have less" in split.says
    assert "11 11.0, 12 8.6, 22 9.8, 23 13.5, saddle 21 7.0" in split.do


def test_a_current_above_the_bath_stops_with_the_one_that_may_be_set() -> None:
    """By hand: 50 mA on each of five; 47 mm2 at 2 A/dm2 may have 9.4 mA, all together 47."""
    plated, _ = both(current_mA=250)
    stops = [f for f in plated.findings if f.code == "plating.density"]
    assert {f.verdict for f in stops} == {"stop"}
    assert len(stops) == 5
    assert all("at most 47 mA" in f.do for f in stops)
    only = found(both(current_mA=40)[0].findings, "plating.density")
    assert only.verdict == "clear"


def test_a_start_in_the_afternoon_is_slowed_to_the_morning() -> None:
    _, planned = both(start="2026-03-02 16:00", unstaffed=("20:00-07:30",))
    assert planned.finish is not None
    assert planned.finish.end == "2026-03-03 07:30"
    assert not planned.finish.alone
    assert sum(row.charge_mAh for row in planned.rows) == pytest.approx(541.7, abs=0.2)
    assert planned.finish.changed
    assert [f for f in planned.findings if f.code == "plating.unstaffed"] == []
    assert planned.starts == ("07:30 to 08:35",)  # 20:00 less 11.334 h, down to five minutes


def test_the_log_moves_the_end() -> None:
    """By hand: 2 h at 25 mA and 2 h at 50 leave 391.7 mAh, 7.8 h; the wall is an hour ahead of UTC."""
    _, planned = both(at(0, current=25), at(2, current=25), at(2, current=50), at(4, current=50))
    assert planned.log.charge.low_mAh == pytest.approx(150.0)
    low, high = planned.remaining_h
    assert low <= 391.7 / 50 <= high
    assert planned.finish is not None
    assert planned.finish.start == "2026-03-02 16:00"
    assert planned.ends[0] <= "2026-03-03 03:50" <= planned.ends[1]


def test_while_it_is_off_there_is_no_end() -> None:
    _, planned = both(at(0, current=50), at(2, seen=SWITCHED_OFF))
    assert planned.ends == ()
    assert planned.remaining_h[1] > 0.0


def weighed(gained_g: float) -> ProgrammeResult:
    entries = [at(0, weight_before=40.0), *(at(h, current=50) for h in (0, 2, 4, 6, 8, 10))]
    return both(*entries, at(10.834, seen=SWITCHED_OFF), at(11, weight_after=40.0 + gained_g))[1]


def test_too_little_metal_is_asked_about_and_both_answers_are_kept_open() -> None:
    planned = weighed(1.65)
    asked = found(planned.findings, "plating.balance")
    assert asked.verdict == "cannot tell"
    assert "off for 2.4 h" in asked.says
    assert "11 mA went elsewhere" in asked.says
    assert asked.do.startswith("which was it?")
    low, high = planned.remaining_h
    assert high > low
    assert found(weighed(2.10).findings, "plating.balance").verdict == "clear"
    assert "more metal" in found(weighed(2.6).findings, "plating.balance").says


@pytest.mark.parametrize(
    ("entries", "code", "verdict", "says"),
    [
        (
            [at(0, current=50), at(2, current=50), at(0.5, current=50)],
            "plating.clock",
            "cannot tell",
            "jumped back",
        ),
        ([at(0, current=50), at(8, current=0)], "plating.outage", "cannot tell", "0 to 400 mAh"),
        ([at(0, current=50), at(8, current=50)], "plating.gap", "caution", "400 mAh are counted"),
        (
            [at(0, weight_before=40), at(1, weight_after=39)],
            "plating.weight",
            "cannot tell",
            "less than the one before",
        ),
        ([at(0, current=50), at(1, seen="bare")], "plating.seen", "caution", "found it bare"),
        (
            [at(0, current=50, voltage=0.4), at(2, current=50, voltage=0.6)],
            "plating.voltage",
            "caution",
            "0.40 to",
        ),
        ([at(0, current=50, temperature=18)], "plating.temperature", "caution", "colder than the map"),
        ([at(0, current=50), at(1, seen="torn", piece="12")], "plating.seen", "stop", "found it torn"),
    ],
)
def test_what_the_log_shows_is_told(entries: list[Entry], code: str, verdict: str, says: str) -> None:
    one = found(both(*entries)[1].findings, code)
    assert one.verdict == verdict
    assert says in one.says
    assert one.do


def test_a_voltage_that_rose_with_the_current_and_a_warm_room_are_no_news() -> None:
    _, planned = both(
        at(0, current=25, voltage=0.3, temperature=23), at(2, current=50, voltage=0.5, temperature=27)
    )
    assert not {"plating.voltage", "plating.temperature"} & {f.code for f in planned.findings}


def test_a_look_that_was_put_right_is_no_longer_told() -> None:
    _, planned = both(at(0, current=25), at(1, seen="bare"), at(2, seen="covered"))
    assert [f.code for f in planned.findings if f.code == "plating.seen"] == []


def test_an_end_in_the_night_by_the_log() -> None:
    _, planned = both(at(0, current=50), at(1, current=50), unstaffed=("20:00-07:30",))
    assert found(planned.findings, "plating.unstaffed").verdict == "caution"


def test_dies_that_are_not_plated_and_baths_of_the_wrong_metal() -> None:
    with pytest.raises(
        PlatingError, match=r"this die is not plated \(gypsum; expected silver plated or copper"
    ):
        by_areas(case("gypsum"))
    wrong = by_areas(case("copper plated", bath=Bath(name="silver cyanide")))
    assert found(wrong.findings, "plating.metal").verdict == "stop"


@pytest.mark.parametrize(
    ("name", "code"), [("silver cyanide", "plating.cyanide"), ("acid copper", "plating.acid")]
)
def test_hazards_stand_where_the_bath_is_chosen(name: Any, code: str) -> None:
    plated = by_areas(
        case("copper plated" if name == "acid copper" else "silver plated", bath=Bath(name=name))
    )
    assert found(plated.findings, code).verdict == "caution"
    default = by_areas(case(bath=Bath()))
    assert not {"plating.cyanide", "plating.acid"} & {f.code for f in default.findings}


def test_a_bath_that_nobody_measured_cannot_be_told() -> None:
    assert found(both()[0].findings, "plating.unknown_bath").verdict == "cannot tell"
    known = both(bath=Bath(exchange_current_A_m2=8))[0]
    assert "plating.unknown_bath" not in {f.code for f in known.findings}
