"""The step as a whole: what it refuses, what it says, and that its numbers agree with one another."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from pinseat.errors import SeatingError
from pinseat.ledger.faces import Face
from pinseat.ledger.handover import Handover
from pinseat.seating.bridges import seat_bridges
from pinseat.seating.model import SeatingResult
from pinseat.seating.problem import build
from pinseat.seating.step import MOST_TRIALS, enough_bridges, run


def upstream(made, **changed) -> Handover:
    return replace(Handover(made.field, made.faces, made.draw, fit=made.fit), **changed)


@pytest.fixture(scope="session")
def between(between_bridge) -> SeatingResult:
    return run(between_bridge.case, upstream(between_bridge), threads=2)


def same(a: object, b: object) -> bool:
    """Equal to the bit, field by field."""
    if isinstance(a, np.ndarray):
        return a.tobytes() == b.tobytes()  # type: ignore[attr-defined]
    if isinstance(a, tuple):
        return len(a) == len(b) and all(map(same, a, b))  # type: ignore[arg-type]
    return a == b


def test_one_thread_and_two_give_the_same_bytes(between_bridge, between) -> None:
    alone = run(between_bridge.case, upstream(between_bridge), threads=1)
    assert [f.name for f in fields(alone) if not same(getattr(alone, f.name), getattr(between, f.name))] == []


def test_numbers_of_one_result_agree(between) -> None:
    inside = between.histogram_count[between.histogram_um[1:] <= between.limit_um + 1e-9].sum()
    assert inside == pytest.approx(between.chance.probability * between.trials, abs=2)
    at_wanted = between.quantiles.tolist().index(between.wanted_probability)
    assert (between.clearance_lacking_um[at_wanted] <= 0.0) == (
        between.chance.probability >= between.wanted_probability
    )
    never = np.mean(np.isinf(between.opening_um))
    assert never > 0.0
    assert between.entry_failures.probability <= 1.0 - between.chance.probability
    assert np.all(np.diff(between.clearance_lacking_um) >= 0.0)
    assert between.chance_tight.probability < between.chance.probability


def test_between_says_which_of_the_two_it_is(between) -> None:
    assert between.verdict == "cannot tell"
    assert between.why.startswith("the probability lies between")
    assert len(between.levers) == 3


def test_every_copy_and_reading_has_its_share(between) -> None:
    assert [share.group for share in between.shares] == [
        share.group for share in sorted(between.shares, key=lambda share: -share.total_index)
    ]
    assert {share.group for share in between.shares} == {
        "impression", "die", "pattern", "investment", "alloy", "hole and pin diameters", "survey of the holes"
    }  # fmt: skip
    assert sum(share.total_index for share in between.shares) > 0.95


def test_wide_holes_go_home(make, five) -> None:
    made = make(*five, hole=0.80)
    result = run(made.case, upstream(made))
    assert result.verdict == "goes home"
    verdicts = {finding.code: finding.verdict for finding in result.findings}
    assert verdicts["seating.chance"] == verdicts["seating.lacking"] == verdicts["seating.opening"] == "clear"
    assert verdicts["seating.entry"] == "clear"


def test_tight_holes_bind_and_something_can_be_done(make, five) -> None:
    made = make(*five, hole=0.66)
    result = run(made.case, upstream(made))
    assert result.verdict == "will bind"
    stops = [finding for finding in result.findings if finding.verdict == "stop"]
    assert {"seating.chance", "seating.lacking"} <= {finding.code for finding in stops}
    assert all(finding.do for finding in stops)


def test_missing_readings_are_named_with_what_to_do(make, five) -> None:
    made = make(*five, hole=0.80)
    result = run(made.case, upstream(made, blind=("splay of pins 11-1 and 22-1",)))
    assert result.verdict == "cannot tell"
    assert "readings are missing: splay of pins 11-1 and 22-1" in result.why
    first = result.findings[0]
    assert (first.code, first.verdict) == ("seating.chance", "cannot tell")
    assert first.do == "take readings that show splay of pins 11-1 and 22-1"


def test_a_leaning_hole_is_named_when_pins_cannot_enter(make, five) -> None:
    made = make(*five, lean_deg=0.0)
    pins = list(made.field.pins)
    pins[4] = replace(pins[4], axis=np.array([np.sin(0.06), 0.0, np.cos(0.06)]))
    result = run(made.case, upstream(made, field=replace(made.field, pins=tuple(pins))))
    entry = next(finding for finding in result.findings if finding.code == "seating.entry")
    assert entry.verdict == "stop"
    assert "pin 22-2" in entry.do
    assert "3.4 deg" in entry.do
    assert result.levers[0].change.startswith("cut the hole of pin 22-2 anew")


def test_tilt_beyond_small_angles_is_reported(make, one_row) -> None:
    made = make(one_row(tilt=1.5), hole=0.9)
    result = run(made.case, upstream(made))
    tilt = next(finding for finding in result.findings if finding.code == "seating.tilt")
    assert tilt.value is not None
    assert tilt.value > 1.0
    small = make(one_row(tilt=0.1), hole=0.75)
    assert "seating.tilt" not in {finding.code for finding in run(small.case, upstream(small)).findings}


def test_counting_stops_at_once_when_nothing_is_in_doubt(make, one_row) -> None:
    """Two blocks of 10,000: the least with which JCGM 101, 7.9 can see a spread between blocks."""
    made = make(one_row(position=5.0, tilt=0.05), hole=0.75).assembly()
    assert len(enough_bridges(build(made), 0.12, 0.9, seed=1)) == 20_000


def test_counting_goes_on_where_the_probability_is_close_to_the_wanted_one(make, five) -> None:
    problem = build(make(*five, hole=0.71).assembly())
    p = seat_bridges(problem, limit_mm=0.12, trials=20_000, seed=1).home.mean()
    assert 20_000 < len(enough_bridges(problem, 0.12, float(p), seed=1)) <= MOST_TRIALS


def test_more_bridges_continue_the_same_series(make, five) -> None:
    problem = build(make(*five, hole=0.71).assembly())
    whole = seat_bridges(problem, limit_mm=0.12, trials=3_000, seed=7)
    rest = seat_bridges(problem, limit_mm=0.12, trials=1_000, start=2_000, seed=7)
    assert whole.lacking_mm[2_000:].tobytes() == rest.lacking_mm.tobytes()


@pytest.mark.parametrize(
    ("missing", "says"), [("field", "surveyed"), ("draw", "surveyed"), ("fit", "added up")]
)
def test_what_earlier_steps_owe_is_asked_for(make, one_row, missing: str, says: str) -> None:
    made = make(one_row())
    with pytest.raises(SeatingError, match=says):
        run(made.case, upstream(made, **{missing: None}))


def test_a_bridge_without_a_margin_is_refused(make, one_row) -> None:
    made = make(one_row())
    wall = Face("wall", 11, np.zeros(3), np.array([1.0, 0.0, 0.0]), "stated")
    with pytest.raises(SeatingError, match="no margin or ledge"):
        run(made.case, upstream(made, faces=(wall,)))


def test_a_pin_of_an_unknown_tooth_is_refused(make, one_row) -> None:
    made = make(one_row())
    pins = (replace(made.field.pins[0], tooth=13), *made.field.pins[1:])
    with pytest.raises(SeatingError, match="pin 13-1: this pin's tooth is not among the abutments"):
        run(made.case, upstream(made, field=replace(made.field, pins=pins)))


def test_a_pin_that_stops_above_its_hole_is_refused(make, one_row) -> None:
    made = make(one_row(), depths=(0.5, 2.5), relief=0.6)
    with pytest.raises(SeatingError, match=r"pin 11-1: the cast pin does not reach into its hole \(-0.10 mm"):
        run(made.case, upstream(made))


def test_a_draw_across_a_pin_is_refused(make, one_row) -> None:
    made = make(one_row())
    with pytest.raises(SeatingError, match="the draw runs across this pin"):
        run(made.case, upstream(made, draw=np.array([1.0, 0.0, 0.2])))


def test_a_wrong_mould_is_found_as_the_cause(make, five) -> None:
    """A mould 0.6 % short is half of the longest span times 0.6 % at the side, and the mould is named."""
    rows = [
        replace(row, scale=replace(row.scale, mean=1.1)) if row.copy == "investment" else row for row in five
    ]
    made = make(*rows, hole=0.72, lean_deg=0.0)
    result = run(made.case, upstream(made))
    assert result.verdict == "will bind"
    bias = next(finding for finding in result.findings if finding.code == "seating.bias")
    assert bias.verdict == "stop"
    feet = np.array([pin.foot for pin in made.field.pins])
    span = max(float(np.linalg.norm(a - b)) for a in feet for b in feet)
    net = 1.0 - 0.9979 * 1.011 * 0.9858
    assert bias.value == pytest.approx(1000.0 * net * span / 2.0, rel=0.02)
    assert bias.do == "raise the mould's expansion from 1.10 % to 1.65 %"
    entry = next(finding for finding in result.findings if finding.code == "seating.entry")
    assert "its hole leans" not in entry.do


def test_a_mould_that_is_right_is_not_blamed(make, one_row) -> None:
    made = make(one_row(scale=(0.0, 0.1), tilt=0.1))
    assert "seating.bias" not in {finding.code for finding in run(made.case, upstream(made)).findings}
