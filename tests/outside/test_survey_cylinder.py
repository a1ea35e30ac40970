"""The cylinder fit against a general least-squares library on the same points, and against closed forms.

- scipy.optimize.least_squares (MINPACK, reference library) on the orthogonal distances in another
  parametrisation: axis by two slopes, point in the plane z = 0.
- The bound: for N points spread evenly round and along a wall of length L with noise s, the information is
  N/2 for each offset, N/2 L^2/12 for each tilt and N for the radius (mean of cos^2 is 1/2, variance of a
  uniform place L^2/12), so u(tilt) = s / L sqrt(24 / N). Derived here.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import chi2

from pinseat.ledger.pins import frame
from pinseat.survey.cylinder import Cylinder, fit_cylinder

LENGTH, RADIUS, NOISE = 2.8, 0.325, 0.010


def wall(count: int, seed: int, *, round_deg: float = 360.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points, true axis, true middle."""
    rng = np.random.default_rng(seed)
    axis = np.array([*rng.normal(0.0, 0.15, 2), 1.0])
    axis /= np.linalg.norm(axis)
    middle = rng.uniform(-5.0, 5.0, 3)
    turn = np.radians(rng.uniform(0.0, round_deg, count))
    across = np.stack([np.cos(turn), np.sin(turn)], axis=1) @ frame(axis)
    along = rng.uniform(-LENGTH / 2.0, LENGTH / 2.0, count)
    radius = RADIUS + NOISE * rng.normal(size=count)
    return middle + along[:, None] * axis + radius[:, None] * across, axis, middle


def fitted(points: np.ndarray, middle: np.ndarray) -> Cylinder:
    fit = fit_cylinder(points, middle + np.array([0.05, 0.03, 0.0]), np.array([0.0, 0.0, 1.0]), 0.4)
    assert fit is not None
    return fit


@pytest.mark.parametrize("round_deg", [360.0, 200.0, 150.0])
def test_the_library_finds_the_same_cylinder_on_the_same_points(round_deg):
    points, _, middle = wall(240, 3, round_deg=round_deg)
    ours = fitted(points, middle)

    def distances(p: np.ndarray) -> np.ndarray:
        axis = np.array([p[2], p[3], 1.0]) / np.sqrt(p[2] ** 2 + p[3] ** 2 + 1.0)
        return np.linalg.norm(np.cross(ours.points - [p[0], p[1], 0.0], axis), axis=1) - p[4]

    start = [*middle[:2], 0.0, 0.0, 0.4]
    theirs = least_squares(distances, start, xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac").x
    axis = np.array([theirs[2], theirs[3], 1.0])
    np.testing.assert_allclose(ours.axis, axis / np.linalg.norm(axis), atol=1e-7)
    assert ours.radius_mm == pytest.approx(theirs[4], abs=1e-7)
    through = np.array([theirs[0], theirs[1], 0.0])
    assert np.linalg.norm(np.cross(ours.point - through, ours.axis)) < 1e-7


def test_covariance_is_the_closed_form_bound():
    points, _, middle = wall(4000, 5)
    u = np.sqrt(np.diag(fitted(points, middle).covariance()))
    n = len(points)
    # The spread of one draw of noise, and points that are not quite evenly spread.
    np.testing.assert_allclose(u[:2], NOISE * np.sqrt(2.0 / n), rtol=0.06)
    np.testing.assert_allclose(u[2:4], NOISE / LENGTH * np.sqrt(24.0 / n), rtol=0.06)
    assert u[4] == pytest.approx(NOISE / np.sqrt(n), rel=0.06)


@pytest.mark.parametrize("round_deg", [360.0, 180.0])
def test_errors_over_many_walls_follow_the_stated_covariance(round_deg):
    squares = []
    for seed in range(150):
        points, axis, middle = wall(160, seed, round_deg=round_deg)
        fit = fitted(points, middle)
        off = np.array([*(frame(fit.axis) @ axis)])
        squares.append(off @ np.linalg.solve(fit.covariance()[2:4, 2:4], off))
    low, high = chi2.ppf([0.001, 0.999], 2 * 150)
    assert low * 0.95 < np.sum(squares) < high * 1.15  # the noise is estimated from 155 degrees of freedom
