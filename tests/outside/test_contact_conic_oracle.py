"""The contact kernel against a general second-order cone solver on 1,100 random bridges, degenerate ones
among them.

Oracle: Clarabel (Goulart and Chen 2024, arXiv:2405.12762; Apache-2.0), an interior-point method that shares
nothing with ours but the statement of the problem. Both programmes, agreement wanted: 1e-6 mm.
"""

from __future__ import annotations

from collections.abc import Callable

import clarabel
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import sparse

from pinseat.ledger.pins import frame
from pinseat.numerics.contact import Contact, disc_rows, face_rows, solve_lacking, solve_opening

Float = NDArray[np.float64]
LIMIT_MM, TRAVEL_MM, TURN_RAD = 0.12, 10.0, 0.2
AGREE_MM = 1e-6
BRIDGES_A_KIND = 100


def clarabel_optimum(contact: Contact, y: Float, *, opening: bool) -> float:
    """Least opening or clearance lacking, as the issue states the programmes; infinite if there is none."""
    d, f = len(contact.discs), len(contact.faces)
    offset, radius, gap = y[: 2 * d].reshape(d, 2), y[2 * d : 3 * d], y[3 * d :]
    unit = np.array([1.0, 1.0, 1.0, 0.1, 0.1, 0.1])  # motions in mm and tenths of a radian
    scalar = np.zeros((1, 7))
    scalar[0, 6] = 1.0
    motion = np.eye(7)[:6]
    faces = np.hstack([contact.faces * unit, np.zeros((f, 1))])
    on = contact.counted
    give, lid = (0.0, 0.0) if opening else (1.0, LIMIT_MM)
    bound = np.array([TRAVEL_MM] * 3 + [TURN_RAD / 0.1] * 3)
    linear = [motion, -motion, -faces - give * scalar, faces[on] - (scalar if opening else 0.0)]
    sides = [bound, bound, gap, lid - gap[on]]
    if opening:
        linear.append(-scalar)
        sides.append(np.zeros(1))
    cones = [clarabel.NonnegativeConeT(sum(map(len, sides)))]
    for i in range(d):
        disc = np.hstack([contact.discs[i] * unit, np.zeros((2, 1))])
        linear += [-give * scalar, -disc]
        sides += [radius[i : i + 1], offset[i]]
        cones.append(clarabel.SecondOrderConeT(3))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-11
    settings.max_iter = 500
    rows = sparse.csc_matrix(np.vstack(linear))
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((7, 7)), scalar[0], rows, np.concatenate(sides), cones, settings
    )
    found = solver.solve()
    if found.status == clarabel.SolverStatus.PrimalInfeasible:
        return np.inf
    assert found.status in (clarabel.SolverStatus.Solved, clarabel.SolverStatus.AlmostSolved)
    return float(found.x[6])


def random_contact(rng: np.random.Generator, pins: int, margins: int, walls: int) -> Contact:
    """Pins of two abutments 20 mm apart, with floors, margins and walls."""
    side = np.where(np.arange(pins) % 2 == 0, -10.0, 10.0)
    mouth = np.column_stack([side, np.zeros(pins), np.zeros(pins)]) + rng.uniform(-3, 3, (pins, 3))
    axis = np.column_stack([rng.normal(0, 0.02, (pins, 2)), np.ones(pins)])
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    tip = mouth - rng.uniform(1.5, 3.0, (pins, 1)) * axis
    frames = np.array([frame(a) for a in axis])
    place = rng.uniform([-13, -4, -3], [13, 4, 1], (margins + walls, 3))
    out = np.vstack([rng.normal([0, 0, 1], 0.4, (margins, 3)), rng.normal([0, 0, 0.2], 1, (walls, 3))])
    out /= np.linalg.norm(out, axis=1)[:, None]
    origin = mouth.mean(axis=0)
    discs = disc_rows(np.vstack([mouth, tip]), np.concatenate([frames, frames]), origin)
    faces = face_rows(np.vstack([tip, place]), np.vstack([axis, out]), origin)
    counted = np.array([False] * pins + [True] * margins + [False] * walls)
    return Contact(discs, faces, counted)


def errors(
    rng: np.random.Generator, contact: Contact, *, offset: float = 0.02, radius: float = 0.05
) -> Float:
    d, f = len(contact.discs), len(contact.faces)
    radii = np.maximum(rng.normal(radius, radius / 10, d), 0.0)
    return np.concatenate([rng.normal(0, offset, 2 * d), radii, rng.normal(0.03, 0.03, f)])


def ordinary(rng: np.random.Generator) -> tuple[Contact, Float]:
    contact = random_contact(rng, int(rng.integers(2, 9)), int(rng.integers(3, 11)), int(rng.integers(0, 5)))
    return contact, errors(rng, contact, offset=rng.choice([0.005, 0.02, 0.04]))


def single_pin(rng: np.random.Generator) -> tuple[Contact, Float]:
    contact = random_contact(rng, 1, int(rng.integers(0, 5)), 1)
    return contact, errors(rng, contact)


