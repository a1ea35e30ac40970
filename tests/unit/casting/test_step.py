"""The step as a whole: what it hands over and what it says."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pinseat.case.casting import Casting
from pinseat.case.model import Abutment, Case, Chain, Measured
from pinseat.casting.model import CastingResult
from pinseat.casting.step import run
from pinseat.errors import CastingError
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Handover
from pinseat.ledger.pins import Pin, PinField


def pin(tooth: int, number: int, foot: tuple[float, float, float]) -> Pin:
    return Pin(tooth, number, np.array(foot), np.array([0.0, 0.0, 1.0]), 0.6, 3.0, 0.01, 0.005, 0.02)


def field(*pins: Pin) -> PinField:
    return PinField(pins, np.zeros((4 * len(pins), 4 * len(pins))), "scan")


def pair(span_mm: float) -> PinField:
    return field(pin(13, 1, (0.0, 0.0, 0.0)), pin(23, 1, (span_mm, 0.0, 0.0)))


def case(hole_mm: float = 0.70, **changed: Any) -> Case:
    abutments = tuple(
        Abutment(tooth=t, pins=2, hole_diameter_mm=hole_mm, hole_depth_mm=2.0, cast_pin_diameter_mm=0.60)
        for t in (13, 23)
    )
    return Case(number="invented-1", missing=(12, 11, 21, 22), abutments=abutments, **changed)


def scale(copy: str, mean: float, u: float = 0.0) -> Measured:
    return Measured.model_validate(
        {"copy": copy, "error": "scale", "mean": mean, "u": u, "how": "test ring, microscope"}
    )


def all_known(investment: float, u: float = 0.0, alloy: float = -1.42) -> tuple[Measured, ...]:
    others = tuple(scale(copy, 0.0) for copy in ("impression", "die", "pattern"))
    return (*others, scale("investment", investment, u), scale("alloy", alloy))


def say(result: CastingResult, code: str) -> Finding:
    return next(f for f in result.findings if f.code == code)


def codes(result: CastingResult) -> list[str]:
    return [f.code for f in result.findings]


def test_five_rows_in_the_order_of_the_work_with_their_routes() -> None:
    result = run(case(), Handover(field=pair(20.0)))
    assert [(r.copy, r.route) for r in result.fit.rows] == [
        ("impression", "addition silicone"),
        ("die", "silver plated"),
        ("pattern", "inlay wax"),
        ("investment", "gypsum bonded"),
        ("alloy", "gold type 3"),
    ]
    for row in result.fit.rows:
        entries = (row.scale, row.position, row.tilt, row.depth)
        assert [e.unit for e in entries] == ["%", "um", "deg", "um"]
        assert all(e.u > 0.0 and e.source for e in entries)
        assert row.position.mean == 0.0
        assert row.tilt.mean == 0.0


def test_gold_in_gypsum_comes_out_close_to_size() -> None:
    result = run(case(), Handover(field=pair(20.0)))
    assert abs(result.fit.net_scale.mean) < 0.1
    assert say(result, "casting.span").verdict == "clear"
    assert say(result, "casting.compensation").verdict == "clear"


def test_net_scale_carries_the_weakest_basis() -> None:
    result = run(case(), Handover(field=pair(20.0)))
    assert result.fit.net_scale.basis == "assumed"
    known = run(case(measured=all_known(1.44)), Handover(field=pair(20.0)))
    assert known.fit.net_scale.basis == "measured here"


def test_reading_replaces_the_reference_value_and_says_how() -> None:
    result = run(case(measured=(scale("die", 0.12, 0.02),)), Handover(field=pair(20.0)))
    entry = result.fit.rows[1].scale
    assert (entry.mean, entry.u, entry.basis) == (0.12, 0.02, "measured here")
    assert entry.source == "test ring, microscope"
    untouched = run(case(), Handover(field=pair(20.0)))
    assert result.fit.rows[0] == untouched.fit.rows[0]
    assert result.fit.rows[1].position == untouched.fit.rows[1].position


def test_measured_depth_keeps_its_mean_and_sign() -> None:
    reading = Measured.model_validate(
        {"copy": "impression", "error": "depth", "mean": 35.0, "u": 5.0, "how": "depth gauge"}
    )
    row = run(case(measured=(reading,)), Handover(field=pair(20.0))).fit.rows[0]
    assert (row.depth.mean, row.depth.u) == (35.0, 5.0)


def test_measured_size_without_direction_spreads_over_both() -> None:
    """A pin 6 um off in an unknown direction has the mean square 18 um2 in each of the two components."""
    reading = Measured.model_validate(
        {"copy": "die", "error": "position", "mean": 6.0, "u": 0.0, "how": "microscope"}
    )
    row = run(case(measured=(reading,)), Handover(field=pair(20.0))).fit.rows[1]
    assert row.position.mean == 0.0
    assert row.position.u**2 == pytest.approx(18.0, rel=1e-12)


def test_same_entry_measured_twice_is_an_error() -> None:
    twice = (scale("die", 0.1), scale("die", 0.2))
    with pytest.raises(CastingError, match=r"scale of the die is measured twice.*0\.1 and 0\.2 %"):
        run(case(measured=twice), Handover(field=pair(20.0)))


def test_slipped_decimal_point_is_an_error() -> None:
    with pytest.raises(CastingError, match=r"no investment changes size by so much.*165 %"):
        run(case(measured=(scale("investment", 165.0),)), Handover(field=pair(20.0)))


def test_without_a_survey_there_is_no_result() -> None:
    with pytest.raises(CastingError, match="run survey first"):
        run(case(), Handover())


def test_pin_of_an_unknown_tooth_is_an_error() -> None:
    stray = field(pin(13, 1, (0.0, 0.0, 0.0)), pin(25, 1, (20.0, 0.0, 0.0)))
    with pytest.raises(CastingError, match="pin 25-1: this pin's tooth is not among the abutments"):
        run(case(), Handover(field=stray))


def test_span_is_the_largest_distance_of_feet() -> None:
    three = field(
        pin(13, 1, (0.0, 0.0, 0.0)),
        pin(13, 2, (3.0, 4.0, 0.0)),
        pin(23, 1, (0.0, -12.0, 16.0)),
    )
    result = run(case(measured=all_known(1.42)), Handover(field=three))
    assert result.span_mm == pytest.approx(np.sqrt(9.0 + 256.0 + 256.0), rel=1e-12)
    assert say(result, "casting.span").where == "pins 13-2 and 23-1"


@pytest.mark.parametrize(
    ("investment", "u", "verdict"),
    [
        (1.4405, 0.0, "clear"),  # makes up for 1.42 %
        (1.10, 0.02, "stop"),  # 0.34 % of 33 mm is 111 um, 100 um of play
        (1.13, 0.05, "caution"),  # 101 um: more likely outside than in, but not surely
        (1.16, 0.05, "cannot tell"),  # 91 +- 16 um
        (1.16, 0.005, "clear"),  # the same, better known
        (1.80, 0.0, "stop"),  # too much is no better than too little
    ],
)
def test_span_verdict_by_probability(investment: float, u: float, verdict: str) -> None:
    result = run(case(measured=all_known(investment, u)), Handover(field=pair(33.0)))
    assert say(result, "casting.span").verdict == verdict
    assert (say(result, "casting.span").do == "") == (verdict == "clear")


def test_worst_pair_is_the_one_with_least_play_for_its_length() -> None:
    """A short span between tight holes is named before a long one between loose holes."""
    abutments = (
        Abutment(tooth=13, pins=2, hole_diameter_mm=0.61, hole_depth_mm=2.0, cast_pin_diameter_mm=0.60),
        Abutment(tooth=23, pins=1, hole_diameter_mm=0.90, hole_depth_mm=2.0, cast_pin_diameter_mm=0.60),
    )
    loose = case(measured=all_known(1.2)).model_copy(update={"abutments": abutments})
    pins = field(pin(13, 1, (0, 0, 0)), pin(13, 2, (6, 0, 0)), pin(23, 1, (30, 0, 0)))
    result = run(loose, Handover(field=pins))
    found = say(result, "casting.span")
    assert found.where == "pins 13-1 and 13-2"
    assert found.limit == pytest.approx(10.0)
    assert result.span_mm == pytest.approx(30.0)


def test_no_play_at_all_asks_for_thinner_pins() -> None:
    found = say(run(case(hole_mm=0.60), Handover(field=pair(33.0))), "casting.span")
    assert found.verdict == "stop"
    assert "thin the cast pins" in found.do


def test_short_mould_gets_the_expansion_that_is_wanted() -> None:
    found = say(run(case(measured=all_known(1.0)), Handover(field=pair(33.0))), "casting.compensation")
    assert found.verdict == "caution"
    assert found.limit == pytest.approx(100.0 * (1.0 / (1.0 - 0.0142) - 1.0), rel=1e-12)
    assert "too little" in found.says
    assert "from 1.00 % to 1.44 %" in found.do


def test_casting_with_the_wanted_expansion_comes_out_to_size() -> None:
    first = run(case(), Handover(field=pair(33.0)))
    wanted = say(first, "casting.compensation").limit
    assert wanted is not None
    again = run(case(measured=(scale("investment", wanted),)), Handover(field=pair(33.0)))
    assert again.fit.net_scale.mean == pytest.approx(0.0, abs=1e-12)


def test_large_mould_is_said_to_be_too_large() -> None:
    found = say(run(case(measured=all_known(2.2)), Handover(field=pair(33.0))), "casting.compensation")
    assert found.verdict == "caution"
    assert "too much" in found.says


def test_gypsum_cannot_be_asked_for_more_than_it_gives() -> None:
    measured = all_known(1.7, alloy=-2.3)
    found = say(run(case(measured=measured), Handover(field=pair(33.0))), "casting.compensation")
    assert "take a phosphate-bonded one" in found.do


@pytest.mark.parametrize(("expansion", "words"), [(1.0, "less water"), (2.2, "more water")])
def test_phosphate_is_steered_by_its_liquid(expansion: float, words: str) -> None:
    phosphate = case(measured=all_known(expansion), chain=Chain(investment="phosphate bonded"))
    assert words in say(run(phosphate, Handover(field=pair(33.0))), "casting.compensation").do


def test_unmeasured_phosphate_cannot_tell_and_asks_for_a_test_casting() -> None:
    chain = Chain(investment="phosphate bonded", alloy="high palladium")
    result = run(case(chain=chain), Handover(field=pair(33.0)))
    for code, verdict in (
        ("casting.investment", "caution"),
        ("casting.span", "cannot tell"),
        ("casting.compensation", "cannot tell"),
    ):
        assert say(result, code).verdict == verdict
        assert "cast a test bar" in say(result, code).do
    assert say(result, "casting.ammonia").verdict == "caution"


def test_unmeasured_gypsum_is_a_caution_and_a_reading_settles_it() -> None:
    assert say(run(case(), Handover(field=pair(20.0))), "casting.investment").verdict == "caution"
    measured = run(case(measured=(scale("investment", 1.66, 0.05),)), Handover(field=pair(20.0)))
    assert "casting.investment" not in codes(measured)


def test_largest_doubt_is_named_when_nothing_is_proven() -> None:
    doubtful = (*all_known(1.44)[1:], scale("impression", 0.0, 0.3))
    found = say(run(case(measured=doubtful), Handover(field=pair(33.0))), "casting.compensation")
    assert found.verdict == "cannot tell"
    assert found.do.startswith("measure the scale of the impression first, it brings 100% of the doubt")


@pytest.mark.parametrize("alloy", ["nickel chromium", "cobalt chromium", "high palladium"])
def test_gypsum_with_a_high_fusing_alloy_stops_the_work(alloy: str) -> None:
    chain = Chain.model_validate({"alloy": alloy, "investment": "gypsum bonded"})
    found = say(run(case(chain=chain), Handover(field=pair(20.0))), "casting.sulfur")
    assert found.verdict == "stop"
    assert found.limit == 700.0
    assert "from memory" in found.limit_source
    right = chain.model_copy(update={"investment": "phosphate bonded"})
    assert "casting.sulfur" not in codes(run(case(chain=right), Handover(field=pair(20.0))))


@pytest.mark.parametrize(
    ("alloy", "warned"), [("nickel chromium", True), ("cobalt chromium", False), ("gold type 3", False)]
)
def test_nickel_is_cautioned_where_it_is(alloy: str, warned: bool) -> None:
    chain = Chain.model_validate({"alloy": alloy, "investment": "phosphate bonded"})
    assert ("casting.nickel" in codes(run(case(chain=chain), Handover(field=pair(20.0))))) is warned


def test_one_pin_has_no_span_to_lose() -> None:
    result = run(case(measured=all_known(1.0)), Handover(field=field(pin(13, 1, (0.0, 0.0, 0.0)))))
    assert (result.span_mm, result.span_error_um, result.u_span_error_um) == (0.0, 0.0, 0.0)
    assert "casting.span" not in codes(result)
    assert say(result, "casting.compensation").verdict == "caution"


def test_every_number_in_a_finding_has_a_limit_with_its_source() -> None:
    chain = Chain(investment="phosphate bonded", alloy="nickel chromium")
    for settings in (case(), case(chain=chain)):
        for found in run(settings, Handover(field=pair(33.0))).findings:
            assert found.limit_source, found.code
            assert found.says.endswith("."), found.code
            assert found.value is None or found.unit, found.code


@given(
    st.tuples(*[st.floats(-1.0, 1.0)] * 4).filter(lambda q: sum(x * x for x in q) > 0.01),
    st.tuples(*[st.floats(-100.0, 100.0)] * 3),
    st.permutations(range(4)),
)
def test_moving_the_case_or_permuting_the_pins_changes_nothing(
    turn: tuple[float, ...], shift: tuple[float, ...], order: list[int]
) -> None:
    feet = [(0.0, 0.0, 0.0), (2.0, 3.0, 1.0), (28.0, 2.0, 0.5), (30.0, -3.0, 0.0)]
    pins = [pin(13 if i < 2 else 23, i % 2 + 1, foot) for i, foot in enumerate(feet)]
    rotation = Rotation.from_quat(turn)
    moved = [replace(p, foot=rotation.apply(p.foot) + np.array(shift)) for p in pins]
    still = run(case(), Handover(field=field(*pins)))
    after = run(case(), Handover(field=field(*(moved[i] for i in order))))
    assert after.span_mm == pytest.approx(still.span_mm, abs=1e-9)
    assert [(f.code, f.verdict) for f in after.findings] == [(f.code, f.verdict) for f in still.findings]


@pytest.mark.parametrize(
    ("investment", "mix", "words", "limited"),
    [
        ("phosphate bonded", None, "a guess", False),
        ("phosphate bonded", {"liquid_percent": 80, "total_percent": 1.8}, "the maker's figure", True),
        ("gypsum bonded", {"water_powder": 0.4, "total_percent": 1.7}, "the maker's figure", True),
        ("gypsum bonded", None, "one product", True),
    ],
)
def test_an_untested_mould_is_cautioned_by_what_it_rests_on(
    investment: str, mix: dict[str, float] | None, words: str, limited: bool
) -> None:
    stated = Casting.model_validate({"sheet": [mix] if mix else []})
    of = case(chain=Chain.model_validate({"investment": investment}), casting=stated)
    found = say(run(of, Handover(field=pair(33.0))), "casting.investment")
    assert found.verdict == "caution"
    assert words in found.says
    assert (found.limit is not None) is limited
    assert "cast a test bar" in found.do


def test_own_bars_settle_it() -> None:
    bar = {"liquid_percent": 80, "before_mm": 30.0, "after_mm": 29.99}
    stated = Casting.model_validate({"bars": [bar]})
    of = case(chain=Chain(investment="phosphate bonded"), casting=stated)
    assert "casting.investment" not in codes(run(of, Handover(field=pair(33.0))))


def test_mould_is_shown_with_its_own_uncertainty_and_the_wanted_one_with_its_own() -> None:
    """0.05 % for the mould, 0.03 % for the alloy: the two are not mixed."""
    others = tuple(scale(copy, 0.0) for copy in ("impression", "die", "pattern"))
    known = (*others, scale("investment", 1.0, 0.05), scale("alloy", -1.42, 0.03))
    found = say(run(case(measured=known), Handover(field=pair(33.0))), "casting.compensation")
    assert found.uncertainty == 0.05
    assert "known to 0.03 %" in found.limit_source
