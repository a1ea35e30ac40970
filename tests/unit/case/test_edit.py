from __future__ import annotations

import multiprocessing
from pathlib import Path

import pytest

from pinseat.case import edit
from pinseat.case.document import load_case
from pinseat.case.edit import Change, ConflictError
from pinseat.case.files import new_case
from pinseat.errors import CaseError

TEXT = """\
# a remark that stays
number = "26-014"
notation = "FDI"
missing = [21]

[[abutments]]
tooth = 11
pins = 2
hole_diameter_mm = "0,70"   # by the drill
hole_depth_mm = 2.5
cast_pin_diameter_mm = 0.62

[callipers]
layout = [
  { tooth = 11, number = 1, x_mm = -4.0, y_mm = 0.0, guide_length_mm = 8.0 },
  { tooth = 11, number = 2, x_mm = -2.0, y_mm = 1.5, guide_length_mm = 8.0 },
]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "case.toml").write_text(TEXT, encoding="utf-8")
    return tmp_path


PIN = ("abutments", 0, "cast_pin_diameter_mm")


def test_a_change_keeps_remarks_and_order(folder: Path) -> None:
    seen = edit.read_draft(folder)
    edit.change(folder, seen.revision, [Change(PIN, 0.60)])
    text = (folder / "case.toml").read_text(encoding="utf-8")
    assert text == TEXT.replace("= 0.62", "= 0.6")
    assert load_case(folder).abutments[0].cast_pin_diameter_mm == 0.60


def test_parts_that_are_not_there_yet_are_made(folder: Path) -> None:
    seen = edit.read_draft(folder)
    pick = {"kind": "ledge", "tooth": 11, "point": [1.0, 2.0, 3.0], "normal": [0, 0, 1]}
    seen = edit.change(folder, seen.revision, [Change(("contacts", 0), pick)])
    seen = edit.change(folder, seen.revision, [Change(("contacts", 1), {**pick, "kind": "wall"})])
    edit.change(folder, seen.revision, [Change(("seat", "limit_um"), 80.0)])
    case = load_case(folder)
    assert [one.kind for one in case.contacts] == ["ledge", "wall"]
    assert case.seat.limit_um == 80.0


def test_a_value_can_be_taken_out(folder: Path) -> None:
    seen = edit.read_draft(folder)
    seen = edit.change(folder, seen.revision, [Change(("title",), "one")])
    edit.change(folder, seen.revision, [Change(("title",), None), Change(("seat", "seed"), None)])
    assert "title" not in (folder / "case.toml").read_text(encoding="utf-8")


def test_what_cannot_be_is_refused_and_nothing_changes(folder: Path) -> None:
    seen = edit.read_draft(folder)
    with pytest.raises(CaseError, match="hole"):
        edit.change(folder, seen.revision, [Change(PIN, 0.9)])
    with pytest.raises(CaseError, match="no such place"):
        edit.change(folder, seen.revision, [Change(("abutments", 7, "pins"), 2)])
    assert (folder / "case.toml").read_text(encoding="utf-8") == TEXT
    assert edit.can_turn(folder) == ("", "")


def test_the_second_of_two_is_told_and_loses_nothing(folder: Path) -> None:
    seen = edit.read_draft(folder)
    edit.change(folder, seen.revision, [Change(PIN, 0.60)])
    with pytest.raises(ConflictError) as told:
        edit.change(folder, seen.revision, [Change(PIN, 0.58)])
    assert told.value.now.document["abutments"][0]["cast_pin_diameter_mm"] == 0.60
    edit.change(folder, told.value.now.revision, [Change(PIN, 0.58)])
    assert load_case(folder).abutments[0].cast_pin_diameter_mm == 0.58


def test_undo_and_redo_to_the_byte(folder: Path) -> None:
    seen = edit.read_draft(folder)
    texts = [TEXT]
    for value in (0.60, 0.58):
        seen = edit.change(folder, seen.revision, [Change(PIN, value)])
        texts.append((folder / "case.toml").read_text(encoding="utf-8"))
    for wanted in (texts[1], texts[0]):
        seen = edit.undo(folder, seen.revision)
        assert (folder / "case.toml").read_text(encoding="utf-8") == wanted
    with pytest.raises(CaseError, match="nothing to undo"):
        edit.undo(folder, seen.revision)
    for wanted in (texts[1], texts[2]):
        seen = edit.redo(folder, seen.revision)
        assert (folder / "case.toml").read_text(encoding="utf-8") == wanted
    assert edit.can_turn(folder)[1] == ""


def test_a_change_from_outside_can_be_undone_too(folder: Path) -> None:
    seen = edit.read_draft(folder)
    edit.change(folder, seen.revision, [Change(PIN, 0.60)])
    by_hand = TEXT.replace("0.62", "0.55")
    (folder / "case.toml").write_text(by_hand, encoding="utf-8")
    now = edit.read_draft(folder)
    now = edit.change(folder, now.revision, [Change(("title",), "x")])
    now = edit.undo(folder, now.revision)
    assert (folder / "case.toml").read_text(encoding="utf-8") == by_hand
    edit.undo(folder, now.revision)
    assert load_case(folder).abutments[0].cast_pin_diameter_mm == 0.60


def test_a_torn_history_line_costs_nothing(folder: Path) -> None:
    seen = edit.read_draft(folder)
    seen = edit.change(folder, seen.revision, [Change(PIN, 0.60)])
    with (folder / "history" / "edits.jsonl").open("a") as file:
        file.write('{"time": "2026')
    seen = edit.change(folder, seen.revision, [Change(PIN, 0.58)])
    seen = edit.undo(folder, seen.revision)
    assert load_case(folder).abutments[0].cast_pin_diameter_mm == 0.60


def test_a_new_case_is_filled_in_place_by_place(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    new_case(folder, "7")
    seen = edit.read_draft(folder)
    blank = len(seen.troubles)
    assert blank > 5
    seen = edit.change(folder, seen.revision, [Change(("missing",), [21])])
    seen = edit.change(folder, seen.revision, [Change(("notation",), "FDI")])
    assert len(seen.troubles) == blank - 2


def _add(folder: Path, start: int) -> None:
    for i in range(start, start + 8):
        while True:
            seen = edit.read_draft(folder)
            count = len(seen.document.get("measured", []))
            one = {"copy": "die", "error": "depth", "mean": float(i), "u": 1.0, "how": f"reading {i}"}
            one["copy"] = ["impression", "die", "pattern", "investment", "alloy"][i // 4 % 5]
            one["error"] = ["scale", "position", "tilt", "depth"][i % 4]
            one["mean"] = 0.0 if one["error"] in ("position", "tilt") else 0.1
            try:
                edit.change(folder, seen.revision, [Change(("measured", count), one)])
                break
            except ConflictError:
                continue


def test_two_processes_lose_no_update(folder: Path) -> None:
    context = multiprocessing.get_context("spawn")
    at_once = [context.Process(target=_add, args=(folder, start)) for start in (0, 8)]
    for process in at_once:
        process.start()
    for process in at_once:
        process.join()
        assert process.exitcode == 0
    assert {one.how for one in load_case(folder).measured} == {f"reading {i}" for i in range(16)}
