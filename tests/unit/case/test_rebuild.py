"""A stored result comes back as it was: regression against our own writer, number for number."""

import json
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from pinseat.case.rebuild import rebuild
from pinseat.case.results import json_text


@dataclass(frozen=True)
class Inner:
    name: str
    size: float | None


@dataclass(frozen=True, eq=False)
class Outer:
    inner: tuple[Inner, ...]
    table: NDArray[np.float64]
    counts: NDArray[np.int64]
    limits: dict[str, float]
    flag: bool


def test_every_kind_of_field_survives() -> None:
    made = Outer(
        (Inner("a", 0.1), Inner("b", None)),
        np.array([[1 / 3, np.inf], [-np.inf, 2.0]]),
        np.array([1, 2]),
        {"11-1": 0.25},
        True,
    )
    again = rebuild(Outer, json.loads(json_text(made)))
    assert again.inner == made.inner
    assert again.limits == made.limits
    assert again.flag is True
    assert again.counts.dtype == np.int64
    np.testing.assert_array_equal(again.table, made.table)


def test_empty_arrays_keep_their_kind() -> None:
    again = rebuild(Outer, json.loads(json_text(Outer((), np.zeros((0, 2)), np.zeros(0, int), {}, False))))
    assert again.table.size == 0
    assert again.table.dtype == np.float64


@pytest.mark.parametrize("plain", [{}, {"name": "a"}, {"name": "a", "size": "wide"}])
def test_a_stored_text_of_another_shape_is_refused(plain: dict[str, str]) -> None:
    with pytest.raises((KeyError, TypeError, ValueError)):
        rebuild(Inner, plain)
