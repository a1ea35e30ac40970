from __future__ import annotations

from pathlib import Path

from pinseat import chain
from pinseat.case.document import load_case
from pinseat.chain.look import ends, look
from pinseat.chain.steps import STEPS
from pinseat.demo.cases import build


def _states(folder: Path) -> dict[str, str]:
    return {one.step: one.state for one in look(folder)}


def test_what_changed_makes_older_what_rests_on_it_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_text(build("bench").toml, encoding="utf-8")
    assert set(_states(tmp_path).values()) == {"none"}
    assert "scan" not in _states(tmp_path)  # callipers only
    chain.run(tmp_path, until="casting")
    states = _states(tmp_path)
    assert (states["survey"], states["casting"], states["seating"]) == ("holds", "holds", "none")
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('alloy = "', 'alloy = "gold type 4" # "', 1), encoding="utf-8")
    assert load_case(tmp_path).chain.alloy == "gold type 4"
    states = _states(tmp_path)
    assert (states["survey"], states["casting"]) == ("holds", "older")
    (tmp_path / "results" / "survey.json").write_text("{")
    assert _states(tmp_path)["survey"] == "none"
    assert chain.run(tmp_path, until="casting").casting is not None
    assert _states(tmp_path)["casting"] == "holds"


def test_to_run_the_ends_is_to_run_all() -> None:
    case = build("bench").case
    last = ends(case)
    assert last[0] == "seating"
    reached: set[str] = set()
    for name in last:
        reached |= {step.name for step in chain.steps.wanted(name, case)}
    assert reached == {step.name for step in STEPS.values() if step.applies(case)}
