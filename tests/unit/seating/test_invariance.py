"""Where the case lies, in which order pins are named, and left or right: none of it matters.

Errors across a pin are stated in directions that do not turn with the case, so a single random bridge
differs after a turn; only its distribution is the same. For the errors that have no direction (scale,
depth, faces, diameters) the very same bridge must come out, and that is what Hypothesis tries here. The
whole ledger is compared as a probability.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pinseat.ledger.faces import Face
from pinseat.seating.assembly import Assembly
from pinseat.seating.bridges import lacking_mm, seat_bridges
from pinseat.seating.problem import build


def moved(assembly: Assembly, matrix: np.ndarray, shift: np.ndarray) -> Assembly:
    """Turned or mirrored by `matrix`, then shifted."""
    return replace(
        assembly,
        mouths=assembly.mouths @ matrix.T + shift,
        axes=assembly.axes @ matrix.T,
        draw=matrix @ assembly.draw,
        faces=tuple(
            Face(face.kind, face.tooth, matrix @ face.point + shift, matrix @ face.normal, face.basis)
            for face in assembly.faces
        ),
    )


def permuted(assembly: Assembly, order: list[int]) -> Assembly:
    """Pins in another order; the survey is taken as equally sure of all."""
    return replace(
        assembly,
        names=tuple(assembly.names[i] for i in order),
        teeth=tuple(assembly.teeth[i] for i in order),
        **{
            name: getattr(assembly, name)[order]
            for name in ("mouths", "axes", "hole_mm", "pin_mm", "depth_mm", "relief_mm")
        },
    )


def lacking(assembly: Assembly, order: list[int] | None = None) -> np.ndarray:
    """Fifty bridges with errors of scale, depth, faces and diameters only."""
    problem = build(assembly)
    labels = problem.labels()
    xi = np.random.default_rng(8).standard_normal((50, len(labels)))
    for group, kind in dict.fromkeys(labels):
        columns = [i for i, label in enumerate(labels) if label == (group, kind)]
        if kind in ("position", "tilt", "survey"):
            xi[:, columns] = 0.0
        elif order is not None and kind in ("depth", "diameter"):
            xi[:, columns] = xi[:, [columns[i] for i in order]]
    return lacking_mm(problem, xi, assembly.limit_mm)


turns = st.lists(st.floats(-1.0, 1.0), min_size=4, max_size=4).filter(lambda q: np.linalg.norm(q) > 0.1)
shifts = st.lists(st.floats(-200.0, 200.0), min_size=3, max_size=3)


@settings(max_examples=15, deadline=None)
@given(turn=turns, shift=shifts, mirrored=st.booleans())
def test_moving_or_mirroring_the_case_changes_no_bridge(
    leaning_bridge: Assembly, turn: list[float], shift: list[float], mirrored: bool
) -> None:
    matrix = Rotation.from_quat(turn).as_matrix()
    if mirrored:
        matrix = matrix @ np.diag([-1.0, 1.0, 1.0])
    again = lacking(moved(leaning_bridge, matrix, np.array(shift)))
    assert again == pytest.approx(lacking(leaning_bridge), abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(order=st.permutations(range(6)))
def test_the_order_of_the_pins_changes_no_bridge(leaning_bridge: Assembly, order: list[int]) -> None:
    again = lacking(permuted(leaning_bridge, order), order)
    assert again == pytest.approx(lacking(leaning_bridge), abs=1e-6)


@pytest.mark.parametrize("change", ["turned", "mirrored", "permuted"])
def test_with_all_errors_the_probability_stays(leaning_bridge: Assembly, change: str) -> None:
    turn = Rotation.from_euler("xyz", [40.0, -110.0, 75.0], degrees=True).as_matrix()
    other = {
        "turned": moved(leaning_bridge, turn, np.array([30.0, -80.0, 12.0])),
        "mirrored": moved(leaning_bridge, np.diag([-1.0, 1.0, 1.0]), np.zeros(3)),
        "permuted": permuted(leaning_bridge, [5, 2, 0, 4, 1, 3]),
    }[change]
    k = 10_000
    a, b = (
        seat_bridges(build(one), limit_mm=one.limit_mm, trials=k, seed=seed).home.mean()
        for seed, one in ((1, leaning_bridge), (2, other))
    )
    assert 0.2 < a < 0.98
    assert b == pytest.approx(a, abs=4.0 * np.sqrt(2.0 * a * (1.0 - a) / k))
