"""Teeth that yield and a span that flexes: closed forms, a beam table, and Clarabel as a cone programme.

Beam formulas: any table, such as Roark's Formulas for Stress and Strain, table 8.1, case 1a (from memory):
a cantilever of length L with a force F at its end sinks by F L^3 / (3 E I) and turns by F L^2 / (2 E I).
"""

from __future__ import annotations

import math
from dataclasses import replace

import clarabel
import numpy as np
import pytest
from scipy import sparse

from pinseat.case.tryin import Beam
from pinseat.ledger.faces import Face
from pinseat.numerics.contact import Contact, solve_least
from pinseat.numerics.yielding import Extra, solve_yielding
from pinseat.seating.assembly import Assembly
from pinseat.seating.give import Give, cantilever
from pinseat.seating.problem import Pose, build
from tests.outside.test_seating_closed_forms import assembly
from tests.unit.numerics.bridges import bridge

LACKING = (1.0, 1.0, 0.0)


def lacking_um(pose: Pose, y: np.ndarray) -> float:
    assert pose.extra is not None
    return 1000.0 * float(solve_yielding(pose.contact, pose.extra, y[None], LACKING, 0.2)[0][0])


def two(give: Give | None, **stated: float) -> Assembly:
    """Two pins in two teeth, 20 mm apart."""
    made = assembly([(-10.0, 0.0), (10.0, 0.0)], limit_um=200.0, **stated)  # type: ignore[arg-type]
    return replace(made, teeth=(11, 22), give=give)


@pytest.mark.parametrize("yields_mm", [0.0, 0.01, 0.05])
def test_a_tooth_that_yields_takes_up_as_much_of_a_pitch_error(yields_mm: float) -> None:
    """|e| <= c + m: the two pins give c / 2 each and one tooth gives m. e 0.16, c 0.10 mm."""
    give = Give(5.0, ((22, yields_mm),), None) if yields_mm else Give(5.0, (), None)
    pose = build(two(give, scale_percent=0.8)).seat
    y = build(two(give, scale_percent=0.8)).mean(pose)
    assert lacking_um(pose, y) == pytest.approx(1000.0 * (0.16 - 0.10 - yields_mm) / 2.0, abs=1e-3)


def test_two_teeth_that_yield_add_up() -> None:
    """e 0.20, c 0.10 mm, m 0.02 and 0.03 mm: (0.20 - 0.10 - 0.05) / 2 is lacking."""
    give = Give(5.0, ((11, 0.02), (22, 0.03)), None)
    problem = build(two(give, scale_percent=1.0))
    assert lacking_um(problem.seat, problem.mean(problem.seat)) == pytest.approx(25.0, abs=1e-3)


def test_cantilever_against_the_table() -> None:
    """3 mm square, 30 mm long, 200 GPa, 10 N: I 6.75 mm4, 66.67 um and 0.003333 rad."""
    beam = Beam(width_mm=3.0, height_mm=3.0, modulus_GPa=200.0)
    sag, slope, sway, swing, _ = cantilever(beam, 30.0, 10.0)
    assert sag == sway == pytest.approx(0.066667, abs=5e-7)
    assert slope == swing == pytest.approx(0.0033333, abs=5e-8)


def test_twist_of_a_square_against_the_torsion_constant() -> None:
    """J of a square is 0.1406 b^4 (Timoshenko and Goodier, Theory of Elasticity, art. 109; from memory)."""
    beam = Beam(width_mm=2.0, height_mm=2.0, modulus_GPa=100.0, poisson=0.25)
    shear, arm, moment = 40_000.0, 1.0, 5.0
    expected = math.atan(moment * arm * 20.0 / (shear * 0.1406 * 2.0**4))
    assert cantilever(beam, 20.0, 5.0)[4] == pytest.approx(expected, rel=3e-3)