def tips_only(rng: np.random.Generator) -> tuple[Contact, Float]:
    contact = random_contact(rng, int(rng.integers(1, 9)), 0, 0)
    contact = Contact(contact.discs, np.zeros((0, 6)), np.zeros(0, dtype=bool))
    return contact, errors(rng, contact)


def tips_abreast(rng: np.random.Generator) -> tuple[Contact, Float]:
    """Tips nearly level and far off their mouths: only turning beyond the box would bring them nearer."""
    tips = np.column_stack([rng.uniform(-12, 12, (4, 2)), rng.uniform(-0.1, 0.1, 4)])
    discs = disc_rows(tips, np.tile(np.eye(3)[:2], (4, 1, 1)), tips.mean(axis=0))
    contact = Contact(discs, np.zeros((0, 6)), np.zeros(0, dtype=bool))
    return contact, errors(rng, contact, offset=0.1)


def without_errors(rng: np.random.Generator) -> tuple[Contact, Float]:
    contact, y = ordinary(rng)
    y[: 2 * len(contact.discs)] = 0.0
    y[2 * len(contact.discs) : 3 * len(contact.discs)] = 0.05
    y[3 * len(contact.discs) :] = 0.0
    return contact, y


def twin_pins(rng: np.random.Generator) -> tuple[Contact, Float]:
    """Every disc and face twice."""
    once = random_contact(rng, int(rng.integers(1, 4)), 3, 1)
    y, d = errors(rng, once), len(once.discs)
    twice = Contact(np.tile(once.discs, (2, 1, 1)), np.tile(once.faces, (2, 1)), np.tile(once.counted, 2))
    return twice, np.concatenate([np.tile(part, 2) for part in (y[: 2 * d], y[2 * d : 3 * d], y[3 * d :])])


def parallel_grid(rng: np.random.Generator) -> tuple[Contact, Float]:
    """Exactly parallel pins on a grid, equal clearances, errors on a grid: many ties."""
    pins = int(rng.integers(2, 7))
    mouth = np.column_stack([10.0 * np.arange(pins), np.zeros((pins, 2))])
    frames = np.tile(np.eye(3)[:2], (2 * pins, 1, 1))
    tip = mouth - [0.0, 0.0, 2.0]
    discs = disc_rows(np.vstack([mouth, tip]), frames, mouth.mean(axis=0))
    up = np.tile([0.0, 0.0, 1.0], (2 * pins, 1))
    faces = face_rows(np.vstack([tip, mouth]), up, mouth.mean(axis=0))
    y = np.concatenate([0.01 * rng.integers(-3, 4, 4 * pins), np.full(2 * pins, 0.05), np.zeros(2 * pins)])
    y[6 * pins : 7 * pins] = 0.1
    return Contact(discs, faces, np.array([False] * pins + [True] * pins)), y


def no_clearance(rng: np.random.Generator) -> tuple[Contact, Float]:
    """One pin a whole interference fit: some radii exactly zero, none of the offsets."""
    contact, y = ordinary(rng)
    y[2 * len(contact.discs) : 2 * len(contact.discs) + 2] = 0.0
    return contact, y


def thick_pin(rng: np.random.Generator) -> tuple[Contact, Float]:
    """A pin thicker than its hole: a disc of negative radius."""
    contact, y = ordinary(rng)
    y[2 * len(contact.discs)] = -rng.uniform(0.0, 0.03)
    return contact, y


def nothing_counted(rng: np.random.Generator) -> tuple[Contact, Float]:
    contact, y = ordinary(rng)
    return Contact(contact.discs, contact.faces, np.zeros(len(contact.faces), dtype=bool)), y


def hardly_in(rng: np.random.Generator) -> tuple[Contact, Float]:
    """Radii within a micrometre of the smallest that let the bridge in: openings at their worst."""
    contact, y = ordinary(rng)
    d = len(contact.discs)
    free = Contact(contact.discs, np.zeros((0, 6)), np.zeros(0, dtype=bool))
    y[2 * d : 3 * d] += solve_lacking(free, y[None, : 3 * d], 0.0)[0] + rng.uniform(1e-4, 1e-3)
    return contact, y


KINDS: dict[str, Callable[[np.random.Generator], tuple[Contact, Float]]] = {
    made.__name__: made
    for made in (
        ordinary,
        single_pin,
        tips_only,
        tips_abreast,
        without_errors,
        twin_pins,
        parallel_grid,
        no_clearance,
        thick_pin,
        nothing_counted,
        hardly_in,
    )
}


@pytest.mark.parametrize("kind", KINDS)
def test_both_programmes_agree_with_a_cone_solver(kind: str) -> None:
    rng = np.random.default_rng(sorted(KINDS).index(kind))
    for _ in range(BRIDGES_A_KIND):
        contact, y = KINDS[kind](rng)
        lacking = solve_lacking(contact, y[None], LIMIT_MM)[0][0]
        opening = solve_opening(contact, y[None])[0][0]
        assert lacking == pytest.approx(clarabel_optimum(contact, y, opening=False), abs=AGREE_MM)
        assert opening == pytest.approx(clarabel_optimum(contact, y, opening=True), abs=AGREE_MM)
