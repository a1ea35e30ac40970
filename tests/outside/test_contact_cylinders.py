"""Two discs and small motions against true cylinders, turned by true rotations.

Independent of our kernel: rotations by SciPy's Rotation, the pin as a round cylinder (its tip circle, and
the ellipse in which the plane of the mouth cuts it), the best motion by SciPy's SLSQP. A cylinder is
convex, so it is inside the hole when these two curves are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from pinseat.ledger.pins import frame
from pinseat.numerics.contact import Contact, disc_rows, face_rows, solve_lacking

Float = NDArray[np.float64]
PIN_MM, HOLE_MM = 0.60, 0.70
LIMIT_MM = 0.05
ROUND = np.linspace(0.0, 2 * np.pi, 720, endpoint=False)


@dataclass
class Bench:
    """Mouths, tips and margin points of the tooth's holes and of the bridge's pins."""

    axis: Float
    tooth: tuple[Float, Float, Float]
    bridge: tuple[Float, Float, Float]

    @property
    def origin(self) -> Float:
        return self.tooth[0].mean(axis=0)


def bench(rng: np.random.Generator, pins: int, *, turn: Float, error_mm: float) -> Bench:
    """A bridge that copies the tooth but for `error_mm`, then turned as a whole by a true rotation."""
    side = np.where(np.arange(pins) % 2 == 0, -10.0, 10.0)
    mouth = np.column_stack([side, np.zeros(pins), np.zeros(pins)]) + rng.uniform(-3, 3, (pins, 3))
    axis = rng.normal([0, 0, 1], [0.01, 0.01, 0], (pins, 3))
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    tooth = (mouth, mouth - 2.5 * axis, mouth + rng.uniform(-3, 3, (pins, 3)))
    copy = [at + rng.normal(0, error_mm, (pins, 3)) for at in tooth]
    o, spin = mouth.mean(axis=0), Rotation.from_rotvec(turn)
    return Bench(axis, tooth, tuple(spin.apply(at - o) + o for at in copy))


def by_kernel(bench: Bench) -> tuple[float, Float]:
    """Clearance lacking and the motion: two discs a pin, small motions."""
    frames, up = np.array([frame(a) for a in bench.axis]), np.tile([0.0, 0.0, 1.0], (len(bench.axis), 1))
    off = [b - t for b, t in zip(bench.bridge, bench.tooth, strict=True)]
    discs = disc_rows(np.vstack(bench.bridge[:2]), np.concatenate([frames, frames]), bench.origin)
    faces = face_rows(bench.bridge[2], up, bench.origin)
    across = [np.einsum("pij,pj->pi", frames, at).ravel() for at in off[:2]]
    y = np.concatenate([*across, np.full(len(discs), (HOLE_MM - PIN_MM) / 2), off[2][:, 2]])
    found, motion = solve_lacking(Contact(discs, faces, np.ones(len(faces), dtype=bool)), y[None], LIMIT_MM)
    return float(found[0]), motion[0]


def overlaps(bench: Bench, motion: Float) -> tuple[Float, Float]:
    """How far pins and margins reach into the tooth, and how far margins open beyond the limit."""
    spin, o = Rotation.from_rotvec(motion[3:]), bench.origin
    top, tip, margin = (spin.apply(at - o) + o + motion[:3] for at in bench.bridge)
    found = []
    for m, a, p, q in zip(bench.tooth[0], bench.axis, top, tip, strict=True):
        along = (p - q) / np.linalg.norm(p - q)
        rim = PIN_MM / 2 * np.stack([np.cos(ROUND), np.sin(ROUND)], axis=1) @ frame(along)
        wall = p + rim
        section = wall + ((m - wall) @ a / (along @ a))[:, None] * along
        for curve in (section, q + rim):
            out = curve - m
            out = out - (out @ a)[:, None] * a
            found.append(np.linalg.norm(out, axis=1).max() - HOLE_MM / 2)
    gap = (margin - bench.tooth[2])[:, 2]
    return np.concatenate([found, -gap]), gap - LIMIT_MM


def by_cylinders(bench: Bench, near: Float) -> float:
    """Least overlap over all true motions, started from the kernel's."""
    unit = np.array([1.0, 1.0, 1.0, 0.1, 0.1, 0.1, 1.0])
    start = np.append(near, overlaps(bench, near)[0].max()) / unit
    walls = {"type": "ineq", "fun": lambda z: 100 * (z[6] - overlaps(bench, (z * unit)[:6])[0])}
    lids = {"type": "ineq", "fun": lambda z: -100 * overlaps(bench, (z * unit)[:6])[1]}
    options = {"maxiter": 100, "ftol": 1e-8}  # mm; the answers are compared to 2e-4
    best = minimize(lambda z: z[6], start, method="SLSQP", constraints=(walls, lids), options=options)
    assert best.success
    return float(best.x[6])


