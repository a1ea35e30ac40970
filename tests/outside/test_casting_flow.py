"""Cement pressed out of holes and margins against numerical flow, limits and known duct figures."""

import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.sparse import lil_matrix
from scipy.sparse.linalg import spsolve

from pinseat.casting.cementing import Stiffening
from pinseat.casting.escape import Escape, Hole, push_of, tube_ratio
from pinseat.casting.flow import SEMICIRCLE, annulus_number, disc_factor_mm2, groove_number, pin_factor_mm2


def force_per_length(hole: float, pin: float) -> float:
    """Force on a unit length of a pin that sinks with unit speed into a closed hole, unit viscosity.

    The velocity between the walls by finite volumes over 4000 rings: ``(r u')' = p r`` with the pin's speed
    at one wall and rest at the other. Two such solutions, for a moving wall and for a pressure gradient, are
    combined so that what flows up equals what the pin displaces. Knows nothing of the logarithms.
    """
    n = 4000
    face = np.linspace(pin, hole, n + 1)
    middle, width = (face[1:] + face[:-1]) / 2.0, (hole - pin) / n
    west, east = face[:-1] / width, face[1:] / width
    west[0] *= 2.0
    east[-1] *= 2.0

    def solve(wall: float, gradient: float) -> tuple[float, float, float]:
        low, diagonal, high = -west, west + east, -east
        right = -gradient * middle * width
        right[0] += west[0] * wall
        for i in range(1, n):
            factor = low[i] / diagonal[i - 1]
            diagonal[i] -= factor * high[i - 1]
            right[i] -= factor * right[i - 1]
        u = np.empty(n)
        u[-1] = right[-1] / diagonal[-1]
        for i in range(n - 2, -1, -1):
            u[i] = (right[i] - high[i] * u[i + 1]) / diagonal[i]
        flow = float((2.0 * math.pi * middle * width * u).sum())
        return flow, 2.0 * (u[0] - wall) / width, gradient

    drag, slope_drag, _ = solve(-1.0, 0.0)
    push, slope_push, _ = solve(0.0, -1.0)
    share = (math.pi * pin**2 - drag) / push
    shear = slope_drag + share * slope_push
    return 2.0 * math.pi * pin * shear + math.pi * pin**2 * share


@pytest.mark.parametrize(("hole", "pin"), [(0.35, 0.30), (0.35, 0.325), (1.0, 0.5), (0.4, 0.38)])
def test_pin_in_a_blind_hole_meets_the_force_of_the_numerical_flow(hole: float, pin: float) -> None:
    """4000 rings leave about 1e-6 of the force; ten times that is allowed."""
    assert 2.0 * math.pi / annulus_number(hole, pin) == pytest.approx(force_per_length(hole, pin), rel=1e-5)


@pytest.mark.parametrize("gap", [1e-2, 1e-3, 1e-4])
def test_a_thin_gap_is_the_lubrication_film(gap: float) -> None:
    """Parallel-plate film round the pin: ``p' = 12 mu Q / (2 pi R h^3)``, force ``6 pi mu V R^3 / h^3``.

    Handbook lubrication; the next term is about 1.5 h/R of it.
    """
    assert annulus_number(1.0, 1.0 - gap) == pytest.approx(gap**3 / 3.0, rel=1.7 * gap)


def test_disc_is_stefans_law() -> None:
    """Reynolds' equation by quadrature: ``-dp/dr = 6 mu V r / h^3``, pressure and force by quadrature.

    Then the way down from 0.5 to 0.025 mm as a differential equation in time under 50 N at 95 Pa s. Known
    form (Stefan 1874, any textbook of lubrication): t = 3 pi mu R^4 / (4 F) (1/h2^2 - 1/h1^2).
    """
    radius, film = 3.0, 0.1

    def pressure(r: float) -> float:
        return quad(lambda s: 6.0 * s / film**3, r, radius)[0]

    force = quad(lambda r: 2.0 * math.pi * r * pressure(r), 0.0, radius)[0]
    assert force == pytest.approx(1.5 * math.pi * radius**4 / film**3, rel=1e-9)
    viscosity, push = 95.0, 50.0
    fallen = solve_ivp(
        lambda t, h: -push * h**3 / (1e-6 * viscosity * 1.5 * math.pi * radius**4),
        (0.0, 10.0),
        [0.5],
        events=lambda t, h: h[0] - 0.025,
        rtol=1e-9,
        atol=1e-12,
    )
    seconds = 1e-6 * viscosity * disc_factor_mm2(radius, 0.5, 0.025) / push
    assert fallen.t_events[0][0] == pytest.approx(seconds, rel=1e-6)


def test_half_round_channel_has_its_known_friction() -> None:
    """Poisson's equation on a half disc, 120 x 120 in polar coordinates, against f Re = 63.07.

    Shah and London, Laminar Flow Forced Convection in Ducts (from memory: Fanning 15.767). The grid leaves
    0.3 %.
    """
    n = 120
    dr, dt = 1.0 / n, math.pi / n
    r = (np.arange(n) + 0.5) * dr
    matrix, right = lil_matrix((n * n, n * n)), np.zeros(n * n)
    for i in range(n):
        for j in range(n):
            k = i * n + j
            terms = {
                (i + 1, j): (r[i] + dr / 2.0) / dr * dt,
                (i - 1, j): (r[i] - dr / 2.0) / dr * dt,
                (i, j + 1): dr / (r[i] * dt),
                (i, j - 1): dr / (r[i] * dt),
            }
            for (a, b), weight in terms.items():
                if 0 <= a < n and 0 <= b < n:
                    matrix[k, a * n + b] -= weight
                    matrix[k, k] += weight
                elif a >= n or b in (-1, n):
                    matrix[k, k] += 2.0 * weight
            right[k] = r[i] * dr * dt
    u = spsolve(matrix.tocsr(), right).reshape(n, n)
    flow = float((u * r[:, None]).sum() * dr * dt)
    area, hydraulic = math.pi / 2.0, 2.0 * math.pi / (math.pi + 2.0)
    assert 2.0 * area * hydraulic**2 / flow == pytest.approx(SEMICIRCLE, rel=3e-3)


