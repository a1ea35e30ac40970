"""The sheet shows whatever steps a case has, by the shape of their results alone."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest

from pinseat.case.edit import read_draft
from pinseat.case.files import new_case
from pinseat.case.results import write_result
from pinseat.errors import PinseatError
from pinseat.ledger.findings import Finding
from pinseat.workbench import chair, numbers
from pinseat.workbench.bench_log import typed_entry
from pinseat.workbench.hands import Run
from pinseat.workbench.sheet import parts
from pinseat.workbench.view import View

META = {
    "code": "1",
    "reference": "2",
    "case": "3",
    "input": "4",
    "reads": "",
    "values": "drawing.undercut_um",
}


def _finding(verdict: str, **more: Any) -> Finding:
    said = {"code": "x.y", "where": "pin 11-2", "says": "It leans by 2 deg <b>.", "verdict": verdict}
    return Finding(**{**said, **more})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    new_case(tmp_path / "a", "7 & 8")
    folder = tmp_path / "a"
    (folder / "results" / "thing.stl").write_bytes(b"0" * 200)
    (folder / "results" / "thing.svg").write_bytes(b"<svg/>")
    result = {
        "gap_mm": 0.123456,
        "u_gap_mm": 0.0071,
        "current_mA": 30.0,
        "pieces": [
            {"name": "11", "area_mm2": 79.9, "u_area_mm2": 1.2},
            {"name": "22", "area_mm2": None, "u_area_mm2": None},
        ],
        "worst": {"never_h": math.inf},
        "findings": [
            _finding("clear", value=0.01, unit="mm"),
            _finding(
                "stop",
                value=0.25,
                uncertainty=0.011,
                unit="mm",
                limit=0.2,
                limit_source="a table",
                do="ream it",
            ),
        ],
        "files": ["results/thing.stl", "results/thing.svg", "results/gone.pdf"],
    }
    write_result(folder, "second_look", result, META)
    return folder


def _view(folder: Path, state: str = "holds", run: Run | None = None) -> View:
    return View("a", folder, [{"step": "second_look", "needs": (), "state": state}], run)


def _html(folder: Path, name: str, **more: Any) -> str:
    return str(dict(parts(_view(folder, **more)))[name])


def test_a_step_nobody_told_the_page_about_is_shown(folder: Path) -> None:
    html = _html(folder, "sheet-second_look")
    for words in (
        "Second look",
        "0.1235 ± 0.0071 mm",
        "30 mA",
        "79.9 ± 1.2 mm²",
        "not measured",
        "not known",
        "ream it".capitalize(),
    ):
        assert words in html, words
    assert html.index("■") < html.index("○")  # the stop first
    assert "It leans by 2° &lt;b&gt;" in html
    assert "0.250 ± 0.011 mm" in html
    assert "a table" in html
    assert 'href="file/results/thing.stl"' in html
    assert "gone.pdf" not in html
    assert 'src="file/results/thing.svg"' in html
    assert "undercut deeper than this" in html  # the value it took from elsewhere, with its basis
    assert "assumed" in html


def test_the_strip_tells_verdict_and_micrometres(folder: Path) -> None:
    html = _html(folder, "strip")
    assert "250 ± 11 µm" in html
    assert ">stop<" in html
    assert "older" not in html
    assert "older" in _html(folder, "strip", state="older")
    assert "not yet" in _html(folder, "strip", state="none")


def test_what_is_missing_is_said_and_nothing_is_locked(folder: Path) -> None:
    html = _html(folder, "sheet-bridge")
    assert f"{len(read_draft(folder).troubles)} still to fill in" in html
    assert "disabled" not in html
    assert "7 &amp; 8" in _html(folder, "bar")


def test_a_run_shows_how_far_it_has_got_and_why_it_was_refused(folder: Path) -> None:
    html = _html(folder, "bar", run=Run("", doing="growing <metal>", fraction=0.42))
    assert 'value="42"' in html
    assert "growing &lt;metal&gt;" in html
    assert ">Stop<" in html
    refused = Run("", state="done", refused={"second_look": "there is no bath"})
    assert "there is no bath" in _html(folder, "sheet-second_look", state="none", run=refused)


def test_headlines_are_in_micrometres_where_they_are_lengths() -> None:
    found = [
        _finding("caution", value=3.0, unit="%"),
        _finding("clear", value=0.0421, uncertainty=0.002, unit="mm"),
    ]
    assert numbers.headline("any", {}, found) == "42.1 ± 2.0 µm"
    assert numbers.headline("any", {}, found[:1]) == "3.00 %"
    assert numbers.headline("any", {}, []) == ""
    assert numbers.headline("any", None, found) == ""


SEAT = {
    "verdict": "will bind",
    "wanted_probability": 0.9,
    "quantiles": [0.5, 0.8, 1.0],
    "opening_um": [40.0, 60.0, 100.0],
    "levers": [{"change": "make the pins thinner", "gain": 0.2}],
}


def test_the_opening_is_read_off_the_quantiles() -> None:
    assert numbers.opening_words(SEAT) == "≤ 80 µm"
    assert numbers.opening_words(SEAT | {"opening_um": [40.0, 60.0, "infinite"]}) == "does not go on"


def test_the_card_says_one_thing_to_do(folder: Path) -> None:
    assert chair.next_action(_view(folder)) == "Second look, pin 11-2. Ream it."
    write_result(folder, "second_look", {"findings": []}, META)
    assert "run the case" in chair.next_action(_view(folder))
    write_result(folder, "seating", SEAT | {"why": "the margins stand open"}, META)
    assert chair.next_action(_view(folder)) == "The margins stand open."
    write_result(folder, "report", {"files": [], "next": "Make the pins thinner."}, META)
    assert chair.next_action(_view(folder)) == "Make the pins thinner."
    write_result(folder, "impression", {"timetable": [{"at_min": 2.5, "do": "syringe", "note": ""}]}, META)
    assert chair.timers(_view(folder)) == [("syringe", 2.5, "")]


def test_plating_readings_go_into_one_entry() -> None:
    entry = typed_entry(
        {"kind": "plating", "reading current": "50,2", "reading outage": "12", "piece": "11", "who": "ab"},
        ["11", "22"],
    )
    assert [(one.what, one.value, one.unit) for one in entry.readings] == [
        ("current", 50.2, "mA"),
        ("outage", 12.0, "min"),
    ]
    assert (entry.piece, entry.who) == ("11", "ab")
    off = typed_entry({"kind": "plating", "seen": "switched off"}, [])
    assert off.seen == "switched off"


@pytest.mark.parametrize(
    "typed",
    [
        {"kind": "plating"},
        {"kind": "plating", "reading current": "-3"},
        {"kind": "plating", "reading current": "3", "piece": "47"},
        {"kind": "note"},
        {"kind": "reading", "value": "3"},
        {"kind": "reading", "value": "x", "unit": "mm"},
        {"kind": "murder", "note": "x"},
        {},
    ],
)
def test_what_cannot_be_logged_is_refused(typed: dict[str, str]) -> None:
    with pytest.raises(PinseatError):
        typed_entry(typed, ["11"])
