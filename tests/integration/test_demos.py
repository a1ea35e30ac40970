"""The three invented cases from end to end, through the command line."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from pinseat.case.results import read_result

from .conftest import Said, pinseat

Ran = tuple[Path, Said]


def test_front_goes_home_with_every_pin_found(front: Ran) -> None:
    _, said = front
    assert (said.code, said.err) == (0, "")
    answer = said.answer
    assert list(answer) == ["case", "steps", "findings", "ledger", "seat"]
    assert answer["seat"]["verdict"] == "goes home"
    names = [f"{p['tooth']}-{p['number']}" for p in answer["steps"]["survey"]["field"]["pins"]]
    assert names == ["11-1", "11-2", "11-3", "22-1", "22-2"]


def test_span_binds_and_the_scale_is_named_as_the_cause(span: Ran) -> None:
    _, said = span
    assert (said.code, said.err) == (0, "")
    seat = said.answer["seat"]
    assert seat["verdict"] == "will bind"
    bias = next(f for f in said.answer["findings"] if f["code"] == "seating.bias")
    assert bias["verdict"] == "stop"
    assert bias["do"].startswith("raise the mould's expansion from 1.25 %")
    assert any("mould" in lever["change"] for lever in seat["levers"][:2])


def test_bench_cannot_tell_because_readings_are_missing(bench: Ran) -> None:
    _, said = bench
    assert (said.code, said.err) == (0, "")
    answer = said.answer
    assert answer["seat"]["verdict"] == "cannot tell"
    assert "readings are missing" in answer["seat"]["why"]
    assert answer["steps"]["survey"]["blind"]
    assert "scan" not in answer["steps"]


def test_same_case_gives_the_same_bytes_with_two_threads_and_from_the_store(
    front: Ran, tmp_path: Path
) -> None:
    folder, first = front
    again = tmp_path / "again"
    shutil.copytree(folder, again)
    stored = pinseat("run", again, "--json", "--threads", "2")
    assert stored.out == first.out
    shutil.rmtree(again / "results")
    fresh = pinseat("run", again, "--json", "--threads", "2")
    assert fresh.out == first.out
    assert (again / "results/report.pdf").read_bytes() == (folder / "results/report.pdf").read_bytes()


def test_results_say_what_they_were_made_from(front: Ran) -> None:
    folder, said = front
    for step in ("scan", "survey", "casting", "seating"):
        stored = read_result(folder, step)
        assert set(stored.meta) == {"code", "reference", "case", "input", "reads", "values"}
        assert stored.meta["code"] == said.answer["case"]["meta"]["code"]
    lines = [json.loads(line) for line in (folder / "log.jsonl").read_text().splitlines()]
    assert [line["kind"] for line in lines] == ["run"]
    assert "goes home" in lines[0]["note"]


def test_a_changed_reading_changes_the_verdict_and_nothing_before_it(span: Ran, tmp_path: Path) -> None:
    folder, said = span
    case = tmp_path / "span"
    shutil.copytree(folder, case)
    toml = case / "case.toml"
    text = toml.read_text(encoding="utf-8")
    wider = text.replace("cast_pin_diameter_mm = 0.600", "cast_pin_diameter_mm = 0.500")
    assert wider != text
    toml.write_text(wider, encoding="utf-8")
    after = pinseat("run", case, "--until", "seating", "--json")
    assert after.answer["seat"]["chance"]["probability"] > said.answer["seat"]["chance"]["probability"]
    assert after.answer["steps"]["scan"] == said.answer["steps"]["scan"]


@pytest.mark.parametrize("until", ["scan", "survey", "casting"])
def test_a_run_may_stop_early(front: Ran, until: str) -> None:
    folder, _ = front
    said = pinseat("run", folder, "--until", until, "--json")
    assert said.code == 0
    assert list(said.answer["steps"])[-1] == until
    assert said.answer["seat"] is None


def test_the_screen_is_readable_without_colour(front: Ran) -> None:
    folder, _ = front
    said = pinseat("run", folder)
    assert said.code == 0
    assert "GOES HOME" in said.out
    assert max(map(len, said.out.splitlines())) <= 100
    assert len(said.out.splitlines()) <= 45
    assert "\x1b" not in said.out


def test_casting_and_cementing_get_a_card_each(bench: Ran, tmp_path: Path) -> None:
    folder = tmp_path / "bench"
    shutil.copytree(bench[0], folder)
    said = pinseat("cast", folder)
    assert (said.code, said.err) == (0, "")
    for words in ("rests on", "recommended", "g powder", "never force", "recipe.pdf", "cementing.pdf"):
        assert words in said.out
    assert max(map(len, said.out.splitlines())) <= 100 + len(str(folder))
    answer = pinseat("cast", folder, "--json").answer
    assert answer["steps"]["recipe"]["mould"]["recommended"]["powder_g"] == 60.0
