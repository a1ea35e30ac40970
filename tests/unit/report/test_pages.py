from __future__ import annotations

import json
from dataclasses import replace

import pytest

from pinseat.ledger.findings import Finding
from pinseat.report.pages import clean, content, lever_trials, number_text, tidy
from pinseat.seating.model import Chance


def page(made):
    return content(made.case, made.scan, made.survey, made.casting, made.seating, {"input": "5d1f"})


def test_the_verdict_leads_with_its_numbers(home) -> None:
    verdict = page(home)["verdict"]
    assert verdict["word"] == "goes home"
    assert [f["value"] for f in verdict["facts"]] == ["96.200 ± 0.096 %", "57.720 ± 0.096 %", "up to 94 µm"]
    assert "120 µm" in verdict["facts"][0]["head"]
    assert "50 µm" in verdict["facts"][1]["head"]


def test_infinite_openings_are_said_in_words(twelve) -> None:
    verdict = page(twelve)["verdict"]
    assert verdict["facts"][2]["value"] == "cannot go on"
    assert verdict["facts"][0]["value"].startswith("< ")


def test_pin_rows_carry_both_tooth_names_and_their_findings(home) -> None:
    rows = page(home)["pins"]["rows"]
    assert [row["tooth"] for row in rows] == ["11 (8)"] * 3 + ["22 (10)"] * 2
    assert [row["findings"] for row in rows] == ["clear"] * 4 + ["caution 1"]
    value, u = rows[0]["protrusion"]
    assert (value[1], u[1]) == ("3.020", "0.021")


def test_window_tells_degrees_to_spare_or_short(home, binds) -> None:
    assert page(home)["window"]["number"] == "0.84 ± 0.14°"
    assert page(binds)["window"]["number"] == "0.42 ± 0.14° short"
    doubtful = replace(home.survey.window, u_size_deg=0.5)
    window = page(replace(home, survey=replace(home.survey, window=doubtful)))["window"]
    assert "twice its own uncertainty" in window["sentence"]


def test_ledger_marks_every_basis_by_a_letter_with_a_key(home) -> None:
    ledger = page(home)["ledger"]
    letters = {
        row[name]["letter"] for row in ledger["rows"] for name in ("scale", "position", "tilt", "depth")
    }
    assert letters == {letter for letter, _ in ledger["key"]} == set("mpcra")
    assert ledger["rows"][3]["scale"]["letter"] == "m"
    assert ledger["net"]["mean"][1] == "−0.24"
    assert "18.4 mm" in ledger["span"]


def test_levers_show_what_each_gains(home) -> None:
    levers = page(home)["levers"]
    assert [lever["gain"][0][1] for lever in levers] == ["8.10", "4.20", "0.31"]
    assert [lever["lacking"][1] for lever in levers] == ["17", "9", "1"]


def test_levers_are_not_surer_than_their_own_bridges(home) -> None:
    few = Chance(0.5, 0.005)
    lever = replace(home.seating.levers[0], before=few, after=Chance(1.0, 0.0))
    assert lever_trials(lever, home.seating) == 10_000
    made = replace(home, seating=replace(home.seating, levers=(lever,)))
    assert page(made)["levers"][0]["after"] == "> 99.970 %"


def test_open_findings_are_numbered_and_clear_ones_gathered(binds) -> None:
    findings = page(binds)["findings"]
    assert [f["verdict"] for f in findings["open"]] == ["stop", "caution", "caution"]
    assert findings["open"][0]["number_text"].startswith("0.42 ± 0.14°, limit 0°.")
    assert findings["open"][0]["source"] == "The holes' clearance over their depth."
    assert any("pin 11-1, pin 11-2" in text for text in findings["clear"])


@pytest.mark.parametrize(
    ("finding", "text"),
    [
        (Finding("a.b", "", "x", "clear"), ""),
        (Finding("a.b", "", "x", "stop", 62.0, 4.1, "um", 44.0, "", ""), "62.0 ± 4.1 µm, limit 44 µm"),
        (Finding("a.b", "", "x", "stop", None, None, "mm", 0.1, "a sheet"), "limit 0.1 mm"),
    ],
)
def test_number_of_a_finding(finding: Finding, text: str) -> None:
    assert number_text(finding) == text


def test_callipers_say_what_they_cannot_see(unknown) -> None:
    made = dict(page(unknown)["made"])
    assert made["measured by"].startswith("callipers")
    assert "splay of pin 11-1" in made["not seen"]
    assert "scan" not in made


def test_hashes_seed_and_trials_are_printed(home) -> None:
    made = dict(page(home)["made"])
    assert made["input hash"] == "5d1f"
    assert made["seed"] == "7"
    assert made["trials"] == "40\u202f000"
    assert "301\u202f224 triangles" in made["scan"]


def test_everything_is_plain_and_clean(twelve) -> None:
    plain = tidy(page(twelve))
    assert json.loads(json.dumps(plain)) == plain


def test_clean_takes_out_what_cannot_be_set() -> None:
    assert clean("a\x00b\r\nc\ud800") == "a b  c?"
    assert max(map(len, clean("x" * 300).split("\u200b"))) <= 28
    assert clean("x" * 300).replace("\u200b", "") == "x" * 300
