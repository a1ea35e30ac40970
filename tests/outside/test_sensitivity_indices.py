"""Total-order indices against an analytic function and a reference library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from SALib.analyze import sobol as analyze
from SALib.sample import sobol as sample
from SALib.test_functions import Ishigami
from scipy.special import ndtr, ndtri

from pinseat.numerics.sensitivity import total_order

Float = NDArray[np.float64]
A, B = 7.0, 0.1


def ishigami(xi: Float) -> Float:
    return Ishigami.evaluate(np.pi * (2 * ndtr(xi) - 1), A=A, B=B)


def analytic() -> dict[str, float]:
    """Ishigami and Homma (1990), Proc. ISUMA 90: ``sin x1 + a sin^2 x2 + b x3^4 sin x1``, uniform in +-pi."""
    one = 0.5 * (1 + B * math.pi**4 / 5) ** 2
    two, together = A**2 / 8, B**2 * math.pi**8 * (1 / 18 - 1 / 50)
    variance = one + two + together
    return {"x1": (one + together) / variance, "x2": two / variance, "x3": together / variance}


def test_ishigami_function() -> None:
    # Published roundings: 0.558, 0.442, 0.244.
    wanted = analytic()
    assert [round(v, 3) for v in wanted.values()] == [0.558, 0.442, 0.244]
    found = total_order(ishigami, {"x1": [0], "x2": [1], "x3": [2]}, trials=100_000, seed=3)
    for name, index, error in found:
        assert error < 0.006
        assert abs(index - wanted[name]) < 4 * error


def test_groups_of_the_ishigami_function() -> None:
    # x2 acts alone, x1 and x3 only together with each other: the two groups share the variance without
    # overlap.
    wanted = analytic()["x2"]
    (_, pair, pair_error), (_, alone, alone_error) = total_order(
        ishigami, {"x1 and x3": [2, 0], "x2": [1]}, trials=100_000, seed=4
    )
    assert abs(alone - wanted) < 4 * alone_error
    assert abs(pair - (1 - wanted)) < 4 * pair_error


def coupled(xi: Float) -> Float:
    """A maximum of sums, as in contact: groups act together and nothing is smooth."""
    return np.maximum(np.abs(xi[:, 0] + 0.5 * xi[:, 1] - xi[:, 4]), np.abs(xi[:, 2] + xi[:, 3]) * xi[:, 4])


def test_grouped_indices_agree_with_salib() -> None:
    groups = {"first": [0, 1], "second": [2, 3], "third": [4]}
    problem = {
        "num_vars": 5,
        "names": [f"x{i}" for i in range(5)],
        "groups": ["first", "first", "second", "second", "third"],
        "bounds": [[0.0, 1.0]] * 5,
    }
    points = sample.sample(problem, 2**14, calc_second_order=False, seed=1)
    values = coupled(ndtri(np.clip(points, 1e-12, 1 - 1e-12)))
    reference = analyze.analyze(problem, values, calc_second_order=False, seed=1)
    found = total_order(coupled, groups, trials=100_000, seed=8)
    for (_, index, error), theirs, theirs_95 in zip(
        found, reference["ST"], reference["ST_conf"], strict=True
    ):
        assert abs(index - theirs) < 4 * math.hypot(error, theirs_95 / 1.96)


@pytest.mark.parametrize("seed", range(3))
def test_standard_errors_are_honest(seed: int) -> None:
    wanted = list(analytic().values())
    repeats = [
        total_order(ishigami, {"x1": [0], "x2": [1], "x3": [2]}, trials=2000, seed=1000 * seed + k)
        for k in range(100)
    ]
    index = np.array([[one[1] for one in run] for run in repeats])
    stated = np.array([[one[2] for one in run] for run in repeats]).mean(axis=0)
    # The spread of 100 repeats is itself known to about 7 %.
    np.testing.assert_allclose(index.std(axis=0, ddof=1), stated, rtol=0.28)
    np.testing.assert_allclose(index.mean(axis=0), wanted, atol=4 * stated.max() / 10)
