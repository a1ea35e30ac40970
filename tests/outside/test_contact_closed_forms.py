"""Pins and holes on paper: pitch, scale, tilt and divergence, with their derivation.

Planar, rigid, small angles; ``c`` is the diametral clearance, ``L`` the engaged depth. A bridge seats exactly
when the clearance lacking is not positive.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from pinseat.numerics.contact import Contact, disc_rows, solve_lacking, solve_opening

Float = NDArray[np.float64]


def upright(mouths: Float, depth: float, *, stops: Float | None = None) -> Contact:
    """Pins along z; `stops` are half-spaces over the six motions."""
    points = np.vstack([mouths, mouths - [0.0, 0.0, depth]])
    discs = disc_rows(points, np.tile(np.eye(3)[:2], (len(points), 1, 1)), np.zeros(3))
    faces = np.zeros((0, 6)) if stops is None else stops
    return Contact(discs, faces, np.zeros(len(faces), dtype=bool))


def lacking(contact: Contact, offset: Float, clearance: float, gaps: tuple[float, ...] = ()) -> float:
    y = np.concatenate([offset.ravel(), np.full(len(contact.discs), clearance / 2), gaps])
    return float(solve_lacking(contact, y[None], 0.0)[0][0])


def goes_on(contact: Contact, offset: Float, clearance: float, gaps: tuple[float, ...] = ()) -> bool:
    y = np.concatenate([offset.ravel(), np.full(len(contact.discs), clearance / 2), gaps])
    return bool(np.isfinite(solve_opening(contact, y[None])[0][0]))


def around(limit: float) -> tuple[float, float]:
    return limit * (1 - 1e-5), limit * (1 + 1e-5)


PAIR = np.array([[-10.0, 0.0, 0.0], [10.0, 0.0, 0.0]])
LOCKED = np.array([[0, 0, 0, 0, 1.0, 0], [0, 0, 0, 0, -1.0, 0]])
"""Stops against turning about y, both ways."""


@pytest.mark.parametrize("error", [0.0, 0.04, 0.1, 0.17])
def test_pitch_error_of_two_pins(error: float) -> None:
    # The error is shared by both holes, e / 2 each, against a radial clearance c / 2.
    offset = np.array([[-error / 2, 0], [error / 2, 0]] * 2)
    assert lacking(upright(PAIR, 2.0), offset, 0.1) == pytest.approx((error - 0.1) / 2, abs=1e-8)


@pytest.mark.parametrize(
    ("clearance", "pitch", "percent"),
    [
        (0.10, 10, 1.0),
        (0.10, 20, 0.5),
        (0.10, 30, 1 / 3),
        (0.05, 10, 0.5),
        (0.05, 20, 0.25),
        (0.05, 30, 1 / 6),
    ],
)
def test_uniform_scale_of_two_pins(clearance: float, pitch: float, percent: float) -> None:
    # |s| S <= c: the limits in % are c / S.
    mouths = PAIR * pitch / 20
    for scale, fits in zip(around(percent / 100), (True, False), strict=True):
        offset = scale * np.vstack([mouths, mouths])[:, :2]
        assert (lacking(upright(mouths, 2.0), offset, clearance) <= 0) is fits
        assert goes_on(upright(mouths, 2.0), offset, clearance) is fits


@pytest.mark.parametrize("sign", [1, -1])
def test_uniform_scale_of_three_pins_in_a_triangle(sign: int) -> None:
    # Residuals point away from the centroid, |s| a / sqrt 3 long; no motion shortens the longest of them.
    side, clearance = 10.0, 0.10
    turn = np.radians([90.0, 210.0, 330.0])
    mouths = side / math.sqrt(3) * np.column_stack([np.cos(turn), np.sin(turn), np.zeros(3)])
    assert clearance / 2 * math.sqrt(3) / side == pytest.approx(0.8660 / 100, abs=5e-7)
    scale = sign * 0.008
    found = lacking(upright(mouths, 2.0), scale * np.vstack([mouths, mouths])[:, :2], clearance)
    assert found == pytest.approx(0.008 * side / math.sqrt(3) - clearance / 2, abs=1e-8)


@pytest.mark.parametrize(
    ("error", "degrees"), [(0.0, 2.8648), (0.02, 2.2918), (0.05, 1.4324), (0.08, 0.5730)]
)
def test_common_tilt_with_the_body_locked(error: float, degrees: float) -> None:
    # All pins lean by a, the body may not: mouth and tip differ by L a, and the pitch takes e: e + L a <= c.
    clearance, depth = 0.10, 2.0
    assert math.degrees((clearance - error) / depth) == pytest.approx(degrees, abs=5e-5)
    contact = upright(PAIR, depth, stops=LOCKED)
    for tilt, fits in zip(around((clearance - error) / depth), (True, False), strict=True):
        mouth = np.array([[-error / 2, 0], [error / 2, 0]])
        offset = np.vstack([mouth, mouth + np.array([depth * tilt, 0.0])])
        assert goes_on(contact, offset, clearance, (0.0, 0.0)) is fits
        assert goes_on(upright(PAIR, depth), offset, clearance)  # free to turn, it leans along


@pytest.mark.parametrize(("centred", "degrees"), [(False, 2.8648), (True, 5.7296)])
def test_two_pins_that_diverge(centred: bool, degrees: float) -> None:
    # Pins lean by +b and -b. With true mouths the tips are L b off each: 2 b <= c / L. With the mouths off by
    # half of that the other way, mouth and tip share it: 2 b <= 2 c / L.
    clearance, depth = 0.10, 2.0
    limit = clearance / depth * (2 if centred else 1)
    assert math.degrees(limit) == pytest.approx(degrees, abs=5e-5)
    for total, fits in zip(around(limit), (True, False), strict=True):
        tip = np.array([[-depth * total / 2, 0], [depth * total / 2, 0]])
        offset = np.vstack([-tip / 2, tip / 2]) if centred else np.vstack([0 * tip, tip])
        assert goes_on(upright(PAIR, depth), offset, clearance) is fits


@pytest.mark.parametrize(
    ("pin", "hole", "depth", "degrees"),
    [
        (0.60, 0.700, 2.0, 2.8878),
        (0.60, 0.650, 2.0, 1.4380),
        (0.60, 0.625, 2.0, 0.7176),
        (0.65, 0.700, 2.0, 1.4384),
        (0.60, 0.700, 3.0, 1.9166),
        (0.60, 0.700, 1.5, 3.8751),
    ],
)
def test_rattle_of_a_single_pin(pin: float, hole: float, depth: float, degrees: float) -> None:
    """A rectangle d x L in a slot D turns until ``d cos t + L sin t = D``; two discs say ``t = c / L``.

    Two discs leave out that the corners of a leaning pin draw in by ``d (1 - cos t)``: to second order
    ``t = c / L + d t^2 / 2 L``, so the discs are on the safe side.
    """
    exact = brentq(lambda t: pin * math.cos(t) + depth * math.sin(t) - hole, 0.0, 0.3)
    assert math.degrees(exact) == pytest.approx(degrees, abs=5e-5)
    contact = upright(np.zeros((1, 3)), depth, stops=LOCKED)
    clearance = hole - pin
    for turn, fits in zip(around(clearance / depth), (True, False), strict=True):
        assert goes_on(contact, np.zeros((2, 2)), clearance, (-turn, turn)) is fits
    assert exact - clearance / depth == pytest.approx(pin * exact**2 / (2 * depth), rel=0.1)
    assert 0 < exact - clearance / depth < 0.02 * exact


TURN_RAD = 0.2
"""Small motions are sought within this (docs/method/contact.md)."""


@pytest.mark.parametrize(("error", "step"), [(0.16, 0.1), (0.16, 0.3), (0.16, 1.0)])
def test_two_tips_that_tilting_brings_together(error: float, step: float) -> None:
    # Tips a height `step` apart come nearer by w step when the body tilts by w, and w is bounded.
    tips = np.array([[-10.0, 0.0, 0.0], [10.0, 0.0, step]])
    contact = Contact(
        disc_rows(tips, np.tile(np.eye(3)[:2], (2, 1, 1)), np.zeros(3)), np.zeros((0, 6)), np.zeros(0, bool)
    )
    offset = np.array([[-error / 2, 0], [error / 2, 0]])
    left = max(error - TURN_RAD * step, 0.0) / 2
    assert lacking(contact, offset, 0.1) == pytest.approx(left - 0.05, abs=1e-8)


def spread(points: Float) -> Float:
    """Radius of the smallest circle around three points, (..., 3, 2) -> (...)."""
    sides = np.sort(np.linalg.norm(points - np.roll(points, 1, axis=-2), axis=-1), axis=-1)
    a, b, c = sides[..., 0], sides[..., 1], sides[..., 2]
    area16 = np.maximum((a + b + c) * (b + c - a) * (c + a - b) * (a + b - c), 1e-300)
    return np.where(a * a + b * b <= c * c, c / 2, a * b * c / np.sqrt(area16))


def least_spread(offset: Float, tips: Float, tilts: Float) -> Float:
    """For each tilt (n, 2) the least circle over all turns about z in the box; by thirds (convex)."""
    low, high = np.full(len(tilts), -TURN_RAD), np.full(len(tilts), TURN_RAD)

    def at(about_z: Float) -> Float:
        turns = np.column_stack([tilts, about_z])
        return spread(offset + np.cross(turns[:, None], tips)[..., :2])

    for _ in range(60):
        a, b = low + (high - low) / 3, high - (high - low) / 3
        left = at(a) <= at(b)
        low, high = np.where(left, low, a), np.where(left, b, high)
    return at((low + high) / 2)


@pytest.mark.parametrize("seed", range(8))
def test_three_tips_by_trying_every_turn_within_the_box(seed: int) -> None:
    """Whatever the turn, travel centres the three errors: what is lacking is the radius of their circle.

    Tilts are tried on a grid of 11 x 11 that closes in on the best of them; convex, so nothing is missed.
    """
    rng = np.random.default_rng(seed)
    tips = np.column_stack([rng.uniform(-10, 10, (3, 2)), rng.uniform(-0.1, 0.1, 3)])
    offset = rng.normal(0.0, 0.05, (3, 2))
    best, half = np.zeros(2), TURN_RAD
    for _ in range(60):
        axes = [np.clip(np.linspace(w - half, w + half, 11), -TURN_RAD, TURN_RAD) for w in best]
        tilts = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2)
        best, half = tilts[np.argmin(least_spread(offset, tips, tilts))], 0.75 * half
    contact = Contact(
        disc_rows(tips, np.tile(np.eye(3)[:2], (3, 1, 1)), np.zeros(3)), np.zeros((0, 6)), np.zeros(0, bool)
    )
    by_trying = float(least_spread(offset, tips, best[None])[0])
    assert lacking(contact, offset, 0.02) == pytest.approx(by_trying - 0.01, abs=1e-6)
