"""The whole problem builder against plain geometry and a general conic solver (Clarabel).

Here every virtual bridge is a set of points: they are moved by the errors of each copy one after the other,
then the bridge is moved as a rigid body. Nothing of the builder's matrices is used; Clarabel finds the
least `s`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import clarabel
import numpy as np
import pytest
from scipy import sparse

from pinseat.case.model import Case
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import Pin, PinField, frame
from pinseat.ledger.rows import Entry, FitLedger, Row
from pinseat.seating.assembly import Assembly, assemble
from pinseat.seating.bridges import lacking_mm, seat_bridges
from pinseat.seating.problem import build

DRAW = np.array([0.02, -0.03, 1.0]) / math.sqrt(1.0013)


def entry(mean: float, u: float, unit: str) -> Entry:
    return Entry(mean, u, unit, "assumed", "this test")  # type: ignore[arg-type]


def made(tilt_pivot: str = "mouth") -> Assembly:
    """Two abutments with two pins each, of unequal depth, leaning; margins, a ledge and a groove wall."""
    spots = {11: ((-7.0, 1.0), (-8.0, -1.5)), 22: ((7.5, 1.2), (8.5, -1.0))}
    rng = np.random.default_rng(3)
    pins = []
    for tooth, feet in spots.items():
        for k, foot in enumerate(feet):
            axis = np.array([*np.radians(0.6) * rng.standard_normal(2), 1.0])
            foot3 = np.array([*foot, 0.3 * k])
            pins.append(Pin(tooth, k + 1, foot3, axis / np.linalg.norm(axis), 0.65, 3.0, 0.0, 0.0, 0.0))
    faces = [
        Face("margin", t, np.array([x + dx, dy, -1.0]), np.array([0.1, 0.0, math.sqrt(0.99)]), "stated")
        for t, x in ((11, -7.5), (22, 8.0))
        for dx, dy in ((-3.0, 0.0), (3.0, 0.0), (0.0, 2.5))
    ]
    faces.append(Face("ledge", 11, np.array([-7.5, 0.0, 0.8]), np.array([0.0, 0.0, 1.0]), "stated"))
    faces.append(Face("groove", 22, np.array([6.0, 0.0, 0.5]), np.array([-1.0, 0.0, 0.0]), "stated"))
    rows = (
        Row(
            "impression",
            "a",
            entry(0.02, 0.1, "%"),
            entry(0, 9, "um"),
            entry(0, 0.2, "deg"),
            entry(20, 12, "um"),
        ),
        Row("die", "b", entry(-0.05, 0.1, "%"), entry(0, 7, "um"), entry(0, 0.1, "deg"), entry(0, 6, "um")),
    )
    hole = {"pins": 2, "hole_diameter_mm": 0.70, "cast_pin_diameter_mm": 0.62}
    case = Case.model_validate(
        {
            "number": "t",
            "missing": [21],
            "abutments": [
                {"tooth": 11, "hole_depth_mm": 2.5, "floor_relief_mm": 0.05, **hole},
                {"tooth": 22, "hole_depth_mm": 2.0, **hole},
            ],
            "seat": {"tilt_pivot": tilt_pivot},
        }
    )
    half = np.radians(0.15) * rng.standard_normal((16, 16)) / 4.0
    return assemble(
        PinField(tuple(pins), half @ half.T, "callipers"), faces, DRAW, FitLedger(rows, rows[0].scale), case
    )


@dataclass
class Errors:
    """Of one virtual bridge."""

    scale: float
    position: np.ndarray
    tilt: np.ndarray
    depth: np.ndarray
    surface: np.ndarray
    radius: np.ndarray
    survey: np.ndarray


def errors_from(xi: Callable[[str, str, int], np.ndarray], assembly: Assembly) -> Errors:
    """Errors of each copy added up; `xi` gives standard normals for a copy and a kind."""
    n, f = len(assembly.names), len(assembly.faces)
    total = Errors(
        0.0, np.zeros((n, 2)), np.zeros((n, 2)), np.zeros(n), np.zeros(f), np.zeros(n), np.zeros(2 * n)
    )
    net = math.prod(1.0 + row.scale.mean / 100.0 for row in assembly.rows)
    total.scale = net - 1.0
    for row in assembly.rows:
        factor = net / (1.0 + row.scale.mean / 100.0)
        total.scale += factor * row.scale.u / 100.0 * xi(row.copy, "scale", 1)[0]
        total.position += row.position.u / 1000.0 * xi(row.copy, "position", 2 * n).reshape(n, 2)
        total.tilt += math.radians(row.tilt.u) * xi(row.copy, "tilt", 2 * n).reshape(n, 2)
        total.depth += (row.depth.mean + row.depth.u * xi(row.copy, "depth", n)) / 1000.0
        total.surface += row.position.u / 1000.0 * xi(row.copy, "surface", f)
    total.radius = math.hypot(assembly.u_hole_mm, assembly.u_pin_mm) / 2.0 * xi("diameters", "diameter", n)
    values, vectors = np.linalg.eigh(assembly.tilt_covariance)
    root = vectors @ np.diag(np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    total.survey = root @ xi("survey", "survey", 2 * n)
    return total


def least(
    discs: Callable[[np.ndarray], np.ndarray],
    radii: np.ndarray,
    faces: Callable[[np.ndarray], np.ndarray] | None,
    counted: np.ndarray,
    limit: float,
) -> float:
    """The least `s` by Clarabel; `discs` (D, 2) and `faces` (F,) are affine in the motion."""
    unit = np.eye(6)
    b = discs(np.zeros(6))
    a = np.stack([discs(e) - b for e in unit], axis=-1)
    blocks, sides, cones = [], [], []
    if faces is not None:
        g = faces(np.zeros(6))
        rows = np.stack([faces(e) - g for e in unit], axis=-1)
        blocks += [
            np.column_stack([-rows, -np.ones(len(g))]),
            np.column_stack([rows, np.zeros(len(g))])[counted],
        ]
        sides += [g, limit - g[counted]]
        cones.append(clarabel.NonnegativeConeT(len(g) + int(counted.sum())))
    for matrix, offset, radius in zip(a, b, radii, strict=True):
        blocks.append(np.vstack([[0, 0, 0, 0, 0, 0, -1.0], np.column_stack([-matrix, np.zeros(2)])]))
        sides.append(np.array([radius, *offset]))
        cones.append(clarabel.SecondOrderConeT(3))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((7, 7)), np.array([0.0] * 6 + [1.0]),
        sparse.csc_matrix(np.vstack(blocks)), np.concatenate(sides), cones, settings,
    )  # fmt: skip
    solution = solver.solve()
    assert str(solution.status) == "Solved"
    return float(solution.x[6])


class Geometry:
    """Points of the casting, moved by errors; holes of the tooth."""

    def __init__(self, assembly: Assembly, errors: Errors) -> None:
        self.a, self.e = assembly, errors
        self.centre = assembly.mouths.mean(axis=0)
        turned = np.einsum("nc,nci->ni", errors.survey.reshape(-1, 2), self.frames(assembly.axes))
        self.true = assembly.axes + turned
        self.true /= np.linalg.norm(self.true, axis=1)[:, None]
        self.radii = (assembly.hole_mm - assembly.pin_mm) / 2.0 + errors.radius

    @staticmethod
    def frames(axes: np.ndarray) -> np.ndarray:
        return np.array([frame(axis) for axis in axes])

    def on_pin(self, i: int, along: float, axis: np.ndarray) -> np.ndarray:
        """A point of cast pin `i`, `along` from the mouth, after all copies."""
        pivot = 0.0 if self.a.tilt_pivot == "mouth" else -self.a.length_mm[i] / 2.0
        point = self.a.mouths[i] + along * axis
        shift = self.e.position[i] + (along - pivot) * self.e.tilt[i]
        return point + self.e.scale * (point - self.centre) + shift @ frame(self.a.axes[i])

    def moved(self, point: np.ndarray, x: np.ndarray, about: np.ndarray) -> np.ndarray:
        return point + x[:3] + np.cross(x[3:], about - self.centre)

    def seat_lacking(self) -> float:
        a, n = self.a, len(self.a.names)

        def discs(x: np.ndarray) -> np.ndarray:
            found = []
            for along in (np.zeros(n), -a.length_mm):
                for i in range(n):
                    nominal = a.mouths[i] + along[i] * a.axes[i]
                    off = self.moved(self.on_pin(i, along[i], a.axes[i]), x, nominal) - nominal
                    found.append(frame(a.axes[i]) @ off)
            return np.array(found)

        def faces(x: np.ndarray) -> np.ndarray:
            found = []
            for i in range(n):
                nominal = a.mouths[i] - a.length_mm[i] * a.axes[i]
                tip = self.moved(self.on_pin(i, -a.length_mm[i], a.axes[i]), x, nominal)
                floor = a.mouths[i] - a.depth_mm[i] * a.axes[i]
                found.append(a.axes[i] @ (tip - floor) - self.e.depth[i])
            for j, face in enumerate(a.faces):
                there = face.point + self.e.scale * (face.point - self.centre)
                gap = face.normal @ (self.moved(there, x, face.point) - face.point) + self.e.surface[j]
                found.append(gap + (0.030 if face.kind == "groove" else 0.0))
            return np.array(found)

        counted = np.array([False] * n + [face.kind in ("margin", "ledge") for face in a.faces])
        return least(discs, np.tile(self.radii, 2), faces, counted, a.limit_mm)

    def entry_lacking(self, lift: float) -> float:
        """Every pin longer than `lift` where it passes its mouth and at its tip; one as long, at its tip."""
        a = self.a
        slope = a.axes @ a.draw
        places = []
        for i in range(len(a.names)):
            reach = a.length_mm[i] / slope[i]
            if reach >= lift:
                just = reach <= lift + 0.02
                places.append((i, -a.length_mm[i], 0.0 if just else lift * slope[i] - a.length_mm[i]))
                if not just:
                    places.append((i, -lift * slope[i], 0.0))

        def discs(x: np.ndarray) -> np.ndarray:
            found = []
            for i, along, level in places:
                nominal = a.mouths[i] + along * a.axes[i]
                point = self.moved(self.on_pin(i, along, self.true[i]), x, nominal)
                hole = a.mouths[i] + level * self.true[i]
                across = self.true[i]
                point = point - a.draw * (across @ (point - hole)) / (across @ a.draw)
                found.append(self.frames(self.true[i][None])[0] @ (point - hole))
            return np.array(found)

        radii = np.array([self.radii[i] for i, _, _ in places])
        return least(discs, radii, None, np.zeros(0, dtype=bool), a.limit_mm)

    def lacking(self) -> float:
        slope = self.a.axes @ self.a.draw
        reach = np.sort(self.a.length_mm / slope)
        lifts = [reach[0], *reach[1:][np.diff(reach) > 0.02]]
        return max(self.seat_lacking(), *(self.entry_lacking(lift) for lift in lifts))


@pytest.mark.parametrize("tilt_pivot", ["mouth", "mid-pin"])
def test_bridge_by_bridge(tilt_pivot: str) -> None:
    """40 bridges with the same errors: builder and solver against points and Clarabel, to 0.02 um.

    The rest is second order in the uncertainty of the surveyed axes.
    """
    assembly = made(tilt_pivot)
    problem = build(assembly)
    labels = problem.labels()
    rng = np.random.default_rng(11)
    xi = rng.standard_normal((40, len(labels)))
    got = lacking_mm(problem, xi, assembly.limit_mm)
    for bridge, numbers in zip(got, xi, strict=True):

        def take(copy: str, kind: str, count: int, numbers: np.ndarray = numbers) -> np.ndarray:
            own = [
                i
                for i, (c, k) in enumerate(labels)
                if k == kind and (k in ("diameter", "survey") or c == copy)
            ]
            assert len(own) == count
            return numbers[own]

        expected = Geometry(assembly, errors_from(take, assembly)).lacking()
        assert bridge == pytest.approx(expected, abs=2e-5)


def test_probability_by_independent_bridges() -> None:
    """300 bridges of its own random numbers; the shares agree within four standard errors of counting."""
    assembly = made()
    rng = np.random.default_rng(12)
    home = 0
    for _ in range(300):
        errors = errors_from(lambda copy, kind, count: rng.standard_normal(count), assembly)
        home += Geometry(assembly, errors).lacking() <= 0.0
    share = home / 300
    ours = seat_bridges(build(assembly), limit_mm=assembly.limit_mm, trials=10_000, seed=1)
    p = float(ours.home.mean())
    assert 0.1 < p < 0.95
    assert share == pytest.approx(p, abs=4.0 * math.sqrt(p * (1.0 - p) * (1 / 300 + 1 / 10_000)))
