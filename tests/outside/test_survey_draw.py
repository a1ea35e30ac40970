"""The draw window against a fine grid of directions and against the smallest enclosing circle.

Closed form: with equal play the best draw is the centre of the smallest cap that holds all axes; for axes a
small angle apart the cap is the smallest enclosing circle of their tilts (Welzl 1991 states the problem; the
circle through three points is the circumcircle, radius a b c / (4 area)).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from pinseat.survey.draw import angles_to, best_draw


def axes_at(tilts: np.ndarray) -> np.ndarray:
    axes = np.column_stack([np.tan(tilts), np.ones(len(tilts))])
    return axes / np.linalg.norm(axes, axis=1, keepdims=True)


def searched(axes: np.ndarray, allowance: np.ndarray) -> float:
    """Most angle to spare on a grid that is refined about its best point."""
    middle, half = axes.mean(axis=0), math.radians(25.0)
    middle /= np.linalg.norm(middle)
    u = np.cross(middle, [1.0, 0.0, 0.0])
    u /= np.linalg.norm(u)
    v = np.cross(middle, u)
    place = np.zeros(2)
    for _ in range(50):
        steps = np.linspace(-half, half, 61)
        x, y = (g.ravel() for g in np.meshgrid(place[0] + steps, place[1] + steps))
        grid = middle + np.outer(np.tan(x), u) + np.outer(np.tan(y), v)
        grid /= np.linalg.norm(grid, axis=1, keepdims=True)
        over = np.max(
            [np.arccos(np.clip(grid @ a, -1.0, 1.0)) - w for a, w in zip(axes, allowance, strict=True)],
            axis=0,
        )
        k = int(np.argmin(over))
        place, half = np.array([x[k], y[k]]), half / 1.4
    return -float(over[k])


@pytest.mark.parametrize("seed", range(12))
def test_against_a_fine_grid_of_directions(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 9))
    axes = axes_at(np.radians(rng.normal(0.0, 4.0, (count, 2))))
    allowance = np.radians(rng.uniform(0.2, 5.0, count))
    centre = best_draw(axes, allowance)
    grid = searched(axes, allowance)
    assert centre.spare >= grid - 1e-12
    # 0.0001 deg: the best point lies at the end of a crease.
    assert centre.spare == pytest.approx(grid, abs=2e-6)
    over = np.max(angles_to(centre.draw, axes) - allowance)
    assert over == pytest.approx(-centre.spare, abs=1e-13)


def test_small_tilts_give_the_circumcircle():
    tilts = 1e-3 * np.array([[0.0, 0.0], [3.0, 0.0], [1.0, 2.5]])  # an acute triangle
    a, b, c = (float(np.linalg.norm(tilts[i] - tilts[j])) for i, j in ((1, 2), (0, 2), (0, 1)))
    radius = a * b * c / (4.0 * 0.5 * 3e-3 * 2.5e-3)
    centre = best_draw(axes_at(tilts), np.zeros(3))
    assert -centre.spare == pytest.approx(radius, rel=1e-5)  # second order in tilts of 3e-3
