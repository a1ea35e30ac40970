"""One PDF of every page that holds, behind one that says how each step stands."""

from __future__ import annotations

from pathlib import Path

import pytest

from pinseat import chain
from pinseat.chain.bind import bind
from pinseat.demo import cases
from pinseat.report.setting import page_count


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    folder = tmp_path / "bench"
    cases.write("bench", folder)
    chain.run(folder, until="ticket")
    return folder


def test_only_pages_that_hold_are_bound(bench: Path) -> None:
    first = bind(bench)
    by_step = {part.step: part for part in first.parts}
    assert by_step["ticket"].pages == ("work-ticket.pdf",)
    assert by_step["seating"].verdict == "cannot tell"
    assert (by_step["report"].state, by_step["report"].pages) == ("none", ())
    assert page_count(first.path.read_bytes()) == 2
    assert first.path.read_bytes() == bind(bench).path.read_bytes()

    toml = bench / "case.toml"
    toml.write_text(
        toml.read_text(encoding="utf-8").replace("missing = [21]", "missing = []"), encoding="utf-8"
    )
    later = bind(bench)
    stands = {part.step: part for part in later.parts}["ticket"]
    assert (stands.state, stands.pages, stands.verdict) == ("older", (), "")
    assert page_count(later.path.read_bytes()) == 1
