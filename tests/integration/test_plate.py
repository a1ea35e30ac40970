"""Plating from the command line: the programme, the log, and what is refused."""

import json
from pathlib import Path

import pytest

from pinseat.case import log as bench_log
from pinseat.cli.log import log
from pinseat.cli.plate import plate
from pinseat.demo.cases import write
from pinseat.errors import CaseError, PlatingError
from pinseat.plating import solve

PIECE = """
[plating]
unstaffed = ["20:00-07:30"]
start = "2026-03-02 16:00"
mean_mm = "0,6"

[[plating.pieces]]
tooth = 11
area_mm2 = "74,0"
depth_mm = 2.0
"""


@pytest.fixture
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(solve, "FINE_MM", {"scan": 0.8, "ideal": 0.8})
    monkeypatch.setattr(solve, "COARSE_MM", 0.8)
    monkeypatch.setattr(solve, "STEPS", 3)


def bench(folder: Path, more: str = PIECE) -> Path:
    write("bench", folder)
    toml = folder / "case.toml"
    toml.write_text(toml.read_text(encoding="utf-8") + more, encoding="utf-8")
    return folder


def test_from_plan_to_log_and_back(tmp_path: Path, coarse: None, capsys: pytest.CaptureFixture[str]) -> None:
    folder = bench(tmp_path / "bench")
    plate(folder)
    said = capsys.readouterr().out
    assert "set            5 mA for 1.0 h and look, then" in said
    assert "2026-03-03 07:30" in said
    for name in ("plating-programme.pdf", "plating-programme.csv", "plating.glb", "plating.ply"):
        assert (folder / "results" / name).stat().st_size > 100
    plate(folder, json=True)
    told = json.loads(capsys.readouterr().out)
    assert told["steps"]["programme"]["rows"][0]["current_mA"] == 5.0
    assert {f["step"] for f in told["findings"]} >= {"plating"}
    map_before = (folder / "results" / "plating.json").read_bytes()

    log(folder, current="5,0", voltage="0,31", temperature="22", who="AB")
    said = capsys.readouterr().out
    assert said.startswith("logged: ")
    assert "current 5 mA, voltage 0.31 V, temperature 22 degC" in said
    assert "to go" in said
    assert "reckoned" not in said
    with pytest.raises(PlatingError, match="this cannot be the weight before"):
        log(folder, before="-3")
    with pytest.raises(PlatingError, match=r"no such piece \(12; expected 11\)"):
        log(folder, piece="12", before="3")
    plate(folder, json=True)
    told = json.loads(capsys.readouterr().out)["steps"]["programme"]["log"]
    assert (told["entries"], told["running"]) == (1, True)
    assert (folder / "results" / "plating.json").read_bytes() == map_before, "the log made the map anew"


def test_the_log_needs_no_map_and_survives_a_slip_in_the_case(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = bench(tmp_path / "bench", "")
    log(folder)
    assert "no entry of the plating yet" in capsys.readouterr().out
    toml = folder / "case.toml"
    whole = toml.read_text(encoding="utf-8")
    toml.write_text(whole + "\n[plating]\ncurent_mA = 5\n", encoding="utf-8")
    with pytest.raises(CaseError, match="did you mean current_mA"):
        log(folder, current="30")
    assert capsys.readouterr().out.startswith("logged: ")
    toml.write_text(whole, encoding="utf-8")
    log(folder, current="30", seen="covered")
    said = capsys.readouterr().out
    assert "by areas alone; for the thickness map: pinseat plate" in said
    readings = [e for e in bench_log.read(folder).entries if e.kind == "plating"]
    assert [e.readings[0].value for e in readings] == [30.0, 30.0]


def test_a_torn_last_line_is_put_aside_and_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = bench(tmp_path / "bench", "")
    log(folder, current="30")
    with (folder / "log.jsonl").open("ab") as file:
        file.write(b'{"before": "12')
    capsys.readouterr()
    log(folder)
    assert "the last line was not finished (14 letters)" in capsys.readouterr().out
    log(folder, current="31")
    assert "torn line" not in capsys.readouterr().out
    kinds = [entry.kind for entry in bench_log.read(folder).entries]
    assert kinds == ["plating", "torn", "plating"]
    assert [p.read_bytes() for p in folder.glob("log-torn-*.txt")] == [b'{"before": "12']


def test_dies_that_are_not_plated_and_folders_that_are_none(tmp_path: Path) -> None:
    folder = tmp_path / "bench"
    write("bench", folder)
    toml = folder / "case.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace('"silver plated"', '"gypsum"'), encoding="utf-8")
    with pytest.raises(PlatingError, match="this die is not plated"):
        plate(folder)
    with pytest.raises(CaseError, match="there is no such case folder"):
        log(tmp_path / "nothing", current="30")
    assert not (tmp_path / "nothing").exists()


def test_a_current_that_cannot_be_meant_gives_the_one_that_may_be_set(tmp_path: Path) -> None:
    folder = bench(tmp_path / "bench", PIECE.replace("[plating]", "[plating]\ncurrent_mA = 900"))
    with pytest.raises(PlatingError, match=r"far above what the bath takes .* set at most 15 mA"):
        plate(folder)


def test_masks_that_cover_everything_give_words_and_no_map(tmp_path: Path, coarse: None) -> None:
    folder = bench(tmp_path / "bench", PIECE.replace("[plating]", "[plating]\nmask_mm = 5"))
    with pytest.raises(PlatingError, match="no bare metal is left"):
        plate(folder)
    assert not (folder / "results" / "plating.json").exists()
