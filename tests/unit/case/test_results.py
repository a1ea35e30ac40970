import errno
import json
import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from pinseat.case.model import Seat
from pinseat.case.rebuild import rebuild
from pinseat.case.results import input_hash, json_text, read_result, to_plain, write_result
from pinseat.errors import CaseError


@dataclass(frozen=True, eq=False)
class Inner:
    name: str
    at: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Outer:
    parts: tuple[Inner, ...]
    count: NDArray[np.int64]
    wide_um: float
    allowance_deg: dict[str, float]
    stated: bool
    limit: float | None


RESULT = Outer(
    parts=(Inner("11-1", np.array([[0.1, math.inf], [-math.inf, math.nan]])), Inner("ü", np.zeros((0,)))),
    count=np.array([1, 2]),
    wide_um=0.1 + 0.2,
    allowance_deg={"22-1": 1.0, "11-1": 2.0},
    stated=True,
    limit=None,
)


def test_a_result_survives_storing_to_the_last_digit(tmp_path: Path) -> None:
    write_result(tmp_path, "survey", RESULT, {"code": "0.1.0+abc", "input": "77"})
    stored = read_result(tmp_path, "survey")
    assert stored.meta == {"code": "0.1.0+abc", "input": "77"}
    back = rebuild(Outer, stored.payload)
    np.testing.assert_array_equal(back.parts[0].at, RESULT.parts[0].at)
    np.testing.assert_array_equal(back.count, RESULT.count)
    assert back.count.dtype == np.int64
    assert back.parts[1].name == "ü"
    assert (back.wide_um, back.allowance_deg, back.stated, back.limit) == (
        RESULT.wide_um,
        RESULT.allowance_deg,
        True,
        None,
    )
    assert json_text(back) == json_text(RESULT)


def test_fields_keep_the_order_of_their_class_and_the_text_is_strict_json() -> None:
    text = json_text(RESULT)
    assert list(json.loads(text)) == ["parts", "count", "wide_um", "allowance_deg", "stated", "limit"]
    assert text.endswith("}\n")
    assert "NaN" not in text
    assert "Infinity" not in text
    json.loads(text, parse_constant=lambda word: pytest.fail(word))


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_finite_number_keeps_every_digit(x: float) -> None:
    assert json.loads(json_text([x, np.float64(x)])) == [x, x]


def test_models_paths_and_numpy_numbers_become_plain() -> None:
    assert to_plain(Seat())["limit_um"] == 120.0
    assert to_plain(Path("results") / "report.pdf") == "results/report.pdf"
    assert to_plain([np.int32(3), np.bool_(True), np.float32(0.5), np.array(2.0)]) == [3, True, 0.5, 2.0]


@pytest.mark.parametrize("odd", [{1, 2}, b"bytes", 1j, {1: 2}, object(), Seat])
def test_what_has_no_plain_form_is_refused(odd: Any) -> None:
    with pytest.raises(TypeError):
        to_plain({"a": [odd]})


def test_the_input_hash_sees_every_part_and_their_order_but_not_the_order_of_keys() -> None:
    base = input_hash("a", {"x": 1.0, "y": [1, 2]}, "v1")
    assert base == input_hash("a", {"y": (1, 2), "x": 1.0}, "v1")
    others = [
        input_hash("a", {"x": 1.0, "y": [2, 1]}, "v1"),
        input_hash("a", {"x": 1.0 + 2**-52, "y": [1, 2]}, "v1"),
        input_hash("av1", {"x": 1.0, "y": [1, 2]}),
        input_hash("v1", {"x": 1.0, "y": [1, 2]}, "a"),
        input_hash("a", {"x": 1.0, "y": [1, 2]}, None),
    ]
    assert len({base, *others}) == 6


@pytest.mark.parametrize(
    "data",
    [b"", b"{", b"[]", b'"x"', b'{"schema": 1}', b'{"schema": 2, "step": "survey", "meta": {}, "result": 1}',
     b'{"schema": 1, "step": "seating", "meta": {}, "result": 1}', b"\xff\xfe", b"[" * 100_000],
)  # fmt: skip
def test_a_damaged_result_is_told(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / "survey.json").write_bytes(data)
    with pytest.raises(CaseError, match="this stored result cannot be read"):
        read_result(tmp_path, "survey")


def test_no_result_and_no_step_are_told(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match="this is not there"):
        read_result(tmp_path, "survey")
    with pytest.raises(CaseError, match="no name of a step"):
        write_result(tmp_path, "../survey", 1, {})
    assert os.listdir(tmp_path) == []


def test_a_full_disk_keeps_the_result_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_result(tmp_path, "survey", 1, {})
    before = (tmp_path / "results" / "survey.json").read_bytes()

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "no space")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CaseError, match="the disk is full"):
        write_result(tmp_path, "survey", 2, {})
    assert (tmp_path / "results" / "survey.json").read_bytes() == before
    assert os.listdir(tmp_path / "results") == ["survey.json"]


@pytest.mark.parametrize(
    ("kind", "plain"),
    [(Inner, {"name": "a"}), (Inner, {"name": "a", "at": ["far"]}), (Outer, []), (Inner, None)],
)
def test_stored_values_that_do_not_fit_are_refused(kind: type[Any], plain: Any) -> None:
    with pytest.raises((TypeError, ValueError, KeyError)):
        rebuild(kind, plain)
