"""A casting let down on analytic bodies: closed forms, and a general optimiser on the bodies themselves.

Meshes are fine enough that their chords are off by less than the error allowed, 1 um; corners of the two
meshes do not lie on each other. The optimiser is SciPy's SLSQP with true rotations and exact distances.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from pinseat.mesh.model import Mesh
from pinseat.seating.intaglio import Rest, settle, surfaces

UP = np.array([0.0, 0.0, 1.0])
ALLOWED_MM = 0.001


def turned(
    profile: list[tuple[float, float]], around: int, *, start: float = 0.0, outward: bool = True
) -> Mesh:
    """A surface of revolution about z from radius and height, bottom to top."""
    angle = start + 2.0 * math.pi * np.arange(around) / around
    rings = [np.column_stack([r * np.cos(angle), r * np.sin(angle), np.full(around, z)]) for r, z in profile]
    faces = []
    for i in range(len(profile) - 1):
        for k in range(around):
            a, b = i * around + k, i * around + (k + 1) % around
            faces += [(a, b, a + around), (b, b + around, a + around)]
    corners = np.array(faces, np.int32)
    return Mesh(np.vstack(rings), corners if outward else corners[:, ::-1])


def lift_of(tooth: Mesh, inside: Mesh, pressed: np.ndarray | None = None) -> Rest:
    return settle(surfaces(tooth, inside), UP, np.zeros(3) if pressed is None else pressed)


@pytest.mark.parametrize("tight_mm", [0.01, 0.03])
@pytest.mark.parametrize("half_angle_deg", [6.0, 12.0])
def test_cone_in_cone(half_angle_deg: float, tight_mm: float) -> None:
    """Same half-angle a, inside narrower by t along its normal: it stands t / sin a high."""
    a = math.radians(half_angle_deg)

    def cone(off: float, low: float, high: float, **how: object) -> Mesh:
        heights = np.linspace(low, high, 4)
        return turned(
            [(4.0 - z * math.tan(a) - off / math.cos(a), z) for z in heights],
            720,
            **how,  # type: ignore[arg-type]
        )

    tooth = cone(0.0, 0.0, 6.0)
    inside = cone(tight_mm, 1.0, 5.0, start=math.pi / 720, outward=False)
    rest = lift_of(tooth, inside)
    assert rest.lift_mm == pytest.approx(tight_mm / math.sin(a), abs=ALLOWED_MM)
    assert rest.through_mm <= 2e-4


def sphere(radius: float, low_deg: float, around: int, rings: int, **how: object) -> Mesh:
    """Upper cap of a sphere about the origin, from a latitude to near the pole."""
    at = np.radians(np.linspace(low_deg, 89.5, rings))
    return turned([(radius * math.cos(t), radius * math.sin(t)) for t in at], around, **how)  # type: ignore[arg-type]


def test_sphere_in_a_wider_cup_rests_on_its_pole() -> None:
    """A cup of radius R + g about the same centre comes down by g."""
    tooth = sphere(4.0, 30.0, 200, 80)
    inside = sphere(4.2, 45.0, 180, 50, start=0.004, outward=False)
    rest = lift_of(tooth, inside)
    assert rest.lift_mm == pytest.approx(-0.2, abs=ALLOWED_MM)


def test_sphere_in_a_narrower_cup_rests_on_its_rim() -> None:
    """A cup of radius r < R is held by its rim at latitude b: its centre stands off that of the sphere by
    sqrt(R^2 - r^2 cos^2 b) - r sin b."""
    big, small, b = 4.0, 3.95, math.radians(30.0)
    tooth = sphere(big, 20.0, 240, 70)
    inside = sphere(small, 30.0, 220, 20, start=0.003, outward=False)
    rest = lift_of(tooth, inside)
    expected = math.sqrt(big**2 - (small * math.cos(b)) ** 2) - small * math.sin(b)
    assert rest.lift_mm == pytest.approx(expected, abs=ALLOWED_MM)


def trough(radius: float, x: float, length: float, around: int) -> tuple[np.ndarray, np.ndarray]:
    """Upper half of a cylinder along y at x, resting with its axis at height 0."""
    t = np.linspace(0.05 * math.pi, 0.95 * math.pi, around)
    y = np.linspace(-length, length, 9)
    points = np.array([[x - radius * math.cos(u), v, radius * math.sin(u)] for u in t for v in y])
    faces = []
    for i in range(around - 1):
        for k in range(8):
            a = 9 * i + k
            faces += [(a, a + 9, a + 1), (a + 1, a + 9, a + 10)]
    return points, np.array(faces, np.int32)


def strip(profile: list[tuple[float, float]], half: float) -> tuple[np.ndarray, np.ndarray]:
    """A profile in x and z drawn out along y, seen from below."""
    points = np.array([[x, y, z] for x, z in profile for y in (-half, half)])
    faces = [t for i in range(0, 2 * len(profile) - 2, 2) for t in ((i, i + 1, i + 2), (i + 1, i + 3, i + 2))]
    return points, np.array(faces, np.int32)


def test_a_notched_plate_on_two_cylinders() -> None:
    """A right-angled notch sits on a cylinder of radius a, the flat rest on one of radius b, axes S apart.

    The apex of the notch is a sqrt(2) from the first axis and the flat is b from the second, both along the
    plate's own upright, so it leans by asin((b - a sqrt(2)) / S).
    """
    a, b, span = 1.0, 1.6, 12.0
    (one, faces), (other, more) = trough(a, -span / 2.0, 3.0, 300), trough(b, span / 2.0, 3.0, 300)
    tooth = Mesh(np.vstack([one, other]), np.vstack([faces, more + len(one)]).astype(np.int32))
    notch, cut = strip([(-7.5, 0.3), (-6.0, 1.8), (-4.5, 0.3)], 2.5)
    flat, under = strip([(x, 1.8) for x in np.linspace(-1.0, 9.0, 21)], 2.5)
    plate = Mesh(np.vstack([notch, flat]), np.vstack([cut, under + len(notch)]).astype(np.int32))
    middle = np.array([0.0, 0.0, 1.8])
    rest = lift_of(tooth, plate, middle)
    lean = math.asin((b - a * math.sqrt(2.0)) / span)
    ends = rest.pose.apply(np.array([[-1.0, 0.0, 1.8], [9.0, 0.0, 1.8]]))
    assert math.atan2(ends[1, 2] - ends[0, 2], ends[1, 0] - ends[0, 0]) == pytest.approx(lean, abs=1e-4)
    height = 6.0 * math.sin(lean) + a * math.sqrt(2.0) * math.cos(lean)
    assert rest.pose.apply(middle[None])[0, 2] == pytest.approx(height, abs=ALLOWED_MM)


def test_tilted_cone_against_a_general_optimiser() -> None:
    """A cone pressed beside its axis, in a wider cup of another angle: it tilts."""
    a_tooth, a_cup, top, radius = math.radians(10.0), math.radians(12.0), 5.0, 4.0
    z = np.linspace(-1.0, top + 1.5, 4)
    tooth = turned([(radius - h * math.tan(a_tooth), h) for h in z], 720)
    cup = [(radius + 0.02 - (h - 0.4) * math.tan(a_cup), h) for h in np.linspace(0.4, 4.6, 4)]
    inside = turned(cup, 700, start=0.003, outward=False)
    pressed = np.array([1.0, 0.0, 0.0])
    rest = lift_of(tooth, inside, pressed)
    expected = _by_slsqp(inside.vertices, pressed, lambda p: _cone_distance(p, radius, a_tooth))
    assert rest.lift_mm == pytest.approx(expected, abs=ALLOWED_MM)


def _cone_distance(points: np.ndarray, radius: float, a: float) -> np.ndarray:
    """Distance outside the mantle of an endless cone, along its normal."""
    return (np.hypot(points[:, 0], points[:, 1]) - radius + points[:, 2] * math.tan(a)) * math.cos(a)


def _by_slsqp(points: np.ndarray, pressed: np.ndarray, distance: Callable[[np.ndarray], np.ndarray]) -> float:
    def moved(x: np.ndarray, of: np.ndarray) -> np.ndarray:
        return Rotation.from_rotvec(np.append(x[3:], 0.0)).apply(of) + x[:3]

    found = minimize(
        lambda x: moved(x, pressed[None])[0, 2],
        np.array([0.0, 0.0, 1.0, 0.0, 0.0]),
        method="SLSQP",
        constraints={"type": "ineq", "fun": lambda x: distance(moved(x, points))},
        options={"ftol": 1e-12, "maxiter": 300},
    )
    assert found.success
    return float(found.fun)
