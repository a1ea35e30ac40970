"""What makes a stored result stale, and what does not."""

import dataclasses
from pathlib import Path
from typing import get_args

import pytest

from pinseat import chain
from pinseat.case import log
from pinseat.chain.steps import STEPS, _found, wanted
from pinseat.chain.work import Watched, stated
from pinseat.cli.app import Step
from pinseat.demo import cases
from pinseat.errors import CaseError


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    folder = tmp_path / "bench"
    cases.write("bench", folder)
    chain.run(folder, until="seating")
    return folder


def edit(folder: Path, old: str, new: str) -> None:
    text = (folder / "case.toml").read_text(encoding="utf-8")
    assert old in text
    (folder / "case.toml").write_text(text.replace(old, new, 1), encoding="utf-8")


def computed(folder: Path) -> str:
    """What the next run computes, by its line in the log; empty when nothing."""
    before = len(log.read(folder).entries)
    chain.run(folder, until="seating")
    entries = log.read(folder).entries[before:]
    return entries[0].note.split(" with ")[0].removeprefix("computed ") if entries else ""


def test_nothing_changed_nothing_computed(bench: Path) -> None:
    assert computed(bench) == ""


def test_a_title_makes_nothing_stale(bench: Path) -> None:
    edit(bench, 'title = "', 'title = "Another ')
    assert computed(bench) == ""


def test_the_accepted_opening_does_not_move_a_pin(bench: Path) -> None:
    with (bench / "case.toml").open("a", encoding="utf-8") as handle:
        handle.write("\n[seat]\nseed = 2\n")
    assert computed(bench) == "seating"


def test_a_reading_makes_all_that_follows_stale(bench: Path) -> None:
    edit(bench, "u_mm = 0.02", "u_mm = 0.03")
    assert computed(bench) == "survey, casting, seating"


def test_a_lost_or_damaged_result_is_made_again(bench: Path) -> None:
    (bench / "results" / "casting.json").write_text("{", encoding="utf-8")
    assert computed(bench) == "casting"


def test_a_step_brings_what_it_needs_in_the_order_of_the_work() -> None:
    case = cases.build("bench").case
    assert [step.name for step in wanted("casting", case)] == ["survey", "casting"]
    for step in STEPS.values():
        assert set(step.needs) <= set(list(STEPS)[: list(STEPS).index(step.name)])


def test_every_step_has_its_type_and_its_call() -> None:
    for step in STEPS.values():
        assert "findings" in {field.name for field in dataclasses.fields(step.result_type)}
        for call in (step.make, step.applies, step.also):
            cells = [cell.cell_contents for cell in call.__closure__ or ()]
            for place in (cell for cell in cells if isinstance(cell, str)):
                assert callable(_found(f"pinseat.chain.{place}"))


def test_the_command_line_knows_every_step() -> None:
    assert get_args(Step) == tuple(STEPS)


def test_a_step_without_meaning_for_a_case_is_refused(bench: Path) -> None:
    with pytest.raises(CaseError, match="nothing for this step to work on"):
        chain.run(bench, until="scan")


def test_an_unknown_step_is_refused(bench: Path) -> None:
    with pytest.raises(CaseError, match="no such step"):
        chain.run(bench, until="polish")


def test_a_watched_case_notes_what_is_read_and_takes_a_dump_for_everything() -> None:
    watched = Watched(cases.build("bench").case)
    assert watched.as_case.seat.seed == 1
    assert watched.read == {"seat"}
    watched.as_case.model_dump()
    assert watched.read == set(type(watched.case).model_fields)
    assert set(stated(watched.case, {"seat"})) == {"seat"}


def test_an_impression_that_is_stated_counts_in_the_ledger(bench: Path) -> None:
    assumed = chain.run(bench, until="casting").results["casting"].fit.rows[0]
    with (bench / "case.toml").open("a", encoding="utf-8") as handle:
        handle.write("\n[impression]\nbulk_mm = 6.0\nu_bulk_mm = 0.5\n")
    outcome = chain.run(bench, until="casting")
    row = outcome.results["casting"].fit.rows[0]
    assert list(outcome.results) == ["survey", "impression", "casting"]
    assert row == outcome.results["impression"].row
    assert row.scale.mean != assumed.scale.mean


def test_pages_of_a_refused_run_are_set_aside(bench: Path) -> None:
    """Nobody shall read a page of another state of the case."""
    chain.run(bench, until="readings")
    page, older = bench / "results/readings.pdf", bench / "results/older/readings.pdf"
    assert page.is_file()
    sound = (bench / "case.toml").read_text(encoding="utf-8")
    edit(bench, "u_mm = 0.02", "u_mm = 20")
    with pytest.raises(CaseError, match="u_mm"):
        chain.run(bench, until="seating")
    assert older.is_file()
    assert not page.exists()
    (bench / "case.toml").write_text(sound, encoding="utf-8")
    chain.run(bench, until="readings")
    assert page.is_file()


def test_what_does_not_rest_on_a_refused_step_stays(bench: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    chain.run(bench, until="readings")

    def refuse(work: object) -> None:
        raise CaseError("this step cannot be done")

    edit(bench, "u_mm = 0.02", "u_mm = 0.03")
    monkeypatch.setitem(STEPS, "survey", dataclasses.replace(STEPS["survey"], make=refuse))
    with pytest.raises(CaseError, match="cannot be done"):
        chain.run(bench, until="seating")
    assert (bench / "results/readings.pdf").is_file()
