"""Which readings to take, which to take next, and which cannot be true."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinseat.case.model import Case, Reading
from pinseat.errors import SurveyError
from pinseat.survey.callipers import network, sights, solve
from pinseat.survey.contradictions import contradictions, mirrored, missing, solve_or_name
from pinseat.survey.observability import bench_of, faults_of, information, inverse, possible_readings
from pinseat.survey.plan import ReadingPlan, Step, best_after, plan

PAIR = {"11-1": (0.0, 0.0), "22-1": (18.4, 0.0)}
THREE = {"11-1": (-2.0, 1.2), "11-2": (0.4, -2.6), "22-1": (13.8, 0.2)}
ROW = {"11-1": (0.0, 0.0), "11-2": (4.0, 0.0), "22-1": (18.0, 0.0)}


def bench(feet: dict[str, tuple[float, float]], clearance_mm: float = 0.10, u_layout_mm: float = 0.5) -> Case:
    """Guide pins of 8 mm in holes 2.5 mm deep."""
    teeth = list(dict.fromkeys(int(name[:2]) for name in feet))
    abutments = [
        {
            "tooth": tooth,
            "pins": sum(name.startswith(str(tooth)) for name in feet),
            "hole_diameter_mm": 0.7,
            "hole_depth_mm": 2.5,
            "cast_pin_diameter_mm": 0.7 - clearance_mm,
        }
        for tooth in teeth
    ]
    layout = [
        {"tooth": int(n[:2]), "number": int(n[3:]), "x_mm": x, "y_mm": y, "guide_length_mm": 8.0}
        for n, (x, y) in feet.items()
    ]
    callipers = {"layout": layout, "u_layout_mm": u_layout_mm}
    return Case.model_validate(
        {"number": "T-2", "missing": [21], "abutments": abutments, "callipers": callipers}
    )


def as_read(steps: tuple[Step, ...] | list[Step], off_mm: float = 0.0) -> tuple[Reading, ...]:
    """Each step taken twice, and found as expected."""
    return tuple(
        Reading(kind=s.kind, pins=s.pins, mm=(s.expected_mm + off_mm,) * 2, u_mm=0.02) for s in steps
    )


def u_deg(case: Case, readings: tuple[Reading, ...]) -> dict[str, float]:
    """What the readings leave, by the solver itself."""
    _, net, play = bench_of(case)
    return {one.words: one.u_deg for one in sights(net, solve(net, readings), play)}


def taken_away(made: ReadingPlan, k: int) -> tuple[Reading, ...]:
    return as_read([step for i, step in enumerate(made.steps) if i != k])


@pytest.mark.parametrize("feet", [PAIR, THREE, ROW])
def test_what_a_plan_promises_is_what_the_solver_gives(feet) -> None:
    case = bench(feet)
    made = plan(case)
    found = u_deg(case, as_read(made.steps))
    for one in made.outlook:
        assert found[one.words] == pytest.approx(one.u_after_deg, rel=1e-3)
        assert u_deg(case, ())[one.words] == pytest.approx(one.u_before_deg, rel=1e-6)


@pytest.mark.parametrize("feet", [PAIR, THREE, ROW])
def test_no_reading_of_a_plan_is_idle(feet) -> None:
    case = bench(feet)
    made = plan(case)
    for k, step in enumerate(made.steps):
        assert u_deg(case, taken_away(made, k))[step.shows] == pytest.approx(step.u_before_deg, rel=1e-3)
        assert step.u_before_deg > step.u_after_deg
        lost = [one for one in made.outlook if u_deg(case, taken_away(made, k))[one.words] > one.needed_deg]
        unseen = [one for one in made.outlook if not one.seen]
        assert len(lost) > len(unseen) or step.u_before_deg > 1.1 * step.u_after_deg


def test_two_pins_need_two_readings_and_stay_blind_across_their_line() -> None:
    made = plan(bench(PAIR))
    assert [(step.kind, step.pins) for step in made.steps] == [
        ("base", ("11-1", "22-1")),
        ("tip", ("11-1", "22-1")),
    ]
    assert [step.expected_mm for step in made.steps] == pytest.approx([18.4, 18.4])
    by_height = 2.0 * 1.5**2 / (2.0 * 18.4)
    assert made.steps[0].u_expected_mm == pytest.approx(math.hypot(math.sqrt(0.5), by_height), rel=0.01)
    assert [one.words for one in made.unseen] == ["splay across the line of pins 11-1 and 22-1"]
    assert "photograph" in made.unseen[0].do
    play = 2.0 * math.atan(0.1 / 2.4)
    second_order_um = 1e3 * (8.0 * math.tan(play)) ** 2 / (2.0 * 18.4)
    assert f"{second_order_um:.1f} um" in made.unseen[0].why


def test_pins_in_a_row_stay_blind_across_it() -> None:
    assert {one.words for one in plan(bench(ROW)).unseen} == {
        f"splay across the line of pins {a} and {b}" for a, b in combinations(ROW, 2)
    }


def test_three_pins_are_blind_to_a_spiral_until_ends_are_held_against_feet() -> None:
    case = bench(THREE)
    _, net, play = bench_of(case)
    faults, could = faults_of(net, play), possible_readings(net)
    feet = net.prior.reshape(-1, 5)[:, :2]
    spiral = np.zeros(15)
    middle = feet - feet.mean(axis=0)
    spiral.reshape(-1, 5)[:, 3:] = np.column_stack([-middle[:, 1], middle[:, 0]]) / 10.0
    own = np.array([kind != "tip to base" for kind in could.kinds])
    assert abs(could.rows[own] @ spiral).max() < 1e-12
    assert abs(could.rows[~own] @ spiral).max() > 1.0
    only = u_deg(case, as_read([s for s in plan(case).steps if s.kind != "tip to base"]))
    assert max(u / n for u, n in zip(only.values(), np.degrees(faults.needed), strict=True)) > 1.0
    made = plan(case)
    assert "spiral" in made.note
    assert made.unseen == ()
    assert all(one.seen for one in made.outlook)


def test_a_tight_fit_says_how_long_the_guide_pins_would_have_to_be() -> None:
    made = plan(bench(PAIR, clearance_mm=0.008))
    along = next(one for one in made.unseen if " along " in one.words)
    longer = 8.0 * made.outlook[0].u_after_deg / made.outlook[0].needed_deg
    assert 8.0 < longer < 12.0
    assert f"guide pins of about {math.ceil(longer)} mm" in along.do


def test_a_poor_layout_still_gets_a_plan() -> None:
    assert len(plan(bench(PAIR, u_layout_mm=4.9)).steps) == 2


@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    turn=st.floats(0.0, 6.2),
    shift=st.tuples(st.floats(-20.0, 20.0), st.floats(-20.0, 20.0)),
)
def test_turning_and_moving_the_layout_changes_nothing(turn, shift) -> None:
    c, s = math.cos(turn), math.sin(turn)
    moved = {n: (c * x - s * y + shift[0], s * x + c * y + shift[1]) for n, (x, y) in THREE.items()}
    first, second = plan(bench(THREE)), plan(bench(moved))
    assert [(s.kind, s.pins) for s in first.steps] == [(s.kind, s.pins) for s in second.steps]
    for a, b in zip(first.outlook, second.outlook, strict=True):
        assert a.u_after_deg == pytest.approx(b.u_after_deg, rel=1e-6)


def test_what_was_taken_is_not_planned_again() -> None:
    case = bench(THREE)
    whole = plan(case)
    left = plan(case, as_read(whole.steps[:4]))
    assert len(left.steps) == len(whole.steps) - 4
    assert not {(s.kind, s.pins) for s in left.steps} & {(s.kind, s.pins) for s in whole.steps[:4]}
    assert plan(case, as_read(whole.steps)).steps == ()


def next_best(case: Case, readings: Sequence[Reading]) -> Step | None:
    callipers, net, play = bench_of(case)
    return best_after(callipers, net, play, readings, solve(net, readings))


def test_next_best_narrows_more_than_any_other_reading() -> None:
    case = bench(THREE)
    so_far = as_read([s for s in plan(case).steps if s.kind == "base"])
    step = next_best(case, so_far)
    assert step is not None
    before = u_deg(case, so_far)[step.shows]
    _, net, _ = bench_of(case)
    could = possible_readings(net)
    after = [
        u_deg(case, (*so_far, Reading(kind=k, pins=p, mm=(float(mm),) * 2, u_mm=0.02)))[step.shows]
        for k, p, mm in zip(could.kinds, could.pins, could.expected_mm, strict=True)
    ]
    assert step.u_before_deg == pytest.approx(before, rel=1e-3)
    assert step.u_after_deg == pytest.approx(min(after), rel=1e-3)


def test_next_best_may_be_the_same_reading_again() -> None:
    case = bench(PAIR, clearance_mm=0.015)
    base, tip = as_read(plan(case).steps)
    near_the_limit = (base, tip.model_copy(update={"mm": (18.47, 18.47)}))
    step = next_best(case, near_the_limit)
    assert step is not None
    assert step.shows == "splay along the line of pins 11-1 and 22-1"
    assert (step.kind, step.pins) in [("base", ("11-1", "22-1")), ("tip", ("11-1", "22-1"))]
    assert step.u_after_deg == pytest.approx(math.sqrt(0.75) * step.u_before_deg, rel=0.01)


def test_readings_that_only_tell_together_are_begun_with_the_first() -> None:
    case = bench(THREE)
    so_far = as_read([s for s in plan(case).steps if s.kind != "tip to base"])
    step = next_best(case, so_far)
    assert step is not None
    assert (step.kind, step.shows) == ("tip to base", "splay across the line of pins 11-1 and 22-1")
    now, whole = u_deg(case, so_far)[step.shows], u_deg(case, as_read(plan(case).steps))[step.shows]
    assert step.u_before_deg == pytest.approx(now, rel=1e-3)
    assert step.u_after_deg == pytest.approx(whole, rel=1e-3)


def test_a_poor_layout_begins_with_the_feet() -> None:
    step = next_best(bench(PAIR, u_layout_mm=4.9), ())
    assert step is not None
    assert step.kind == "base"


def test_nothing_is_next_when_nothing_would_help() -> None:
    case = bench(PAIR)
    assert next_best(case, as_read(plan(case).steps)) is None


def test_missing_readings_are_counted_and_named() -> None:
    case = bench(THREE)
    whole = plan(case)
    found = missing(plan(case, as_read(whole.steps[:7])), 7)
    assert found is not None
    assert (found.code, found.verdict) == ("survey.readings", "cannot tell")
    assert (found.value, found.limit) == (7.0, float(len(whole.steps)))
    assert found.do.startswith("take 2 more, each twice: ")
    assert all(step.words in found.do for step in whole.steps[7:])
    assert missing(plan(case, as_read(whole.steps)), 9) is None


def asked(case: Case, readings: tuple[Reading, ...]):  # type: ignore[no-untyped-def]
    assert case.callipers is not None
    net = network(case.callipers)
    return contradictions(net, readings, solve(net, readings))


def test_readings_that_agree_are_not_asked_about() -> None:
    case = bench(THREE)
    assert asked(case, as_read(plan(case).steps)) == []


def test_a_reading_longer_than_the_way_round_is_impossible() -> None:
    readings = (
        Reading(kind="base", pins=("11-1", "11-2"), mm=(4.0, 4.01), u_mm=0.02),
        Reading(kind="base", pins=("11-2", "22-1"), mm=(14.0, 14.01), u_mm=0.02),
        Reading(kind="base", pins=("11-1", "22-1"), mm=(19.2, 19.21), u_mm=0.02),
    )
    found = asked(bench(ROW), readings)
    assert [(one.code, one.verdict) for one in found] == [("survey.reading", "stop")]
    assert found[0].value == pytest.approx(19.205)
    assert found[0].limit == pytest.approx(18.01)
    assert found[0].says.startswith("No pins can stand so")
    assert found[0].do.startswith("take the reading between the feet of pins 11-1 and 22-1 again")


def test_the_way_round_may_go_along_a_guide_pin_and_an_error_names_it() -> None:
    readings = (
        Reading(kind="base", pins=("11-1", "22-1"), mm=(18.4,), u_mm=0.02),
        Reading(kind="tip to base", pins=("11-1", "22-1"), mm=(27.0,), u_mm=0.02),
    )
    with pytest.raises(SurveyError, match="No pins can stand so") as error:
        solve_or_name(network(bench(PAIR).callipers), readings)  # type: ignore[arg-type]
    assert "27.00 mm" in error.value.value
    assert error.value.limit.startswith("at most 26.40 mm")
    assert "from the free end of pin 11-1 to the foot of pin 22-1" in error.value.do


def test_a_slip_that_breaks_no_triangle_is_named_when_the_others_can_speak_against_it() -> None:
    case = bench(THREE)
    _, net, _ = bench_of(case)
    could = possible_readings(net)
    readings = [
        Reading(kind=kind, pins=pins, mm=(float(mm),), u_mm=0.02)
        for kind, pins, mm in zip(could.kinds, could.pins, could.expected_mm, strict=True)
    ]
    readings[4] = readings[4].model_copy(update={"mm": (readings[4].mm[0] + 1.0,)})
    found = asked(case, tuple(readings))
    assert [one.verdict for one in found] == ["stop"]
    assert found[0].where == "reading between the free ends of pins 11-1 and 22-1"


@pytest.mark.parametrize(
    ("repeats", "odd"), [((18.42, 21.42), "21.42"), ((18.42, 18.44, 18.60), "18.60"), ((18.40, 18.60), "")]
)
def test_repeats_that_differ_name_the_odd_one_when_it_can_be_known(repeats, odd) -> None:
    readings = (
        Reading(kind="base", pins=("11-1", "22-1"), mm=repeats, u_mm=0.02),
        Reading(kind="tip", pins=("11-1", "22-1"), mm=(18.42, 18.42), u_mm=0.02),
    )
    found = [one for one in asked(bench(PAIR), readings) if one.code == "survey.repeat"]
    assert len(found) == 1
    assert (f"strike {odd} mm" if odd else "strike the one that was wrong") in found[0].do


def test_repeats_within_their_uncertainty_pass() -> None:
    reading = Reading(kind="base", pins=("11-1", "22-1"), mm=(18.40, 18.44), u_mm=0.02)
    assert asked(bench(PAIR), (reading,)) == []


def thin_triangle(middle_y_mm: float) -> tuple[Case, tuple[Reading, ...]]:
    """Readings of three pins of which the middle one stands 1 mm to the lip and leans 3 degrees that way."""
    case = bench({"11-1": (0.0, 0.0), "11-2": (4.0, middle_y_mm), "22-1": (12.0, 0.0)})
    _, net, _ = bench_of(case)
    state = np.zeros(15)
    state.reshape(-1, 5)[:, :2] = [(0.0, 0.0), (4.0, 1.0), (12.0, 0.0)]
    state[9] = math.tan(math.radians(3.0))
    could = possible_readings(net, state)
    return case, tuple(
        Reading(kind=kind, pins=pins, mm=(float(mm),) * 2, u_mm=0.02)
        for kind, pins, mm in zip(could.kinds, could.pins, could.expected_mm, strict=True)
    )


def test_a_thin_triangle_that_fits_both_ways_is_asked_about() -> None:
    case, readings = thin_triangle(0.2)
    _, net, play = bench_of(case)
    found = mirrored(net, solve(net, readings), play)
    assert found is not None
    assert (found.code, found.where, found.verdict) == ("survey.mirror", "pin 11-2", "cannot tell")
    assert abs(found.value) > found.limit > 0.0  # type: ignore[operator,arg-type]


def test_a_layout_that_tells_the_sides_apart_is_not_asked_about() -> None:
    case, readings = thin_triangle(2.0)
    _, net, play = bench_of(case)
    assert mirrored(net, solve(net, readings), play) is None


@pytest.mark.parametrize("middle_y_mm", [0.2, -0.2])
def test_of_two_ways_the_side_of_the_layout_is_taken(middle_y_mm: float) -> None:
    case, readings = thin_triangle(middle_y_mm)
    y = solve(network(case.callipers), readings).state[1::5]  # type: ignore[arg-type]
    off_the_line = y[1] - (2.0 * y[0] + y[2]) / 3.0
    assert off_the_line == pytest.approx(math.copysign(1.0, middle_y_mm), abs=0.05)


def test_information_is_what_the_solver_inverts() -> None:
    case = bench(THREE)
    _, net, _ = bench_of(case)
    readings = as_read(plan(case).steps[:5])
    np.testing.assert_allclose(
        inverse(information(net, readings)), solve(net, readings).covariance, rtol=1e-6, atol=1e-9
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"callipers": None}, "no layout"),
        ({"layout": []}, "no layout"),
        ({"layout": {"11-1": (0.0, 0.0)}}, "22-1"),
        ({"layout": {**PAIR, "22-2": (19.0, 3.0)}}, "the case does not state"),
        ({"cast": 0.7}, "no thinner than its hole"),
    ],
)
def test_a_case_that_allows_no_plan_is_refused(change, words) -> None:
    plain = bench(PAIR).model_dump(by_alias=True)
    if "callipers" in change:
        plain["callipers"] = None
    if "layout" in change:
        plain["callipers"]["layout"] = [
            {"tooth": int(n[:2]), "number": int(n[3:]), "x_mm": x, "y_mm": y, "guide_length_mm": 8.0}
            for n, (x, y) in dict(change["layout"]).items()
        ]
    if "cast" in change:
        plain["abutments"][0]["cast_pin_diameter_mm"] = change["cast"]
    with pytest.raises(SurveyError, match=words):
        plan(Case.model_validate(plain))


def test_one_pin_alone_has_nothing_to_read() -> None:
    with pytest.raises(SurveyError, match="one pin alone"):
        plan(bench({"11-1": (0.0, 0.0)}))
