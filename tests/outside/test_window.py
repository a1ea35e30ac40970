"""The draw window against a fine grid of directions, closed forms of spherical geometry, and known tapers.

Closed forms. Cap of radius `r`: area ``2 pi (1 - cos r)`` (Archimedes, On the Sphere and Cylinder I, 42).
Three half-spaces: a spherical triangle, area = sum of its angles - pi (Girard). Lens of two caps: the formula
of Tovchigrechko and Vakser, Protein Science 2001;10:1572 (from memory; checked here against a grid as well).
A frustum of base radius `R`, top radius `r` and height `h` has walls of taper ``atan((R - r) / h)``, so it
lets go all draws within that angle of its axis.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from pinseat.survey.caps import angles_to, area_of, border, deepest
from pinseat.survey.window import REACH_DEG, Cone, Wall, window

UP = np.array([0.0, 0.0, 1.0])
STEP_DEG = 0.01


def leaning(x_deg: float, y_deg: float) -> np.ndarray:
    size, turn = math.radians(math.hypot(x_deg, y_deg)), math.atan2(y_deg, x_deg)
    return np.array([math.sin(size) * math.cos(turn), math.sin(size) * math.sin(turn), math.cos(size)])


def grid(half_deg: float, step_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Directions about z on an equal-area grid (Lambert), and the solid angle of one."""
    half = math.radians(half_deg)
    line = np.arange(-half, half, math.radians(step_deg)) + math.radians(step_deg) / 2.0
    x, y = (part.ravel() for part in np.meshgrid(line, line))
    rho2 = x * x + y * y
    scale = np.sqrt(1.0 - rho2 / 4.0)
    return np.stack([x * scale, y * scale, 1.0 - rho2 / 2.0], axis=1), math.radians(step_deg) ** 2


def frustum(
    base_mm: float, top_mm: float, height_mm: float, facets: int, axis: np.ndarray = UP
) -> np.ndarray:
    """Outward normals of the walls: across each facet's two edges, from its corners alone."""
    turn = np.linspace(0.0, 2.0 * math.pi, facets, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn), np.zeros(facets)], axis=1)
    low, high = base_mm * ring, top_mm * ring + height_mm * UP
    normals = np.cross(np.roll(low, -1, axis=0) - low, high - low)
    east = np.cross([0.0, 1.0, 0.0], axis)
    pose = np.stack([east / np.linalg.norm(east), np.cross(axis, east / np.linalg.norm(east)), axis])
    return (normals / np.linalg.norm(normals, axis=1, keepdims=True)) @ pose


@pytest.mark.parametrize("k", [2, 3, 5, 8])
def test_window_of_tilted_pins_against_a_grid(k):
    """Best draw, size and area of k pins whose cones overlap, by trying 0.01 degree steps.

    A grid finds the size to a step's half diagonal (0.007 deg), the area to part of a row along the border.
    """
    rng = np.random.default_rng(k)
    pins = [
        Cone(f"11-{i}", 11, leaning(*rng.normal(0.0, 0.7, 2)), float(rng.uniform(1.6, 3.0)), 0.1)
        for i in range(k)
    ]
    found = window(pins, [], UP)
    draws, cell = grid(3.5, STEP_DEG)
    spare = np.min(
        [math.radians(p.allowance_deg) - np.arccos(np.minimum(draws @ p.axis, 1.0)) for p in pins], axis=0
    )
    best = int(np.argmax(spare))
    assert found.size_deg > 0.0
    assert 0.0 <= found.size_deg - math.degrees(spare[best]) < 0.0071
    assert np.degrees(angles_to(found.centre, draws[best])) < 0.15
    # Cells that the border cuts count as whole or not at all: 0.01 deg along a border some 1 deg away.
    assert found.area_sr == pytest.approx(np.count_nonzero(spare >= 0.0) * cell, rel=2e-3)


def test_what_pins_lack_against_a_grid():
    """Splayed pins: the least that all allowances must grow by, at 0.01 degree steps."""
    lean = [(2.5, 0.0), (-2.0, 1.0), (0.0, -3.0), (0.5, 0.5)]
    pins = [Cone(f"11-{i}", 11, leaning(*at), 1.0, 0.1) for i, at in enumerate(lean)]
    found = window(pins, [], UP)
    draws, _ = grid(3.5, STEP_DEG)
    spare = np.min([1.0 - np.degrees(np.arccos(np.minimum(draws @ p.axis, 1.0))) for p in pins], axis=0)
    assert found.size_deg < -1.0
    assert 0.0 <= found.size_deg - spare.max() < 0.0071


