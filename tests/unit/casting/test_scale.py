"""Scale arithmetic."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.casting.scale import doubt_shares, net_scale, probability_within, wanted_scale
from pinseat.ledger.rows import Basis, Entry, Row


def row(copy: str, mean: float, u: float = 0.0, basis: Basis = "assumed") -> Row:
    nil = Entry(0.0, 0.0, "um", "assumed", "test")
    return Row(copy, "test", Entry(mean, u, "%", basis, "test"), nil, nil, nil)


def test_order_of_the_copies_does_not_matter() -> None:
    rows = [row("die", 0.2, 0.1), row("investment", 1.7, 0.15), row("alloy", -1.42, 0.06)]
    first = net_scale(rows)
    for other in itertools.permutations(rows):
        again = net_scale(other)
        assert again.mean == pytest.approx(first.mean, abs=1e-12)
        assert again.u == pytest.approx(first.u, rel=1e-12)


@given(st.floats(-5.0, 5.0), st.floats(-5.0, 5.0))
def test_wanted_scale_brings_the_net_to_zero(die: float, alloy: float) -> None:
    others = [row("die", die), row("alloy", alloy)]
    wanted = wanted_scale([*others, row("investment", 99.0)], "investment")
    assert net_scale([*others, row("investment", wanted)]).mean == pytest.approx(0.0, abs=1e-10)


def test_doubt_is_shared_out_wholly() -> None:
    shares = doubt_shares([row("die", 0.0, 0.3), row("alloy", 0.0, 0.4)])
    assert shares == {"die": pytest.approx(0.36), "alloy": pytest.approx(0.64)}
    assert doubt_shares([row("die", 0.1)]) == {"die": 0.0}


@pytest.mark.parametrize(
    ("bases", "weakest"),
    [
        (("published", "measured here"), "published"),
        (("common practice", "published"), "common practice"),
        (("from memory", "common practice"), "from memory"),
        (("assumed", "from memory"), "assumed"),
    ],
)
def test_weakest_basis_wins(bases: tuple[Basis, Basis], weakest: str) -> None:
    assert net_scale([row("die", 0.0, 0.1, bases[0]), row("alloy", 0.0, 0.1, bases[1])]).basis == weakest


def test_certain_error_is_within_or_not() -> None:
    assert probability_within(0.1, 0.0, 0.1) == 1.0
    assert probability_within(-0.11, 0.0, 0.1) == 0.0
    assert probability_within(0.0, 0.0, 0.0) == 0.0
