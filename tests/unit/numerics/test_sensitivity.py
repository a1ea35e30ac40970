from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pinseat.numerics.sensitivity import total_order

Float = NDArray[np.float64]


def first(xi: Float) -> Float:
    return xi[:, 0]


def test_a_group_that_does_nothing_has_share_nought_and_one_that_does_all_has_one() -> None:
    (_, all_of_it, error), (_, nothing, none) = total_order(
        first, {"all": [0], "none": [1, 2]}, trials=5000, seed=1
    )
    assert abs(all_of_it - 1) < 4 * error
    assert (nothing, none) == (0.0, 0.0)


def test_a_constant_has_no_shares() -> None:
    assert total_order(lambda xi: np.ones(len(xi)), {"a": [0], "b": [1]}, trials=10, seed=1) == [
        ("a", 0, 0),
        ("b", 0, 0),
    ]


def test_same_seed_same_bits_and_names_in_order() -> None:
    groups = {"b": [1], "a": [0]}
    one, other = (total_order(lambda xi: xi.sum(axis=1), groups, trials=300, seed=6) for _ in range(2))
    assert one == other
    assert [name for name, _, _ in one] == ["b", "a"]


@pytest.mark.parametrize("groups", [{"a": [0, 1], "b": [1]}, {"a": [0], "b": [2]}])
def test_groups_must_be_a_partition(groups: dict[str, list[int]]) -> None:
    with pytest.raises(ValueError, match="exactly one group"):
        total_order(first, groups, trials=10, seed=1)


def test_one_trial_is_too_few() -> None:
    with pytest.raises(ValueError, match="two trials"):
        total_order(first, {"a": [0]}, trials=1, seed=1)


def test_an_infinite_answer_is_refused() -> None:
    with pytest.raises(ValueError, match="finite"):
        total_order(lambda xi: np.full(len(xi), np.inf), {"a": [0]}, trials=10, seed=1)
