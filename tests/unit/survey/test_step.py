"""The whole step on small scans: findings, corrections by hand, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.errors import SurveyError
from pinseat.ledger.handover import Handover
from pinseat.survey.model import SurveyResult
from pinseat.survey.step import expected_pins, run

USUAL = {"impression_pin_diameter_mm": 0.65, "impression_pin_length_mm": 5.5}


def survey(made, count: int = 3, **more: object) -> SurveyResult:  # type: ignore[no-untyped-def]
    return run(made.case(made.abutment(11, count, **USUAL), **more), Handover(), mesh=made.mesh)


def found(result: SurveyResult, code: str) -> list[str]:
    return [finding.verdict for finding in result.findings if finding.code == code]


def test_every_check_has_its_finding(made):
    result = survey(made)
    assert found(result, "survey.draw") == ["stop"]  # the third pin leans by 15 deg
    assert found(result, "survey.splay") == ["stop"]
    assert found(result, "survey.count") == ["clear"]
    assert found(result, "survey.pin") == ["clear"] * 3
    assert sorted(found(result, "survey.protrusion")) == [
        "caution",
        "clear",
        "clear",
    ]  # one stands 0.6 mm low
    for finding in result.findings:
        assert finding.says.endswith(".")
        assert bool(finding.do) == (finding.verdict != "clear")
        assert finding.limit is None or finding.limit_source


def test_a_proud_pin_stops_the_work(made):
    abutment = made.abutment(11, 3, impression_pin_diameter_mm=0.65, impression_pin_length_mm=4.9)
    result = run(made.case(abutment), Handover(), mesh=made.mesh)
    verdicts = [(f.verdict, f.value) for f in result.findings if f.code == "survey.protrusion"]
    assert sorted(v for v, _ in verdicts) == ["clear", "stop", "stop"]
    assert max(value for _, value in verdicts if value is not None) == pytest.approx(0.6, abs=0.05)


def test_a_wrong_count_stops_the_work_and_says_how_to_correct_it(made):
    few = [f for f in survey(made, 4).findings if f.code == "survey.count"]
    many = [f for f in survey(made, 2).findings if f.code == "survey.count"]
    assert (few[0].verdict, many[0].verdict) == ("stop", "stop")
    assert 'action = "add"' in few[0].do
    assert 'action = "reject"' in many[0].do


def test_a_rejected_pin_is_gone_and_shown_as_rejected(made):
    whole = survey(made)
    result = survey(made, 2, pins=[{"action": "reject", "tooth": 11, "number": 2}])
    assert [pin.name for pin in result.field.pins] == ["11-1", "11-3"]
    for pin, same in zip(result.field.pins, whole.field.pins[::2], strict=True):
        np.testing.assert_array_equal(pin.foot, same.foot)
    assert [one.reason for one in result.rejected][-1] == "rejected by hand as pin 11-2"


def test_a_moved_pin_is_fitted_anew_from_where_it_was_put(made):
    whole = survey(made)
    pin = whole.field.pins[0]
    tip = pin.foot + pin.protrusion_mm * pin.axis + np.array([0.1, -0.1, 0.05])
    result = survey(made, pins=[{"action": "move", "tooth": 11, "number": 1, "tip": tuple(tip)}])
    assert [fit.stated for fit in result.fits] == [True, False, False]
    np.testing.assert_allclose(result.field.pins[0].foot, pin.foot, atol=0.005)


def test_an_added_pin_is_fitted_where_one_stands_else_taken_as_stated(made):
    foot, tip = (-2.9, -2.8, -1.7), (-2.9, -2.8, 1.3)
    result = survey(made, 4, pins=[{"action": "add", "tooth": 11, "foot": foot, "tip": tip}])
    assert found(result, "survey.count") == ["clear"]
    taken = [k for k, fit in enumerate(result.fits) if fit.points == 0]
    assert [result.fits[k].name for k in taken] == ["11-4"]
    np.testing.assert_allclose(result.field.pins[taken[0]].foot, foot)
    assert result.fits[taken[0]].u_tilt_deg > 20.0 * result.fits[taken[0] - 1].u_tilt_deg
    assert "caution" in found(result, "survey.pin")


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        ({"action": "reject", "tooth": 11, "number": 7}, "no such pin"),
        ({"action": "add", "tooth": 11, "foot": (0, 0, 0)}, "lacks a place"),
        ({"action": "add", "tooth": 11, "foot": (0, 0, 0), "tip": (0, 0, 0.1)}, "this far apart"),
        ({"action": "add", "tooth": 24, "foot": (0, 0, 0), "tip": (0, 0, 3)}, "no abutment"),
    ],
)
def test_corrections_that_cannot_be_carried_out_are_refused(made, edit, words):
    with pytest.raises(SurveyError, match=words):
        survey(made, pins=[edit])


def test_nothing_to_survey_is_said_in_one_line(made):
    with pytest.raises(SurveyError, match="neither a scan nor"):
        run(made.case(made.abutment()), Handover())
    with pytest.raises(SurveyError, match="no abutment of this case has a pin"):
        run(made.case(made.abutment(11, 0)), Handover(), mesh=made.mesh)
    bare = made.scan_of([], edge_mm=0.16)
    with pytest.raises(SurveyError, match="no pin was found"):
        run(made.case(made.abutment(11, 1, **USUAL)), Handover(), mesh=bare)


def test_the_case_narrows_what_is_taken_for_a_pin(made):
    wide, narrow = expected_pins([made.abutment()]), expected_pins([made.abutment(**USUAL)])
    assert wide.diameter_mm[0] < narrow.diameter_mm[0] < 0.65 < narrow.diameter_mm[1] < wide.diameter_mm[1]
    assert narrow.protrusion_mm == pytest.approx((1.5, 6.0))


def test_the_same_scan_gives_the_same_result_to_the_last_bit(made):
    one, two = survey(made), survey(made)
    np.testing.assert_array_equal(one.field.covariance, two.field.covariance)
    np.testing.assert_array_equal(one.window.outline_deg, two.window.outline_deg)
    assert one.window.u_size_deg == two.window.u_size_deg
