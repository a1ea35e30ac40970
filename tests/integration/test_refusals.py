"""Rubbish in, one clear line out, exit code 2, and nothing written."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from .conftest import Said, pinseat

Ran = tuple[Path, Said]


def copy_of(ran: Ran, to: Path) -> Path:
    """A case as it was before its first run."""
    case = to / "case"
    shutil.copytree(ran[0], case, ignore=shutil.ignore_patterns("results"))
    (case / "log.jsonl").write_bytes(b"")
    return case


def edited(case: Path, old: str, new: str) -> None:
    toml = case / "case.toml"
    text = toml.read_text(encoding="utf-8")
    assert old in text, f"the demo no longer says {old!r}"
    toml.write_text(text.replace(old, new, 1), encoding="utf-8")


def refused(case: Path, *words: str) -> str:
    said = pinseat("run", case)
    assert said.code == 2
    assert said.out == ""
    assert said.err.startswith("pinseat: ")
    assert said.err.count("\n") == 1, said.err
    for word in words:
        assert word in said.err, said.err
    assert not (case / "results").exists() or not list((case / "results").iterdir())
    assert (case / "log.jsonl").read_bytes() == b""
    return said.err


BAD_SCANS = {
    "empty": b"",
    "words": b"this is a letter, not a scan",
    "cut short": b"\0" * 80 + (300_000).to_bytes(4, "little") + b"\0" * 5000,
    "huge count": b"\0" * 80 + (2**32 - 1).to_bytes(4, "little") + b"\0" * 500,
    "no faces": b"\0" * 84,
    "not a number": b"\0" * 80 + (1).to_bytes(4, "little") + b"\0\0\xc0\x7f" * 12 + b"\0\0",
}


@pytest.mark.parametrize("name", BAD_SCANS)
def test_a_bad_scan_is_one_line(front: Ran, tmp_path: Path, name: str) -> None:
    case = copy_of(front, tmp_path)
    (case / "scans/upper.stl").write_bytes(BAD_SCANS[name])
    refused(case, "upper.stl")


@pytest.mark.parametrize(("unit", "word"), [('unit = "m"', "not the size of teeth"), ("", "")])
def test_a_wrong_unit_is_asked_about_and_a_left_out_one_is_not_in_the_way(
    front: Ran, tmp_path: Path, unit: str, word: str
) -> None:
    case = copy_of(front, tmp_path)
    edited(case, 'unit = "mm"', unit)
    if word:
        refused(case, word)
    else:
        said = pinseat("run", case, "--until", "scan", "--json")
        assert next(f["code"] for f in said.answer["findings"] if f["verdict"] == "caution") == "scan.unit"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("cast_pin_diameter_mm", "cast_pin_diametr_mm", ["cast_pin_diameter_mm", "line"]),
        ("cast_pin_diameter_mm = 0.60", "cast_pin_diameter_mm = 0.90", ["hole"]),
        ("missing = [21]", "missing = [29]", ["29"]),
        ("hole_depth_mm = 2.0", "hole_depth_mm = 2,0", ["2,0"]),
        ("schema = 1", "schema = 9", ["schema", "9"]),
        ("scans/upper.stl", "../upper.stl", ["folder"]),
        ("scans/upper.stl", "scans/lower.stl", ["lower.stl"]),
        ("missing = [21]", "missing = [21", ["line"]),
    ],
)
def test_a_slip_in_the_case_is_one_line(
    front: Ran, tmp_path: Path, old: str, new: str, words: list[str]
) -> None:
    case = copy_of(front, tmp_path)
    edited(case, old, new)
    refused(case, *words)


def test_no_such_folder_names_the_command_that_starts_one(tmp_path: Path) -> None:
    said = pinseat("run", tmp_path / "none")
    assert (said.code, said.out) == (2, "")
    assert "pinseat new" in said.err


def test_new_makes_a_case_that_asks_for_what_is_missing(tmp_path: Path) -> None:
    folder = tmp_path / "own"
    assert pinseat("new", folder, "--number", "A-1").code == 0
    said = pinseat("run", folder)
    assert said.code == 2
    assert "case.toml" in said.err
    again = pinseat("new", folder)
    assert again.code == 2
    assert "empty" in again.err


def test_unknown_commands_and_steps_are_refused(front: Ran) -> None:
    assert pinseat("rn").code == 2
    assert pinseat("run", front[0], "--until", "lunch").code == 2
    assert pinseat("demo", "back").code == 2


def test_reference_shows_basis_and_source_and_refuses_nonsense() -> None:
    shown = pinseat("reference", "crown.11.mesiodistal")
    assert shown.code == 0
    assert "8.5" in shown.out
    assert pinseat("reference", "no such thing").code == 2


def test_doctor_finds_two_published_values() -> None:
    said = pinseat("doctor")
    assert said.code == 0
    assert said.out.count("right ") == 2
    assert "Sound." in said.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("rnu", "x"), 'Did you mean "run"?'),
        (("run",), "CASE requires an argument"),
        (("run", "x", "--threads", "0"), "--threads. Must be >= 1"),
        (("run", "x", "--until", "polishing"), 'Invalid value "polishing" for --until'),
    ],
)
def test_a_command_typed_wrong_is_refused_in_one_line(words: tuple[str, ...], says: str) -> None:
    said = pinseat(*words)
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith("pinseat: ")
    assert says in said.err
    assert len(said.err.strip().splitlines()) == 1
