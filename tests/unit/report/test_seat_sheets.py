"""The pages on what to change and on why a bridge does not seat."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.diagnosis import bridge
from pinseat.case.model import Case
from pinseat.case.results import json_text, to_plain
from pinseat.report.diagnosis_sheet import diagnosis_words, write_diagnosis_sheet
from pinseat.report.seat_sheet import seat_words, write_seat_sheet
from pinseat.report.seat_words import diagnosis_lines, plan_lines
from pinseat.report.setting import page_count
from pinseat.seating.diagnosis import Diagnosis, diagnose
from pinseat.seating.observations import die_look, mark_look, opening_look
from pinseat.seating.plan import SeatPlan, weigh

META = {"code": "0.1.0+test", "reference": "abc", "case": "def"}


@pytest.fixture(scope="module")
def case() -> Case:
    hole = {"pins": 2, "hole_diameter_mm": 0.7, "hole_depth_mm": 2.5, "cast_pin_diameter_mm": 0.6}
    return Case.model_validate(
        {"number": "26-7", "missing": [21], "abutments": [{"tooth": t, **hole} for t in (11, 22)]}
    )


@pytest.fixture(scope="module")
def plan() -> SeatPlan:
    return weigh(bridge(2)[0], wanted=0.95, seed=1, trials=300)


@pytest.fixture(scope="module")
def found() -> Diagnosis:
    assembly, die = bridge(2)
    seen = [(opening_look((i,), assembly, 0.03), 0.3 if i > 3 else 0.05) for i in range(8)]
    seen += [(mark_look("bottoms", 3, assembly), 1.0), (die_look(), 1.0)]
    return diagnose(assembly, seen, die, wanted=0.9, seed=1, each=200)


def test_both_pages_are_set_and_the_same_each_time(
    tmp_path: Path, case: Case, plan: SeatPlan, found: Diagnosis
) -> None:
    first = [
        write_seat_sheet(tmp_path, case, plan, META)[0],
        write_diagnosis_sheet(tmp_path, case, found, META)[0],
    ]
    before = [path.read_bytes() for path in first]
    assert page_count(before[0]) <= 2
    assert page_count(before[1]) == 1
    write_seat_sheet(tmp_path, case, plan, META)
    write_diagnosis_sheet(tmp_path, case, found, META)
    assert [path.read_bytes() for path in first] == before


def test_force_is_forbidden_where_the_bridge_binds(case: Case, found: Diagnosis) -> None:
    words = diagnosis_words(case, found, META)
    assert "Never press" in words["force"]
    heads = dict(diagnosis_lines(found))
    assert heads["never"] == "press, tap or bite it home"
    assert "%" in heads["cause 1"]


def test_every_remedy_that_cuts_or_grinds_says_where_it_hurts(case: Case, found: Diagnosis) -> None:
    for remedy in diagnosis_words(case, found, META)["remedies"]:
        if "Ream" in remedy["words"]:
            assert "dentine" in remedy["caution"]
        if any(word in remedy["words"] for word in ("Take 0", "Thin ")):
            assert "olds less" in remedy["caution"]


def test_changes_carry_error_cost_and_caution(case: Case, plan: SeatPlan) -> None:
    words = seat_words(case, plan, META)
    assert len(words["levers"]) >= 20
    assert all("±" in lever["gain"] or lever["gain"] == "0.0" for lever in words["levers"])
    assert all(lever["cost"] for lever in words["levers"])
    assert any(lever["loses"] for lever in words["levers"])
    assert "common practice" in words["hold"]
    roles = [option["role"] for option in words["options"]]
    assert sum("as it stands" in role for role in roles) == 1
    assert any(head.startswith("pair") for head, _ in plan_lines(plan))


def test_results_can_be_stored(plan: SeatPlan, found: Diagnosis) -> None:
    for result in (plan, found):
        assert json_text(to_plain(result))
