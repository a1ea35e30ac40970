"""With turning ruled out, pins fit when the smallest circle round all residuals is within the clearance.

Elementary: after the shift ``t`` each residual must satisfy ``|b + t| <= r``, so ``-t`` is the centre of a
circle of radius ``r`` that holds all ``-b``; the smallest enclosing circle (Sylvester 1857) decides. The
circle below is found by trying all pairs and triples, with no optimisation in it.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from pinseat.numerics.contact import Contact, disc_rows, solve_lacking, solve_opening

Float = NDArray[np.float64]


def smallest_circle_radius(points: Float) -> float:
    """Of all circles on two points as diameter or through three, the smallest that holds every point."""
    circles = [((p + q) / 2, np.linalg.norm(p - q) / 2) for p, q in combinations(points, 2)]
    for p, q, r in combinations(points, 3):
        sides = np.array([q - p, r - p])
        if abs(np.linalg.det(sides)) > 1e-14:
            centre = p + np.linalg.solve(2 * sides, (sides**2).sum(axis=1))
            circles.append((centre, np.linalg.norm(centre - p)))
    holding = [r for c, r in circles if np.all(np.linalg.norm(points - c, axis=1) <= r + 1e-12)]
    return float(min(holding))


def pins_that_cannot_turn(rng: np.random.Generator, pins: int) -> Contact:
    mouths = rng.uniform([-15, -5, -1], [15, 5, 1], (pins, 3))
    points = np.vstack([mouths, mouths - [0.0, 0.0, 2.5]])
    discs = disc_rows(points, np.tile(np.eye(3)[:2], (2 * pins, 1, 1)), mouths.mean(axis=0))
    stops = np.vstack([np.eye(6)[3:], -np.eye(6)[3:]])  # against turning about each axis, both ways
    return Contact(discs, stops, np.zeros(6, dtype=bool))


@pytest.mark.parametrize("seed", range(20))
def test_seats_exactly_when_the_smallest_circle_fits(seed: int) -> None:
    rng = np.random.default_rng(seed)
    pins = int(rng.integers(1, 7))
    contact = pins_that_cannot_turn(rng, pins)
    offset = rng.normal(0, 0.03, (2 * pins, 2))
    radius = smallest_circle_radius(offset)
    for play, fits in ((radius + 1e-7, True), (radius - 1e-7, False)):
        y = np.concatenate([offset.ravel(), np.full(2 * pins, play), np.zeros(6)])
        assert np.isfinite(solve_opening(contact, y[None])[0][0]) == fits


@pytest.mark.parametrize("seed", range(20))
def test_clearance_lacking_is_what_the_smallest_circle_is_too_wide(seed: int) -> None:
    # Here turning is taken out of the rows: stops would give way with the radii.
    rng = np.random.default_rng(seed)
    pins = int(rng.integers(1, 7))
    contact = pins_that_cannot_turn(rng, pins)
    discs = contact.discs.copy()
    discs[:, :, 3:] = 0.0
    offset = rng.normal(0, 0.03, (2 * pins, 2))
    y = np.concatenate([offset.ravel(), np.full(2 * pins, 0.05)])
    found = solve_lacking(Contact(discs, np.zeros((0, 6)), np.zeros(0, dtype=bool)), y[None], 0.0)[0][0]
    assert found == pytest.approx(smallest_circle_radius(offset) - 0.05, abs=1e-8)
