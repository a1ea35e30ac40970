from __future__ import annotations

import numpy as np
import pytest

from pinseat.numerics.adaptive import numerical_tolerance, until_stable
from pinseat.numerics.counter import normals


# JCGM 101:2008, 7.9.2, from memory: 0.35 g with two digits is 35 x 10^-2 g, tolerance 0.005 g; 2 K with
# one, 0.5 K.
@pytest.mark.parametrize(
    ("u", "digits", "tolerance"), [(0.35, 2, 0.005), (2.0, 1, 0.5), (99.9, 2, 0.5), (0.0, 2, 0.0)]
)
def test_numerical_tolerance(u: float, digits: int, tolerance: float) -> None:
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance)


def gauss(start: int, trials: int) -> np.ndarray:
    return 5.0 + 3.0 * normals(2, 0, start, trials, 1)[:, 0]


def test_stops_when_stable_and_is_then_right() -> None:
    found = until_stable(gauss, digits=2)
    assert found.stable
    assert found.trials >= 20_000
    np.testing.assert_allclose([found.mean, found.u], [5.0, 3.0], atol=2 * found.tolerance)
    np.testing.assert_allclose([found.low, found.high], [5 - 5.88, 5 + 5.88], atol=2 * found.tolerance)


def test_asks_for_trials_in_order_and_not_for_more_than_allowed() -> None:
    asked = []

    def draw(start: int, trials: int) -> np.ndarray:
        asked.append((start, trials))
        return gauss(start, trials)

    found = until_stable(draw, digits=4, most_trials=50_000)
    assert not found.stable
    assert asked == [(k * 10_000, 10_000) for k in range(5)]
    assert found.trials == 50_000


def test_rare_events_need_larger_blocks() -> None:
    sizes = []

    def draw(start: int, trials: int) -> np.ndarray:
        sizes.append(trials)
        return gauss(start, trials)

    until_stable(draw, digits=1, coverage=0.999)
    assert set(sizes) == {100_000}


def test_what_never_varies_is_stable_at_once() -> None:
    found = until_stable(lambda start, trials: np.full(trials, 2.5))
    assert (found.mean, found.u, found.tolerance, found.trials) == (2.5, 0.0, 0.0, 20_000)
    assert found.stable