def test_a_groove_beside_a_tight_pin_carries_nearly_all() -> None:
    """Two ways out side by side: with the ring-shaped gap closed, the groove alone sets pressure and force.

    Pressure gradient ``p' = pi a^2 V / conductance``, force ``pi a^2 p'``, worked by hand for a 0.6 mm pin
    with a 0.2 mm groove: conductance 2 x 0.0157080 x 0.1222031^2 / 63.07 = 7.4387e-6 mm4.
    """
    conductance = 7.4387e-6
    force = (math.pi * 0.3**2) ** 2 / conductance
    assert 2.0 * math.pi / groove_number(0.3, 0.2) == pytest.approx(force, rel=3e-5)  # five digits by hand


def test_a_sinking_pin_sums_its_growing_length() -> None:
    number = annulus_number(0.35, 0.30)
    by_parts = quad(lambda z: 2.0 * math.pi * z / number, 0.0, 2.0)[0]
    assert pin_factor_mm2(2.0, number) == pytest.approx(by_parts, rel=1e-12)


def test_the_whole_way_down_agrees_with_a_differential_equation() -> None:
    """Two pins of unequal length, two faces, a cement that stiffens: opening against time by Runge-Kutta.

    Closed form: integral of K dh = F x integral of dt / mu. Both give the second at which 30 um are left.
    """
    holes = (Hole("11-1", 0.70, 0.65, 1.9, 0.1), Hole("22-1", 0.70, 0.62, 2.4, 0.2))
    thick = Stiffening(np.array([60.0, 180.0, 300.0]), np.array([60.0, 200.0, 900.0]))
    start, force, covered, end = 200.0, 20.0, 30.0, 0.03

    def falling(t: float, h: np.ndarray) -> list[float]:
        k = sum(
            2.0 * math.pi * max(o.engaged_mm - h[0], 0.0) / annulus_number(o.hole_mm / 2, o.pin_mm / 2)
            + 1.5 * math.pi * (o.pin_mm / 2) ** 4 / (o.relief_mm + h[0]) ** 3
            for o in holes
        )
        k += 2 * 1.5 * math.pi * (covered / math.pi) ** 2 / h[0] ** 3
        return [-1e6 * force / (thick.at(t) * k)]

    ran = solve_ivp(falling, (start, 900.0), [2.4], events=lambda t, h: h[0] - end, rtol=1e-8, atol=1e-10)
    reached = float(ran.t_events[0][0])
    wanted = 1e-6 * Escape(holes, 2, covered, 0.0, end).work_mm2(2.4, end) / force
    # Both to 1e-8; the law is laid out in steps of opening.
    assert thick.fluidity(start, reached) == pytest.approx(wanted, rel=2e-5)


def test_fluidity_agrees_with_quadrature() -> None:
    thick = Stiffening(np.array([60.0, 180.0, 300.0]), np.array([60.0, 200.0, 200.0]))
    by_quadrature = quad(lambda t: 1.0 / thick.at(t), 30.0, 330.0, points=[60.0, 180.0, 300.0])[0]
    assert thick.fluidity(30.0, 330.0) == pytest.approx(by_quadrature, rel=1e-9)


def test_a_post_in_a_blind_hole_is_a_hydraulic_cylinder() -> None:
    """Statics: force over area, whatever the cement. And a published measurement of it.

    Intra-radicular pressures while parallel posts were cemented (abstract): at most 1.7e4 kN/m2 with a post
    of 1.3 mm and a film of 37 um. A hand that presses with 10 to 50 N gives 7.5 to 37.7 MPa on that area;
    17 MPa is 22.6 N.
    """
    post = Escape((Hole("post", 1.374, 1.3, 8.0, 0.5),), 0, 1.0, 0.0, 0.037)
    thick_wall = 1e6  # no more than the pressure itself
    for force, pressure in ((10.0, 7.53), (22.6, 17.0), (50.0, 37.7)):
        assert post.wall_MPa(force, 4.0, thick_wall) == pytest.approx(pressure, rel=2e-3)  # three digits


def test_wall_of_a_hole_is_a_thick_tube() -> None:
    """Lame: tension at the bore under unit pressure; bore 1, outer radius 2: 5/3. Thin wall: r/t."""
    assert tube_ratio(1.0, 1.0) == pytest.approx(5.0 / 3.0, rel=1e-12)
    assert tube_ratio(1.0, 0.01) == pytest.approx(100.0, rel=0.006)  # the next term is t / 2r of it


def test_gentle_force_keeps_every_wall_within_the_limit() -> None:
    """Whatever the opening: gently at first, fully once the faces carry. Checked on a grid of its own."""
    way = Escape(
        (Hole("11-1", 0.70, 0.65, 1.9, 0.1), Hole("22-1", 0.70, 0.62, 2.4, 0.2)), 2, 30.0, 0.0, 0.025
    )
    push = push_of(way, 50.0)
    assert push.gentle_N < push.full_N
    for opening in np.linspace(0.025, 2.4, 700):
        force = push.gentle_N if opening > push.until_mm else push.full_N
        assert way.wall_MPa(force, float(opening), 1.0) <= 30.0 * 1.001
    assert push_of(way, push.gentle_N).gentle_N == pytest.approx(push.gentle_N)
