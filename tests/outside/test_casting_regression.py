"""Conjugate regression against certified values, a textbook example, quadrature and another formula."""

import math

import numpy as np
import pytest
from scipy import stats

from pinseat.casting.regression import Belief, Student, at, update, within

NORRIS = """0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1
448.6 778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5
10.8 11.6 557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6
556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4
669.1 449.2 448.9 0.2 0.5"""
"""NIST, Statistical Reference Datasets, Norris (ozone monitors): y and x of 36 readings."""


def test_without_a_prior_it_gives_the_certified_least_squares() -> None:
    """NIST StRD Norris, certified: coefficients, their standard deviations, residual deviation.

    A flat prior is approached (ratio 1e8, worth 1e-12), hence 1e-6 relative; the certified deviations count
    34 degrees of freedom, the posterior of a flat prior on both coefficients and 1/s^2 counts 36.
    """
    y, x = np.array(NORRIS.split(), dtype=float).reshape(-1, 2).T
    flat = Belief(np.zeros(2), 1e8 * np.eye(2), 1.0, 1e-12)
    after = update(flat, np.stack([np.ones_like(x), x], axis=1), y, np.ones_like(x))
    assert after.mean == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-6)
    residual = after.deviation * math.sqrt(36.0 / 34.0)
    assert residual == pytest.approx(0.884796396144373, rel=1e-6)
    u = residual * np.sqrt(np.diag(after.ratio))
    assert u == pytest.approx([0.232818234301152, 0.429796848199937e-03], rel=1e-6)


def test_oxygen_uptake_example() -> None:
    """Hoff, A First Course in Bayesian Statistical Methods, section 9.2 (from memory): g-prior, g = 12.

    Printed there: posterior means -47.35, 12.10, 1.93, -0.29, exact, so half a unit of the last digit is
    allowed; posterior deviations 14.41, 18.62, 0.62, 0.77 from 1000 draws of a Student distribution with 13
    degrees of freedom (kurtosis 3.67), which leaves sqrt(2.67/4000) = 2.6 %: twice that is allowed. The
    prior: m = 0, V = g (X^T X)^-1, one reading's worth of s0^2 = 8.54.
    """
    uptake = [-0.87, -10.74, -3.27, -1.97, 7.50, -7.25, 17.05, 4.96, 10.40, 11.05, 0.26, 2.51]
    group = np.repeat([0.0, 1.0], 6)
    age = np.array([23, 22, 22, 25, 27, 20, 31, 23, 27, 28, 22, 24], dtype=float)
    design = np.stack([np.ones(12), group, age, group * age], axis=1)
    prior = Belief(np.zeros(4), 12.0 * np.linalg.inv(design.T @ design), math.sqrt(8.54), 1.0)
    after = update(prior, design, np.array(uptake), np.ones(12))
    assert after.mean == pytest.approx([-47.35, 12.10, 1.93, -0.29], abs=0.0051)
    u = [at(after, row).u for row in np.eye(4)]
    assert u == pytest.approx([14.41, 18.62, 0.62, 0.77], rel=0.052)


def test_posterior_agrees_with_quadrature_over_all_three_unknowns() -> None:
    """Bayes' rule by brute force: likelihood times prior summed on a grid of level, slope and deviation."""
    x, y, w = np.array([-1.0, 0.0, 0.5, 2.0]), np.array([0.3, 0.9, 1.4, 1.7]), np.array([1.0, 2.0, 1.0, 1.5])
    prior = Belief(np.array([0.5, 0.8]), np.array([[2.0, 0.3], [0.3, 1.0]]), 0.4, 5.0)
    after = update(prior, np.stack([np.ones(4), x], axis=1), y, w)
    level, slope = np.meshgrid(np.linspace(-1.5, 3.0, 181), np.linspace(-1.5, 2.5, 161), indexing="ij")
    mass, first, second = 0.0, np.zeros(2), np.zeros(2)
    for s in np.exp(np.linspace(math.log(0.08), math.log(3.0), 90)):
        off = np.stack([level - 0.5, slope - 0.8])
        inner = np.einsum("iab,ij,jab->ab", off, np.linalg.inv(prior.ratio), off) / s**2
        for xi, yi, wi in zip(x, y, w, strict=True):
            inner = inner + (yi - level - slope * xi) ** 2 / (wi * s**2)
        log = -0.5 * inner - (2 + 4) * math.log(s) - 5.0 * math.log(s) - 0.5 * 5.0 * 0.4**2 / s**2
        density = np.exp(log)
        mass += density.sum()
        for i, b in enumerate((level, slope)):
            first[i] += (density * b).sum()
            second[i] += (density * b * b).sum()
    mean = first / mass
    assert after.mean == pytest.approx(mean, abs=2e-4)
    assert [at(after, row).u for row in np.eye(2)] == pytest.approx(
        np.sqrt(second / mass - mean**2), rel=2e-3
    )


def test_update_in_two_parts_is_the_update_at_once() -> None:
    rng = np.random.default_rng(3)
    design, y, w = rng.normal(size=(7, 3)), rng.normal(size=7), rng.uniform(0.5, 2.0, 7)
    prior = Belief(np.array([0.2, 0.0, -0.1]), np.diag([1.0, 2.0, 0.3]), 0.7, 3.0)
    once = update(prior, design, y, w)
    twice = update(update(prior, design[:3], y[:3], w[:3]), design[3:], y[3:], w[3:])
    assert once.mean == pytest.approx(twice.mean, rel=1e-10)
    assert once.ratio == pytest.approx(twice.ratio, rel=1e-9)
    assert (once.deviation, once.worth) == pytest.approx((twice.deviation, twice.worth), rel=1e-12)


@pytest.mark.parametrize("degrees", [4.0, 9.0, 60.0])
def test_further_reading_is_students_t(degrees: float) -> None:
    """The table value of Student's t (scipy.stats) holds its stated share of the probability."""
    one = Student(0.3, 0.2, degrees)
    limit = 0.2 * stats.t.ppf(0.975, degrees)
    assert within(one, -0.3, 0.0, limit) == pytest.approx(0.95, abs=2.5e-3)
    assert one.u == pytest.approx(stats.t.std(degrees, scale=0.2), rel=1e-12)


def test_sum_with_a_normal_quantity_agrees_with_drawing() -> None:
    """Half a million draws: counting leaves 0.0007; three times that is allowed."""
    rng = np.random.default_rng(8)
    drawn = 0.05 + 0.1 * rng.standard_t(5.0, 500_000) - 0.02 + 0.08 * rng.standard_normal(500_000)
    share = float(np.mean(np.abs(drawn) <= 0.2))
    assert within(Student(0.05, 0.1, 5.0), -0.02, 0.08, 0.2) == pytest.approx(share, abs=0.0021)