def second_order(bench: Bench, motion: Float) -> float:
    """What small motions and fixed discs leave out, by Taylor's theorem.

    A point at arm ``R`` of a turn ``t`` is misplaced by at most ``R t^2 / 2``; a pin that leans by ``u`` and
    slid by ``s`` along its hole meets the mouth ``s u`` aside; its section there is wider by ``r u^2 / 2``.
    """
    spin, o = Rotation.from_rotvec(motion[3:]), bench.origin
    top, tip = (spin.apply(at - o) + o + motion[:3] for at in bench.bridge[:2])
    along = (top - tip) / np.linalg.norm(top - tip, axis=1)[:, None]
    lean = np.linalg.norm(np.cross(along, bench.axis), axis=1)
    slid = np.abs(np.einsum("pj,pj->p", top - bench.tooth[0], bench.axis))
    arm, turn = np.linalg.norm(np.vstack(bench.tooth) - o, axis=1).max(), np.linalg.norm(motion[3:])
    return float(arm * turn**2 / 2 + (slid * lean + PIN_MM / 4 * lean**2).max())


def test_true_cylinders_differ_by_terms_of_second_order_only() -> None:
    off = []
    for seed in range(12):
        made = bench(np.random.default_rng(seed), 4, turn=np.array([0.002, -0.003, 0.002]), error_mm=0.02)
        lacking, motion = by_kernel(made)
        off.append(abs(by_cylinders(made, motion) - lacking))
        assert off[-1] <= second_order(made, motion)
    assert np.median(off) < 2e-4  # a fifth of a micrometre, with errors of 20 um in every point


def test_error_of_small_motions_grows_with_the_square_of_the_tilt() -> None:
    """A bridge turned as a whole lacks nothing more; what the kernel finds more or less is its own error.

    By Taylor's theorem a point at arm ``R`` is misplaced by at most ``R t^2 / 2``, 2 um at 1 deg for 14
    mm; an error of its place across the pin by about ``t`` times that error more.
    """
    tilts = np.radians([0.25, 0.5, 1.0, 2.0])
    worst = np.zeros(len(tilts))
    for seed in range(10):
        direction = np.random.default_rng(100 + seed).normal(0, 1, 3)
        direction /= np.linalg.norm(direction)
        reference = by_kernel(bench(np.random.default_rng(seed), 6, turn=np.zeros(3), error_mm=0.005))[0]
        for k, tilt in enumerate(tilts):
            turned = bench(np.random.default_rng(seed), 6, turn=tilt * direction, error_mm=0.005)
            arm = np.linalg.norm(np.vstack(turned.tooth) - turned.origin, axis=1).max()
            error = abs(by_kernel(turned)[0] - reference)
            assert error <= arm * tilt**2 / 2 + 0.01 * tilt
            worst[k] = max(worst[k], error)
    assert np.diff(np.log(worst)) / np.log(2.0) == pytest.approx([2.0, 2.0, 2.0], abs=0.4)
    assert worst[2] < 0.001  # at 1 deg
