"""The cylinder through points of known walls."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.ledger.pins import frame
from pinseat.survey.cylinder import fit_cylinder, hang_together

AXIS = np.array([0.15, -0.1, 1.0]) / np.linalg.norm([0.15, -0.1, 1.0])
POINT = np.array([1.0, 2.0, 3.0])


def wall(count: int, seed: int, noise_mm: float = 0.0, *, turn: float = 2.0 * np.pi) -> np.ndarray:
    rng = np.random.default_rng(seed)
    angle, along = rng.uniform(0.0, turn, count), rng.uniform(-1.4, 1.4, count)
    radius = 0.325 + noise_mm * rng.normal(size=count)
    across = np.stack([np.cos(angle), np.sin(angle)], axis=1) @ frame(AXIS)
    return POINT + along[:, None] * AXIS + radius[:, None] * across


START = (POINT + np.array([0.05, -0.04, 0.0]), np.array([0.0, 0.0, 1.0]), 0.4)


def test_clean_points_give_the_cylinder_back():
    fit = fit_cylinder(wall(200, 1), *START)
    assert fit is not None
    np.testing.assert_allclose(fit.axis, AXIS, atol=1e-10)
    assert fit.radius_mm == pytest.approx(0.325, abs=1e-10)
    assert np.linalg.norm(np.cross(fit.point - POINT, AXIS)) < 1e-10


def test_strangers_are_left_out():
    points = wall(300, 2, 0.008)
    points[:30] += 0.12 * np.random.default_rng(3).normal(size=(30, 3))
    clean, dirty = fit_cylinder(points[30:], *START), fit_cylinder(points, *START)
    assert clean is not None
    assert dirty is not None
    assert len(dirty.points) < 290
    assert np.degrees(np.arccos(min(clean.axis @ dirty.axis, 1.0))) < 0.05


def test_too_few_points_or_none_on_a_wall_give_no_cylinder():
    assert fit_cylinder(wall(8, 4), *START) is None
    line = POINT + np.linspace(-1.0, 1.0, 40)[:, None] * AXIS
    assert fit_cylinder(line, *START) is None


def test_half_a_wall_is_known_worse_than_the_whole():
    whole, half = (
        fit_cylinder(wall(300, 5, 0.01), *START),
        fit_cylinder(wall(300, 5, 0.01, turn=np.pi), *START),
    )
    assert whole is not None
    assert half is not None
    assert half.covariance()[4, 4] > 4.0 * whole.covariance()[4, 4]


def test_white_residuals_are_taken_as_white_and_smooth_ones_widen_the_tilt():
    white = [fit_cylinder(wall(400, seed, 0.01), *START) for seed in range(4)]
    assert hang_together([fit for fit in white if fit is not None]) == (0.0, 0.0)
    smooth = []
    for seed in range(4):
        points = wall(400, seed, 0.003)
        along = (points - POINT) @ AXIS
        out = points - POINT - along[:, None] * AXIS
        out /= np.linalg.norm(out, axis=1, keepdims=True)
        smooth.append(fit_cylinder(points + 0.01 * np.sin(4.0 * along + seed)[:, None] * out, *START))
    fits = [fit for fit in smooth if fit is not None]
    length, share = hang_together(fits)
    assert share > 0.5
    assert length > 0.1
    assert fits[0].covariance(length, share)[2, 2] > 3.0 * fits[0].covariance()[2, 2]
