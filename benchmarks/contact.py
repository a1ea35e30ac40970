"""Seat 100,000 virtual bridges; beside it, one cone programme or one linear programme for each.

The rivals are what a user would pick instead: Clarabel, a good second-order cone solver, and SciPy's
HiGHS on discs cut to polygons of 32 sides. They are timed on the first `SAMPLE` bridges of the same run,
and their times are multiplied up.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import clarabel
import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import linprog

from benchmarks.machine import best_of, machine, peak_mb
from pinseat.ledger.pins import frame
from pinseat.numerics.contact import Contact, disc_rows, face_rows
from pinseat.numerics.counter import normals
from pinseat.numerics.simulate import BRIDGES, Simulated, simulate

Float = NDArray[np.float64]
TRIALS, SAMPLE, SIDES, LIMIT_MM, SEED = 100_000, 100, 32, 0.12, 1
SIZES = (3, 6, 12)


def case(pins: int) -> tuple[Contact, Float, Float]:
    """Two abutments 20 mm apart: pins 0.6 mm in holes 0.7 mm, 2.5 mm deep; eight margins, two walls."""
    rng = np.random.default_rng(pins)
    side = np.where(np.arange(pins) % 2 == 0, -10.0, 10.0)
    mouth = np.column_stack([side, np.zeros((pins, 2))]) + rng.uniform(-3, 3, (pins, 3)) * [1, 1, 0.2]
    axis = rng.normal([0, 0, 1], 0.01, (pins, 3))
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    tip, frames = mouth - 2.5 * axis, np.array([frame(a) for a in axis])
    place = np.column_stack(
        [np.resize([-12.0, -8.0, 8.0, 12.0], 10), rng.uniform(-4, 4, 10), rng.uniform(-2, 0, 10)]
    )
    out = np.vstack([rng.normal([0, 0, 1], 0.3, (8, 3)), rng.normal([0, 0, 0.2], 1, (2, 3))])
    out /= np.linalg.norm(out, axis=1)[:, None]
    discs = disc_rows(np.vstack([mouth, tip]), np.concatenate([frames, frames]), np.zeros(3))
    faces = face_rows(np.vstack([tip, place]), np.vstack([axis, out]), np.zeros(3))
    contact = Contact(discs, faces, np.array([False] * pins + [True] * 8 + [False] * 2))
    return contact, *errors(np.vstack([mouth, tip]), frames, pins)


def errors(points: Float, frames: Float, pins: int) -> tuple[Float, Float]:
    """Scale 0.1 %, position 12 um, tilt 0.25 deg, depth 30 um, radius 3 um, margins 12 um."""
    d, f = 2 * pins, pins + 10
    mean = np.concatenate([np.zeros(2 * d), np.full(d, 0.05), np.full(pins, 0.1), np.zeros(10)])
    scale = 0.001 * np.einsum("dij,dj->di", np.concatenate([frames, frames]), points).ravel()
    shift, lean = np.eye(2 * pins) * 0.012, np.eye(2 * pins) * np.radians(0.25) * 2.5
    factor = np.zeros((3 * d + f, 1 + 4 * pins + pins + f))
    factor[: 2 * d, 0] = scale
    factor[: 2 * d, 1 : 1 + 2 * pins] = np.vstack([shift, shift])
    factor[d : 2 * d, 1 + 2 * pins : 1 + 4 * pins] = lean
    factor[2 * d : 3 * d, 1 + 4 * pins : 1 + 5 * pins] = 0.003 * np.vstack([np.eye(pins)] * 2)
    factor[3 * d :, 1 + 5 * pins :] = np.diag([0.03] * pins + [0.012] * 10)
    return mean, factor


def ours(pins: int, *, lacking: bool, threads: int | None = None, trials: int = TRIALS) -> Simulated:
    contact, mean, factor = case(pins)
    return simulate(
        contact,
        None,
        mean,
        factor,
        limit_mm=LIMIT_MM,
        trials=trials,
        seed=SEED,
        lacking=lacking,
        threads=threads,
    )


def rows(contact: Contact, y: Float, *, opening: bool) -> tuple[Float, Float]:
    """Faces, lids and floor as ``a z <= b``."""
    d, on = len(contact.discs), contact.counted
    gap, s = y[3 * d :], np.zeros((len(contact.faces), 1))
    below = np.hstack([-contact.faces, s - (0.0 if opening else 1.0)])
    above = np.hstack([contact.faces, s - (1.0 if opening else 0.0)])[on]
    lid = (0.0 if opening else LIMIT_MM) - gap[on]
    floor = np.append(np.zeros(6), -1.0)[None]
    return np.vstack([below, above, floor]), np.concatenate([gap, lid, [0.0 if opening else 1.0]])


def cone(contact: Contact, y: Float, *, opening: bool) -> float:
    """One bridge by Clarabel at its default accuracy."""
    d = len(contact.discs)
    a, b = rows(contact, y, opening=opening)
    parts, sides = [a], [b]
    give = np.append(np.zeros(6), 0.0 if opening else -1.0)[None]
    for i in range(d):
        parts += [give, -np.hstack([contact.discs[i], np.zeros((2, 1))])]
        sides += [y[2 * d + i : 2 * d + i + 1], y[2 * i : 2 * i + 2]]
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    cones = [clarabel.NonnegativeConeT(len(b)), *[clarabel.SecondOrderConeT(3)] * d]
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((7, 7)),
        np.append(np.zeros(6), 1.0),
        sparse.csc_matrix(np.vstack(parts)),
        np.concatenate(sides),
        cones,
        settings,
    )
    found = solver.solve()
    return float(found.x[6]) if found.status == clarabel.SolverStatus.Solved else np.inf


def polygons(contact: Contact, y: Float, *, opening: bool) -> float:
    """One bridge by HiGHS, discs replaced by polygons that touch them from outside."""
    d = len(contact.discs)
    a, b = rows(contact, y, opening=opening)
    turn = 2 * np.pi * np.arange(SIDES) / SIDES
    way = np.stack([np.cos(turn), np.sin(turn)])
    cut = np.einsum("ik,dij->dkj", way, contact.discs).reshape(-1, 6)
    side = (y[2 * d : 3 * d, None] - y[: 2 * d].reshape(d, 2) @ way).ravel()
    give = np.full((len(cut), 1), 0.0 if opening else -1.0)
    cost = np.append(np.zeros(6), 1.0)
    found = linprog(
        cost,
        A_ub=np.vstack([a, np.hstack([cut, give])]),
        b_ub=np.concatenate([b, side]),
        bounds=(None, None),
        method="highs-ds",
    )
    return float(found.fun) if found.status == 0 else np.inf


def both(solve: Callable[..., float], contact: Contact, y: Float) -> tuple[float, float, Float]:
    """Seconds for all openings and for openings and clearances of 100,000 bridges, and the openings found."""
    start = time.perf_counter()
    openings = np.array([solve(contact, one, opening=True) for one in y])
    middle = time.perf_counter()
    for one in y:
        solve(contact, one, opening=False)
    end = time.perf_counter()
    return (middle - start) / len(y) * TRIALS, (end - start) / len(y) * TRIALS, openings


def main() -> None:
    """Print the tables."""
    begin = time.perf_counter()
    simulate(*_tiny(), limit_mm=LIMIT_MM, trials=1, seed=SEED)
    print(f"first call, compiling or loading the kernels: {time.perf_counter() - begin:.1f} s")
    print(f"{TRIALS:,} bridges; the rivals solve {SAMPLE} of them, and their time is multiplied up")
    print(
        "pins | open s | + lacking | cone s (ratio), + lacking | LP s (ratio), + lacking | off um | bits | MB"
    )
    for pins in SIZES:
        print(line(pins), flush=True)
    for trials in (TRIALS, 10 * TRIALS):
        took = best_of(lambda n=trials: ours(6, lacking=True, trials=n), 3)
        memory = peak_mb("-m", "benchmarks.contact", "6", str(trials))
        print(f"6 pins, {trials:9,} bridges, opening and lacking: {took:.2f} s, {memory:.0f} MB")


def line(pins: int) -> str:
    """One line of the table; `bits` says whether one thread gives what two give."""
    contact, mean, factor = case(pins)
    found = ours(pins, lacking=True)
    opening, lacking = (best_of(lambda w=w: ours(pins, lacking=w), 5) for w in (False, True))
    same = all(
        np.array_equal(one, other, equal_nan=True)
        for one, other in zip(
            vars(found).values(), vars(ours(pins, lacking=True, threads=1)).values(), strict=True
        )
    )
    y = mean + normals(SEED, BRIDGES, 0, SAMPLE, factor.shape[1]) @ factor.T
    cone_opening, cone_both, exact = both(cone, contact, y)
    lp_opening, lp_both, rough = both(polygons, contact, y)
    seated = np.isfinite(exact) & np.isfinite(rough)
    wrong = 1000 * np.abs(rough[seated] - exact[seated]).max()
    rivals = " | ".join(
        f"{o:.0f} ({o / opening:.0f}), {b:.0f} ({b / lacking:.0f})"
        for o, b in ((cone_opening, cone_both), (lp_opening, lp_both))
    )
    memory = peak_mb("-m", "benchmarks.contact", str(pins))
    agree = "same" if same else "DIFFER"
    return f"{pins:4d} | {opening:.3f} | {lacking:.3f} | {rivals} | {wrong:.0f} | {agree} | {memory:.0f}"


def _tiny() -> tuple[Contact, None, Float, Float]:
    contact, mean, factor = case(1)
    return contact, None, mean, factor


if __name__ == "__main__":
    if len(sys.argv) > 1:
        ours(int(sys.argv[1]), lacking=True, trials=int(sys.argv[2]) if len(sys.argv) > 2 else TRIALS)
    else:
        print(machine())
        main()
