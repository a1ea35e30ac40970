"""Random numbers against a reference generator, Monte Carlo against a published example."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtr

from pinseat.numerics.adaptive import Estimate, until_stable
from pinseat.numerics.counter import normals, words

WORD = 2**64 - 1


@pytest.mark.parametrize(
    ("seed", "stream", "trial"),
    [(0, 0, 0), (1, 2, 3), (WORD, WORD, 5), (20260101, 7, 2**40), (3, WORD, 99_999)],
)
def test_words_are_philox_4x64_10(seed: int, stream: int, trial: int) -> None:
    """Reference: numpy.random.Philox, which counts one up before it makes a block of four."""
    for block in range(3):
        counter = (trial << 64) + block
        before = [((counter - 1) >> shift) & WORD for shift in (0, 64, 128, 192)]
        reference = np.random.Philox(
            counter=np.array(before, dtype=np.uint64), key=np.array([seed, stream], dtype=np.uint64)
        )
        ours = words(seed, stream, trial, 1, 4 * (block + 1))[0, 4 * block :]
        assert ours.tolist() == reference.random_raw(4).tolist()


def test_normals_are_the_inverse_distribution_of_the_words() -> None:
    """Reference: SciPy's ndtri (Cephes), by another method than AS 241; agreement to rounding."""
    raw = words(5, 0, 0, 50_000, 4)
    uniform = ((raw >> np.uint64(12)).astype(float) + 0.5) * 2.0**-52
    np.testing.assert_allclose(normals(5, 0, 0, 50_000, 4), stats.norm.ppf(uniform), rtol=0, atol=4e-15)


def test_normals_pass_tests_of_distribution_and_independence() -> None:
    xi = normals(12, 0, 0, 200_000, 3)
    assert stats.kstest(xi.ravel(), "norm").pvalue > 0.001
    correlation = np.corrcoef(np.vstack([xi.T, np.roll(xi, 1, axis=0).T]))
    assert np.abs(correlation - np.eye(6)).max() < 5 / math.sqrt(len(xi))


def four(start: int, trials: int, *, rectangular: bool) -> np.ndarray:
    xi = normals(101, 0, start, trials, 4)
    return (math.sqrt(3) * (2 * ndtr(xi) - 1) if rectangular else xi).sum(axis=1)


@pytest.mark.parametrize(("rectangular", "end"), [(False, 3.92), (True, 3.88)])
def test_additive_model_of_jcgm_101(rectangular: bool, end: float) -> None:
    """JCGM 101:2008, clause 9.2: Y = X1 + X2 + X3 + X4 with standard deviations 1.

    Published: u(y) = 2.00; 95 % interval +-3.92 for normal (9.2.2), +-3.88 for rectangular inputs
    (9.2.3). From memory, and to be had from theory: 1.96 sqrt 4, and the quantile of the sum of four
    rectangular ones. The rounding of the published figures is 0.005, two standard errors of ours are
    within the stated tolerance.
    """
    found = until_stable(lambda start, trials: four(start, trials, rectangular=rectangular), digits=2)
    assert isinstance(found, Estimate)
    assert found.stable
    wanted = [0.0, 2.00, -end, end]
    np.testing.assert_allclose([found.mean, found.u, found.low, found.high], wanted, atol=0.05 + 0.005)


@pytest.mark.parametrize(("rectangular", "end"), [(False, 3.92), (True, 3.88)])
def test_additive_model_with_a_million_trials(rectangular: bool, end: float) -> None:
    # Standard errors of a million trials: 0.002 of the mean, 0.0014 of u, about 0.005 of the ends.
    values = four(0, 1_000_000, rectangular=rectangular)
    low, high = np.quantile(values, [0.025, 0.975])
    np.testing.assert_allclose([values.mean(), values.std()], [0.0, 2.0], atol=0.008)
    np.testing.assert_allclose([low, high], [-end, end], atol=0.005 + 0.015)
