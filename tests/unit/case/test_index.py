from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from pinseat.case import index
from pinseat.case.files import new_case


@pytest.fixture
def practice(tmp_path: Path) -> Path:
    for name, number in (("a", "26-014"), ("b", "26-015"), ("c", "27-001")):
        new_case(tmp_path / name, number)
    (tmp_path / "not a case").mkdir()
    return tmp_path


def _numbers(practice: Path, search: str = "") -> set[str]:
    return {one.number for one in index.cases(practice, search)}


def test_cases_are_found_by_their_own_number(practice: Path) -> None:
    assert _numbers(practice) == {"26-014", "26-015", "27-001"}
    assert _numbers(practice, "26-") == {"26-014", "26-015"}
    assert _numbers(practice, "nothing") == set()


def test_what_changed_is_read_again(practice: Path) -> None:
    _numbers(practice)
    path = practice / "a" / "case.toml"
    path.write_text(path.read_text().replace("26-014", "26-999"))
    state = path.stat()
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns + 1_000_000))
    seat = {"verdict": "will bind", "chance": {"probability": 0.25}}
    stored = {"schema": 1, "step": "seating", "meta": {}, "result": seat}
    (practice / "b" / "results" / "seating.json").write_text(json.dumps(stored))
    (practice / "c" / "case.toml").unlink()
    found = {one.folder: one for one in index.cases(practice)}
    assert set(found) == {"a", "b"}
    assert found["a"].number == "26-999"
    assert (found["b"].verdict, found["b"].chance) == ("will bind", 0.25)


def test_the_index_is_made_again_from_nothing(practice: Path) -> None:
    first = index.cases(practice)
    for spoilt in (b"no database at all" * 200, b""):
        (practice / index.INDEX).write_bytes(spoilt)
        assert index.cases(practice) == first
    (practice / index.INDEX).unlink()
    assert index.cases(practice) == first


def test_a_case_that_cannot_be_read_is_listed_with_the_reason(practice: Path) -> None:
    (practice / "a" / "case.toml").write_text("number = ")
    found = {one.folder: one for one in index.cases(practice)}
    assert found["a"].trouble
    assert found["a"].number == ""
