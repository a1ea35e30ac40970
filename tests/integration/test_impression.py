"""``pinseat impression`` as a person runs it, on the invented cases."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.integration.conftest import Said, pinseat


@pytest.mark.parametrize("name", ["front", "bench"])
def test_the_command_answers_and_sets_the_card(
    name: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    made, _ = request.getfixturevalue(name)
    folder = tmp_path / name
    shutil.copytree(made, folder)
    said = pinseat("impression", folder, "--json")
    assert said.code == 0, said.err
    step = said.answer["steps"]["impression"]
    assert step["tally"]["pins"] == (5 if name == "front" else 3)
    assert step["tally"]["home"] == 0
    assert all((folder / file).is_file() for file in step["files"])
    assert step["bulk"]["middle_mm"] == pytest.approx(2.6)
    assert [part["route"] for part in step["parts"]] == ["rubber", "tray", "put back", "play in hole"]
    codes = {f["code"] for f in said.answer["findings"] if f["step"] == "impression"}
    assert {"impression.tally", "impression.lean", "impression.fracture", "impression.play"} <= codes
    assert ("impression.strain" in codes) == (name == "front")


def test_a_reading_changes_what_it_says(bench: tuple[Path, Said], tmp_path: Path) -> None:
    folder = tmp_path / "bench"
    shutil.copytree(bench[0], folder)
    readings = "\n".join(
        f'[[impression.projections]]\npin = "{pin}"\nmm = ["{mm}"]\n'
        for pin, mm in (("11-1", "2,24"), ("11-2", "2,00"), ("22-1", "1,85"))
    )
    case = folder / "case.toml"
    case.write_text(f"{case.read_text()}\n[impression]\nbulk_mm = 3.5\n\n{readings}", "utf-8")
    said = pinseat("impression", folder)
    assert said.code == 0, said.err
    flat = " ".join(said.out.split())
    assert "STOP Re-seat 11-1 and read again." in flat
    assert "trim the cast pin by 0.24 mm" in flat
    assert "seats with a shorter pin" in flat
    assert "2 of 3" in flat


def test_a_pin_the_case_does_not_have_is_refused(bench: tuple[Path, Said], tmp_path: Path) -> None:
    folder = tmp_path / "bench"
    shutil.copytree(bench[0], folder)
    case = folder / "case.toml"
    case.write_text(f'{case.read_text()}\n[[impression.projections]]\npin = "11-9"\nmm = [2.1]\n', "utf-8")
    said = pinseat("impression", folder)
    assert said.code == 2
    assert "the case has no such pin" in said.err
