"""What hangs in the bath against closed forms: a wire down a bore, a hole in a plate, a ring of wire."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.plating.bodies import Bar, Ring, Shield, Solid
from pinseat.plating.cups import Cup, ideal_cups
from pinseat.plating.field import solve
from pinseat.plating.model import RUBBER, Drive, Electrode, Electrolyte, Geometry, Kinetics

KAPPA = 15.0


def wire_down_a_cup(edge_mm: float) -> tuple[float, float]:
    """Bore 6 mm, wire 2 mm, 24 mm deep, all current by the wire; the ends are felt over some 3 mm.

    Current of the wire over that of the wall, and the drop in the liquid over the closed form, at half depth.
    """
    wall = 1e-4
    wire = Bar(np.array([0.0, 0.0, 3.0]), np.array([0.0, 0.0, -1.0]), 25.0, 2.0, 2, 0.0)
    cup = ideal_cups(
        [Cup("cup", 24.0, 6.0)], extra=[(Electrode("wire", "anode"), wire)], tank_mm=12.8, metal_mm=edge_mm
    )
    law = Kinetics("linear", resistance_ohm_m2=wall)
    field = solve(cup, Electrolyte(KAPPA, law, law), Drive(current_mA=0.0, own_mA={"wire": 20.0}))
    half, on = np.abs(field.surface.point[:, 2] + 12.0) < 2.0, field.surface.electrode

    def current(number: int) -> float:
        mine = half & (on == number)
        return float(1e-3 * field.density_A_m2[mine] @ field.surface.area_mm2[mine])

    density = 1e3 * current(1) / (2.0 * np.pi * 3.0 * 4.0)
    drop = field.potential_V["wire"] - field.potential_V["cup"] - density * wall * (1.0 + 3.0)
    return -current(2) / current(1), drop / (density * 3e-3 * np.log(3.0) / KAPPA)


def test_a_wire_down_a_deep_cup_is_a_coaxial_cell_at_half_depth() -> None:
    """Coaxial cylinders: the liquid takes ``i b ln(b / a) / kappa``, ``i`` the density on the wall.

    As much current leaves a length of wire as enters the wall about it. The drop is of first order in the
    cell, and within 0.3 % when it is carried on to none.
    """
    (_, coarse), (balance, fine) = (wire_down_a_cup(edge) for edge in (0.4, 0.2))
    assert balance == pytest.approx(1.0, abs=0.01)
    assert abs(fine - 1.0) < 0.6 * abs(coarse - 1.0)
    assert 2.0 * fine - coarse == pytest.approx(1.0, abs=0.003)


def box(plate: Shield | None) -> float:
    """Resistance between two ends of a box 25.6 mm square and 25.6 mm long, ohm."""
    electrodes = (Electrode("low", "cathode", piece=True), Electrode("high", "anode"))
    geometry = Geometry(
        np.array([-12.8, -12.8, -12.8]),
        np.array([12.8, 12.8, 12.8]),
        (plate,) if plate else (Bar(np.array([0.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0]), 0.1, 0.1),),
        electrodes,
        (RUBBER, RUBBER, RUBBER, RUBBER, 0, 1),
        None,
        0.2,
        0.2,
        3.2,
    )
    border = Kinetics("linear", resistance_ohm_m2=1e-7)
    return solve(geometry, Electrolyte(KAPPA, border, border), Drive(current_mA=1.0)).voltage_V / 1e-3


def test_a_hole_in_a_shield_has_the_resistance_of_an_orifice() -> None:
    """Rayleigh's bounds for a hole of radius a through a plate t thick, Theory of Sound section 307.

    ``(t + a pi / 2) / (kappa pi a^2)`` below and ``(t + 16 a / 3 pi) / (kappa pi a^2)`` above, in open liquid
    (from memory, high confidence: the lower is the pipe with a disk's resistance 1 / 4 kappa a on each side).
    A box of finite width leaves ``1 - 1.41 a / b`` of what is outside the hole (Fok, from memory), b the
    radius of a circle as large as the box; and the plate takes the place of liquid t thick.
    """
    a, t, side = 2.0, 6.4, 25.6
    b = side / np.sqrt(np.pi)
    hole = Shield(np.zeros(3), 2.0 * a, 60.0, t)
    extra = box(hole) - (side - t) / (1e-3 * KAPPA * side**2)
    narrow = 1.0 - 1.41 * a / b
    low, high = (
        (t + end * a * narrow) / (1e-3 * KAPPA * np.pi * a**2) for end in (np.pi / 2, 16 / (3 * np.pi))
    )
    assert 0.995 * low < extra < 1.005 * high


def test_a_ring_of_wire_has_the_resistance_of_a_thin_torus() -> None:
    """Ring of radius R of wire of radius r: ``ln(8 R / r) / (4 pi^2 kappa R)``, less ``1 / 4 pi kappa b``.

    The first is the capacitance of a thin torus, from memory with high confidence, exact to order (r / R)^2;
    the second is what a sphere of radius b, the other electrode, leaves of open liquid, exact to (R / b)^5.
    """
    ring, wire, far = 8.0, 0.8, 40.0
    electrodes = (Electrode("thief", "cathode"), Electrode("sphere", "anode"))
    shell = Solid(lambda p: far - np.linalg.norm(p, axis=1), 1)
    geometry = Geometry(
        np.zeros(3),
        np.full(3, 41.6),
        (Solid(Ring((0.0, 0.0, 0.0), ring, 2.0 * wire), 0), shell),
        electrodes,
        metal_mm=0.2,
        rubber_mm=0.4,
        bath_mm=1.6,
    )
    border = Kinetics("linear", resistance_ohm_m2=1e-5)
    field = solve(geometry, Electrolyte(KAPPA, border, border), Drive(current_mA=1.25))
    area = 4.0 * np.pi**2 * ring * wire
    assert 8.0 * field.area_mm2["thief"] == pytest.approx(area, rel=0.01)
    polarised = 1e-5 / (1e-6 * area) + 1e-5 / (4e-6 * np.pi * far**2)
    open_ = np.log(8.0 * ring / wire) / (4e-3 * np.pi**2 * KAPPA * ring) - 1.0 / (4e-3 * np.pi * KAPPA * far)
    assert field.voltage_V / 10e-3 - polarised == pytest.approx(open_, rel=0.02)
