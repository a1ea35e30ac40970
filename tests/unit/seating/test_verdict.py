"""Where the verdict turns, with the error of counting in hand."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.seating.bridges import chance
from pinseat.seating.findings import quantile_with_u
from pinseat.seating.model import Chance
from pinseat.seating.verdict import decide, settled

SURE = Chance(0.99, 0.001)


@pytest.mark.parametrize(
    ("p", "se", "verdict"),
    [
        (0.97, 0.002, "goes home"),
        (0.904, 0.002, "goes home"),
        (0.903, 0.002, "cannot tell"),  # 0.903 - 0.004 is below 0.90
        (0.70, 0.002, "cannot tell"),
        (0.497, 0.002, "cannot tell"),  # 0.497 + 0.004 is above one half
        (0.495, 0.002, "will bind"),
        (0.0, 0.0001, "will bind"),
    ],
)
def test_borders_are_passed_only_by_more_than_the_counting_error(p: float, se: float, verdict: str) -> None:
    assert decide(Chance(p, se), SURE, wanted=0.9, limit_um=120.0)[0] == verdict


def test_between_is_said_to_be_between() -> None:
    _, why = decide(Chance(0.7, 0.002), SURE, wanted=0.9, limit_um=120.0)
    assert why.startswith("the probability lies between")


def test_missing_readings_never_let_a_bridge_go_home() -> None:
    verdict, why = decide(SURE, SURE, wanted=0.9, limit_um=120.0, blind=("splay of pin 11-1",))
    assert verdict == "cannot tell"
    assert why.startswith("readings are missing: splay of pin 11-1")


def test_missing_readings_do_not_save_a_bridge_that_cannot_come_down() -> None:
    low = Chance(0.2, 0.002)
    verdict, why = decide(low, low, wanted=0.9, limit_um=120.0, blind=("splay of pin 11-1",))
    assert verdict == "will bind"
    assert "whatever the missing readings would show" in why


def test_a_low_chance_of_entering_alone_is_not_binding_while_readings_are_missing() -> None:
    verdict, _ = decide(Chance(0.2, 0.002), SURE, wanted=0.9, limit_um=120.0, blind=("splay",))
    assert verdict == "cannot tell"


@pytest.mark.parametrize(
    ("p", "done"), [(0.97, True), (0.902, False), (0.7, True), (0.502, False), (0.3, True)]
)
def test_counting_goes_on_near_either_border(p: float, done: bool) -> None:
    assert settled(Chance(p, 0.002), 0.9) is done


def test_no_failure_among_many_still_has_a_standard_error() -> None:
    found = chance(np.ones(10_000, dtype=bool))
    assert found.probability == 1.0
    assert found.standard_error == pytest.approx(1e-4, rel=1e-3)


def test_quantile_keeps_infinite_openings_out_of_the_arithmetic() -> None:
    sample = np.concatenate([np.linspace(0.0, 0.1, 900), np.full(100, np.inf)])
    assert quantile_with_u(sample, 0.5)[0] == pytest.approx(0.0555, abs=1e-3)
    assert quantile_with_u(sample, 0.95) == (np.inf, np.inf)


def test_standard_error_of_a_quantile_is_honest() -> None:
    """Over 200 samples the spread of the estimate is what each sample says of itself."""
    rng = np.random.default_rng(2)
    found = np.array([quantile_with_u(rng.standard_normal(2000), 0.9) for _ in range(200)])
    assert found[:, 0].std() == pytest.approx(found[:, 1].mean(), rel=0.15)
