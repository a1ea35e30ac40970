"""Small cells: Butler-Volmer between plates, and the throwing-power formulas of the literature."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from pinseat.case.plating import Bath as StatedBath
from pinseat.case.plating import Cell, CellReading, TwoPlates
from pinseat.plating.baths import CALIBRATED, Bath, bath_of
from pinseat.plating.calibration import (
    calibrate,
    calibrated,
    cell_voltage_V,
    overpotential_V,
    throwing_power_percent,
)


@pytest.mark.parametrize(
    ("density", "exchange", "eta", "volts"),
    [(100.0, 10.0, 0.118825, 0.570983), (100.0, 1.0, 0.236643, 0.806618), (10.0, 100.0, 0.002568, 0.038470)],
)
def test_flat_cell(density: float, exchange: float, eta: float, volts: float) -> None:
    """Closed form ``V = i L / kappa + 2 (2 RT / F) asinh(i / 2 i0)``, 50 mm, 15 S/m, 298.15 K (by hand)."""
    assert float(overpotential_V(density, exchange, 0.5, 0.5, 25.0)) == pytest.approx(eta, abs=1e-6)
    bath = bath_of(StatedBath(conductivity_S_m=15, exchange_current_A_m2=exchange), "silver plated")
    assert float(cell_voltage_V(bath, density, 50.0)) == pytest.approx(volts, abs=1e-6)


def test_unequal_coefficients() -> None:
    """Copper-like 1.5 and 0.5, i0 10, i 100 A/m2: 0.118324 V cathode, 0.040205 V anode (by hand)."""
    assert float(overpotential_V(100.0, 10.0, 0.5, 1.5, 25.0)) == pytest.approx(0.118324, abs=1e-6)
    assert float(overpotential_V(100.0, 10.0, 1.5, 0.5, 25.0)) == pytest.approx(0.040205, abs=1e-6)


@pytest.mark.parametrize(("forward", "backward"), [(0.5, 0.5), (0.5, 1.5), (1.5, 0.5), (0.55, 0.45)])
def test_overpotential_against_a_bracketing_solver(forward: float, backward: float) -> None:
    """scipy's brentq on the same curve, from far below the exchange current to far above it."""
    f = 96485.33212331 / (8.31446261815324 * 298.15)
    density = np.geomspace(1e-3, 1e4, 15)
    mine = overpotential_V(density, 10.0, forward, backward, 25.0)
    for i, v in zip(density, mine, strict=True):
        root = brentq(
            lambda x, i=i: math.exp(forward * f * x) - math.exp(-backward * f * x) - i / 10.0,
            -1,
            1,
            xtol=1e-15,
        )
        assert v == pytest.approx(root, rel=1e-9, abs=1e-13)


def test_published_throwing_power() -> None:
    """Soderberg, Plating, March 1952: five times the distance, four times the metal: 20 %."""
    assert throwing_power_percent(5.0, 4.0)["Haring-Blum"] == pytest.approx(20.0)


def test_throwing_power_of_linear_polarisation() -> None:
    """Closed form: with M = (K + W) / (1 + W), Heatley is W / (1 + W) and Field W / (2 + W) for every K."""
    got = throwing_power_percent(5.0, 5.5 / 1.5)
    assert [got[name] for name in ("Haring-Blum", "Heatley", "Field")] == pytest.approx(
        [26.6667, 33.3333, 20.0], abs=1e-4
    )
    for k in (2.0, 5.0, 9.0):
        assert throwing_power_percent(k, (k + 0.5) / 1.5)["Heatley"] == pytest.approx(100 / 3)


TRUE = bath_of(StatedBath(conductivity_S_m=13, exchange_current_A_m2=4), "silver plated")
"""The bath that the invented cells hold."""


def cell(rng: np.random.Generator | None, u_V: float = 0.002) -> Cell:
    readings = []
    for distance in (20.0, 60.0):
        for current in (2.0, 5.0, 10.0, 20.0, 40.0):
            volts = float(cell_voltage_V(TRUE, 1e3 * current / 400.0, distance))
            noise = 0.0 if rng is None else u_V * rng.standard_normal()
            readings.append(CellReading(distance_mm=distance, current_mA=current, voltage_V=volts + noise))
    return Cell(area_mm2=400, u_voltage_V=u_V, u_distance_mm=0.05, readings=tuple(readings))


def start() -> Bath:
    return bath_of(StatedBath(), "silver plated")


def test_a_two_distance_cell_gives_back_the_bath() -> None:
    got = calibrate(start(), cell(None, 1e-5), None)
    assert got.conductivity_S_m == pytest.approx(13.0, rel=2e-3)
    assert got.exchange_A_m2 == pytest.approx(4.0, rel=2e-2)
    assert got.readings == 10
    after = calibrated(start(), got)
    assert after.basis["exchange"] == CALIBRATED
    assert after.exchange_range_A_m2[0] < 4.0 < after.exchange_range_A_m2[1]


def test_its_uncertainty_is_what_it_says() -> None:
    """200 cells with known noise: the spread of the answers is the uncertainty stated, within a fifth.

    The standard error of a standard deviation from 200 draws is 5 %; 20 % is four of them.
    """
    rng = np.random.Generator(np.random.Philox(5))
    found = [calibrate(start(), cell(rng), None) for _ in range(200)]
    kappa = np.std([one.conductivity_S_m for one in found])
    exchange = np.std([math.log(one.exchange_A_m2) for one in found])
    fixed = calibrate(start(), cell(None).model_copy(update={"u_distance_mm": 1e-9}), None)
    assert kappa == pytest.approx(fixed.u_conductivity_S_m, rel=0.2)
    assert exchange == pytest.approx(math.log(fixed.exchange_factor), rel=0.2)
    assert calibrate(start(), cell(None), None).u_conductivity_S_m > fixed.u_conductivity_S_m
    assert np.mean([one.misfit for one in found]) == pytest.approx(math.sqrt(8 / 10), abs=0.06)


def test_two_weighed_plates_tie_conductivity_to_exchange_current() -> None:
    """Shares of the current by the same balance of ways, found with brentq; K 5."""

    def apart(share: float) -> float:
        density = 2.0 * 100.0 * np.array([share, 1.0 - share])
        eta = overpotential_V(density, 4.0, 0.5, 0.5, 25.0)
        return float((1e-3 * density * np.array([20.0, 100.0]) / 13.0 + eta) @ np.array([1.0, -1.0]))

    share = brentq(apart, 0.5, 0.99)
    plates = TwoPlates(
        near_mm=20, far_mm=100, near_g=share, far_g=1 - share, u_g=1e-4, area_mm2=400, current_mA=80
    )
    exact = bath_of(StatedBath(exchange_current_A_m2=4), "silver plated")
    got = calibrate(exact, None, plates)
    assert got.conductivity_S_m == pytest.approx(13.0, rel=0.01)
    k, m = 5.0, share / (1 - share)
    assert got.throw_percent["Haring-Blum"] == pytest.approx(100 * (k - m) / k)
    both = calibrate(start(), None, plates)
    assert abs(both.correlation) > 0.9
    assert both.exchange_factor < (100.0 / 1.0) ** (1 / math.sqrt(12.0))
