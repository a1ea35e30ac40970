"""Foot and free end of a pin on surfaces of known height."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.survey.ends import fit_foot, free_end


def around(seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    rho, turn = np.sqrt(rng.uniform(0.43**2, 0.75**2, 220)), rng.uniform(0.0, 2.0 * np.pi, 220)
    return rho * np.cos(turn), rho * np.sin(turn)


def noise(count: int) -> np.ndarray:
    return 0.01 * np.random.default_rng(7).normal(size=count)


def test_a_slanting_surface_is_read_off_on_the_axis():
    x, y = around()
    foot = fit_foot(x, y, -2.0 + 0.3 * x - 0.1 * y + noise(220), 0.325, 0.01)
    assert foot is not None
    assert abs(foot.height_mm + 2.0) < 3.0 * foot.u_mm
    assert foot.under(np.array([1.0]), np.array([0.0]))[0] == pytest.approx(-1.7, abs=0.02)


def test_the_ledge_counts_and_neither_its_wall_nor_the_slope_beside_it():
    x, y = around()
    height = np.where(x < -0.35, -2.0 + 2.5 * (-0.35 - x), -2.0)
    height = np.where(x > 0.3, -2.0 - 1.7 * (x - 0.3), height)
    foot = fit_foot(x, y, height + noise(220), 0.325, 0.01)
    assert foot is not None
    assert abs(foot.height_mm + 2.0) < 0.02


def test_a_few_points_fix_no_surface():
    x, y = around()
    assert fit_foot(x[:4], y[:4], np.zeros(4), 0.325, 0.01) is None


def test_flat_and_domed_ends():
    rng = np.random.default_rng(2)
    rho = 0.325 * np.sqrt(rng.uniform(0.0, 1.0, 60))
    flat = free_end(3.0 + noise(60), rho, 0.325)
    domed = free_end(3.0 - 0.8 * rho**2 + 0.2 * noise(60), rho, 0.325)
    assert flat is not None
    assert domed is not None
    assert abs(flat[0] - 3.0) < 3.0 * flat[1]
    assert abs(domed[0] - 3.0) < 3.0 * domed[1]
    assert free_end(np.zeros(0), np.zeros(0), 0.325) is None