@pytest.mark.parametrize("proud_mm", [0.02, 0.05])
def test_a_span_that_flexes_lets_margins_meet(proud_mm: float) -> None:
    """Margins at x -12 and -8 on one retainer and at 12 on the other, that one proud by g; pins never touch.

    A rigid bridge stands on -12 and 12 and is g / 6 off at -8. A span that bends lifts the far margin, 2 mm
    beyond the far pin, by up to sag + 2 slope: what is left of g is shared out in the same way.
    """
    beam = Beam(width_mm=3.0, height_mm=3.0, modulus_GPa=100.0)
    sag, slope = cantilever(beam, 20.0, 5.0)[:2]
    places = ((11, -12.0), (11, -8.0), (22, 12.0))
    up = np.array([0.0, 0.0, 1.0])
    faces = tuple(Face("margin", tooth, np.array([x, 0.0, 0.0]), up, "stated") for tooth, x in places)
    for flexes, lifted in ((None, 0.0), (beam, sag + 2.0 * slope)):
        made = replace(two(Give(5.0, (), flexes), hole_mm=2.9), faces=faces)
        pose, y = build(made).seat, build(made).mean(build(made).seat)
        y[-1] -= proud_mm
        assert pose.extra is not None
        opening = solve_yielding(pose.contact, pose.extra, y[None], (0.0, 0.0, 1.0), 0.0)[0][0]
        assert opening == pytest.approx(max(proud_mm - lifted, 0.0) / 6.0, abs=1e-6)


def test_against_clarabel_on_random_bridges() -> None:
    rng = np.random.default_rng(4)
    for seed in range(6):
        made = bridge(seed)
        contact, y, q = made.contact, made.y, 3
        extra = Extra(
            rng.normal(0, 0.7, (len(contact.discs), 2, q)),
            rng.normal(0, 0.7, (len(contact.faces), q)),
            ((0, 1), (2,)),
            (0.015, 0.01),
        )
        for give, limit in ((LACKING, 0.1), ((0.0, 0.0, 1.0), 0.0)):
            ours = solve_yielding(contact, extra, y, give, limit)[0][0]
            theirs = cone(contact, extra, y[0], give, limit)
            assert ours == pytest.approx(theirs, abs=2e-6) or (math.isinf(ours) and math.isinf(theirs))
            assert ours <= solve_least(contact, y, give, limit)[0][0] + 1e-7


def cone(
    contact: Contact, extra: Extra, y: np.ndarray, give: tuple[float, float, float], limit: float
) -> float:
    """The same programme for Clarabel: unknowns six motions, further motions, s. Infinite only if proven."""
    d, f, q = len(contact.discs), len(contact.faces), extra.faces.shape[1]
    width = 7 + q
    linear, side, cones = [], [], []
    for j in range(f):
        row = np.concatenate([contact.faces[j], extra.faces[j], [0.0]])
        gap = y[3 * d + j]
        linear.append(-row - np.eye(width)[-1] * give[1])
        side.append(gap)
        if contact.counted[j]:
            linear.append(row - np.eye(width)[-1] * give[2])
            side.append(limit - gap)
    linear.append(-np.eye(width)[-1])
    side.append(0.0 if give[0] == 0.0 else float(y[2 * d : 3 * d].min()))
    parts, sides = [np.array(linear)], [np.array(side)]
    for i in range(d):
        turned = np.hstack([contact.discs[i], extra.discs[i], np.zeros((2, 1))])
        parts.append(np.vstack([-np.eye(width)[-1] * give[0], -turned]))
        sides.append(np.concatenate([[y[2 * d + i]], y[2 * i : 2 * i + 2]]))
    for group, bound in zip(extra.groups, extra.bound_mm, strict=True):
        parts.append(np.vstack([np.zeros(width), *(-np.eye(width)[6 + k] for k in group)]))
        sides.append(np.concatenate([[bound], np.zeros(len(group))]))
        cones.append(clarabel.SecondOrderConeT(1 + len(group)))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-11
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((width, width)),
        np.eye(width)[-1],
        sparse.csc_matrix(np.vstack(parts)),
        np.concatenate(sides),
        [clarabel.NonnegativeConeT(len(side)), *[clarabel.SecondOrderConeT(3)] * d, *cones],
        settings,
    )
    found = solver.solve()
    if found.status == clarabel.SolverStatus.PrimalInfeasible:
        return math.inf
    assert found.status == clarabel.SolverStatus.Solved
    return float(found.x[-1])