def test_window_of_pins_and_walls_against_a_grid():
    """Cones and half-spaces with a taper; the grid asks each facet n . d >= sin(taper) by itself."""
    rng = np.random.default_rng(4)
    normals = np.stack(
        [leaning(*(84.0 * np.array([math.cos(t), math.sin(t)]))) for t in rng.uniform(0, 6.3, 60)]
    )
    pins = [Cone("11-1", 11, leaning(0.8, 0.3), 5.0, 0.1), Cone("13-1", 13, leaning(-1.5, 1.0), 5.0, 0.1)]
    found = window(pins, [Wall("11 wall", 11, normals, 4.0, 2.5, 0.0, 0.1)], UP)
    draws, cell = grid(5.0, 0.02)
    free = np.min(draws @ normals.T, axis=1) >= math.sin(math.radians(2.5))
    for pin in pins:
        free &= draws @ pin.axis >= math.cos(math.radians(pin.allowance_deg))
    assert 0 < np.count_nonzero(free) < len(free)
    # As above, with cells of 0.02 deg.
    assert found.area_sr == pytest.approx(np.count_nonzero(free) * cell, rel=3e-3)
    assert {"11 wall", "13-1"} == {name for name, _ in found.arcs}


@pytest.mark.parametrize("radius_deg", [0.01, 2.0, 30.0, 60.0, 90.0])
def test_area_of_a_cap(radius_deg):
    """Archimedes; written as ``4 pi sin^2(r/2)``, which keeps its digits for small caps."""
    radius = np.radians([radius_deg])
    area = area_of(border(leaning(20.0, 10.0)[None], radius, leaning(20.0, 10.0)))
    assert area == pytest.approx(4.0 * math.pi * math.sin(radius[0] / 2.0) ** 2, abs=5e-15)


def lens(r1: float, r2: float, apart: float) -> float:
    """Tovchigrechko and Vakser 2001, for caps that cut each other."""
    c1, c2, s1, s2 = math.cos(r1), math.cos(r2), math.sin(r1), math.sin(r2)
    ca, sa = math.cos(apart), math.sin(apart)
    return 2.0 * (
        math.pi
        - math.acos((ca - c1 * c2) / (s1 * s2))
        - math.acos((c2 - ca * c1) / (sa * s1)) * c1
        - math.acos((c1 - ca * c2) / (sa * s2)) * c2
    )


@pytest.mark.parametrize(("r1", "r2", "apart"), [(2.0, 3.0, 2.5), (2.0, 2.0, 3.9), (40.0, 70.0, 60.0)])
def test_area_of_a_lens(r1, r2, apart):
    centres, radii = np.stack([UP, leaning(apart, 0.0)]), np.radians([r1, r2])
    inside = deepest(centres, radii).draw
    area = area_of(border(centres, radii, inside))
    assert area == pytest.approx(lens(*radii, math.radians(apart)), rel=1e-9)
    draws, cell = grid(min(r1, 44.0), min(r1, 44.0) / 400.0)
    inside_both = (angles_to(draws, UP) <= radii[0]) & (angles_to(draws, centres[1]) <= radii[1])
    # As above; the thinnest lens is only some 20 cells wide.
    assert area == pytest.approx(np.count_nonzero(inside_both) * cell, rel=1e-2)


@pytest.mark.parametrize("angle_deg", [0.5, 10.0, 120.0])
def test_area_of_triangles_and_lunes(angle_deg):
    """Girard: the pole and two points of the equator `a` apart have angles a, 90 and 90 deg, so area `a`.

    Without the equator, a lune of twice that.
    """
    angle = math.radians(angle_deg)
    two = np.array([[0.0, 1.0, 0.0], [math.sin(angle), -math.cos(angle), 0.0]])
    middle = np.array([math.cos(angle / 2.0), math.sin(angle / 2.0), 0.5])
    middle /= np.linalg.norm(middle)
    quarter = math.pi / 2.0
    assert area_of(border(two, np.full(2, quarter), middle)) == pytest.approx(2.0 * angle, abs=1e-14)
    three = np.vstack([two, UP])
    assert area_of(border(three, np.full(3, quarter), middle)) == pytest.approx(angle, abs=1e-14)


@pytest.mark.parametrize(
    ("base_mm", "top_mm", "height_mm"), [(4.0, 3.6, 4.0), (3.0, 2.9, 5.0), (4.0, 3.0, 3.0)]
)
def test_frustum_lets_go_within_its_taper(base_mm, top_mm, height_mm):
    """Taper ``atan((R - r) / h)`` of the cone; n flat facets inside it are steeper, by cos(pi / n).

    The window is a regular n-gon round a cap of their taper `f`. Napier's rule for the right triangle of
    centre, corner and foot gives half its corner, ``cos B = cos f sin(pi / n)``, and Girard its area.
    """
    axis = leaning(3.0, -2.0)
    taper = math.atan((base_mm - top_mm) / height_mm)
    flat = math.atan((base_mm - top_mm) * math.cos(math.pi / 360.0) / height_mm)
    normals = frustum(base_mm, top_mm, height_mm, 360, axis)
    found = window([], [Wall("11 wall", 11, normals, height_mm, 0.0, 0.0, 0.3)], UP)
    assert found.size_deg == pytest.approx(math.degrees(flat), abs=1e-9)
    np.testing.assert_allclose(found.centre, axis, atol=1e-9)
    polygon = 2.0 * math.pi - 720.0 * math.asin(math.cos(flat) * math.sin(math.pi / 360.0))
    assert found.area_sr == pytest.approx(polygon, rel=1e-9)
    assert found.area_sr == pytest.approx(2.0 * math.pi * (1.0 - math.cos(taper)), rel=1e-4)
    assert found.bounded_by == ("11 wall",)


def test_inverted_frustum_lacks_its_undercut_all_round():
    """Wider at the top: every wall must be cut back by the angle it overhangs, and no tilt helps."""
    undercut_deg = math.degrees(math.atan(0.2 * math.cos(math.pi / 360.0) / 4.0))
    found = window([], [Wall("11 wall", 11, frustum(3.0, 3.2, 4.0, 360), 4.0, 0.0, 0.0, 0.3)], UP)
    assert found.size_deg == pytest.approx(-undercut_deg, abs=1e-7)
    assert np.degrees(angles_to(found.centre, UP)) < 1e-3


def test_two_frusta_that_lean_apart_share_a_lens():
    """Tapers of 5 and 4 deg, axes 6 deg apart: a lens 3 deg wide; 12 deg apart: 3 deg short."""
    close = [
        Wall(f"{tooth} wall", tooth, frustum(4.0, 4.0 - 4.0 * math.tan(math.radians(taper)), 4.0, 720, axis),
             4.0, 0.0, 0.0, 0.3)
        for tooth, taper, axis in [(11, 5.0, leaning(-3.0, 0.0)), (21, 4.0, leaning(3.0, 0.0))]
    ]  # fmt: skip
    found = window([], close, UP)
    assert found.size_deg == pytest.approx(1.5, abs=1e-4)
    assert set(found.bounded_by) == {"11 wall", "21 wall"}
    assert found.area_sr == pytest.approx(lens(*np.radians([5.0, 4.0, 6.0])), rel=1e-4)
    apart = [
        Wall(wall.name, wall.tooth, frustum(4.0, 4.0 - 4.0 * math.tan(math.radians(taper)), 4.0, 720, axis),
             4.0, 0.0, 0.0, 0.3)
        for wall, taper, axis in zip(close, [5.0, 4.0], [leaning(-6.0, 0.0), leaning(6.0, 0.0)], strict=True)
    ]  # fmt: skip
    short = window([], apart, UP)
    assert short.short_deg == pytest.approx(3.0, abs=5e-3)
    assert set(short.bounded_by) == {"11 wall", "21 wall"}


@pytest.mark.parametrize("together_deg", [4.0, 6.0, 10.0, 20.0, 24.2])
def test_tapers_that_are_taught_and_found(together_deg):
    """A crown prepared to a stated convergence: the window is half of it, the taper of one side, either way.

    Ideal walls 2 to 5 deg a side (J Prosthet Dent 1988;60:148), 6 together (Shillingburg, from memory),
    at most 20 (J Prosthet Dent 2001;85:363), 24.2 by students (Br Dent J 2018, doi 10.1038/sj.bdj.2018.270).
    """
    taper = together_deg / 2.0
    top_mm = 6.0 - 4.0 * math.tan(math.radians(taper))
    found = window([], [Wall("16 wall", 16, frustum(6.0, top_mm, 4.0, 360), 4.0, 0.0, 0.0, 0.3)], UP)
    assert taper < REACH_DEG
    assert found.size_deg == pytest.approx(taper, abs=1e-3)  # flat facets: cos 0.5 deg, 0.0005 deg at most
