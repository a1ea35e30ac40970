"""Calibrate a bath with a small cell: conductivity and exchange current, and how well they are known then.

Two plates of the bath's metal, as wide and high as the cell, stand ``L`` apart. At a current density ``i``
the voltage at the plates is::

    V = i L / kappa + eta_cathode(i) + eta_anode(i)

Two distances part the bath's resistance from that of its plates. Two cathodes at different distances from one
anode share a current so that ``i L / kappa + eta`` is the same for both; their weights tell the shares.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from pinseat.case.plating import Cell, TwoPlates
from pinseat.errors import PlatingError
from pinseat.plating.baths import CALIBRATED, Bath, thermal_V

Float = NDArray[np.float64]


@dataclass(frozen=True)
class Calibration:
    """What the small cell told.

    Attributes
    ----------
    conductivity_S_m, u_conductivity_S_m : float
    exchange_A_m2 : float
    exchange_factor : float
        The exchange current is known to this factor either way (one standard uncertainty of its logarithm).
    correlation : float
        Between the logarithms of the two.
    readings : int
    misfit : float
        Root mean square of what the readings miss, in their own uncertainties; well above 1 they contradict.
    throw_percent : dict of str to float
        Throwing power by each formula, from two cathodes; empty without them.
    """

    conductivity_S_m: float
    u_conductivity_S_m: float
    exchange_A_m2: float
    exchange_factor: float
    correlation: float
    readings: int
    misfit: float
    throw_percent: dict[str, float]


def overpotential_V(
    density_A_m2: ArrayLike, exchange_A_m2: float, forward: float, backward: float, temperature_degC: float
) -> Float:
    """Overpotential that drives a density: solves ``i = i0 (exp(a v) - exp(-b v))`` for v.

    Parameters
    ----------
    density_A_m2 : (n,) array
    exchange_A_m2 : float
    forward, backward : float
        Transfer coefficients of the wanted direction and of the other.
    temperature_degC : float

    Returns
    -------
    (n,) array
        V.

    Notes
    -----
    Newton's steps on a monotone curve, from the closed form of equal coefficients
    ``v = asinh(i / 2 i0) / a``, which is exact there.

    Examples
    --------
    >>> round(float(overpotential_V(100.0, 10.0, 0.5, 0.5, 25.0)), 6)
    0.118825
    """
    wanted = np.asarray(density_A_m2, np.float64) / exchange_A_m2
    a, b = forward / thermal_V(temperature_degC), backward / thermal_V(temperature_degC)
    v = np.asarray(np.arcsinh(0.5 * wanted) * 2.0 / (a + b))
    v = np.where(wanted > 1.0, np.log1p(np.maximum(wanted, 0.0)) / a, v) if a != b else v
    for _ in range(60):
        step = (np.exp(a * v) - np.exp(-b * v) - wanted) / (a * np.exp(a * v) + b * np.exp(-b * v))
        v = v - np.clip(step, -2.0 / (a + b), 2.0 / (a + b))
        if np.all(np.abs(step) < 1e-14):
            break
    return np.asarray(v)


def calibrate(bath: Bath, cell: Cell | None, plates: TwoPlates | None) -> Calibration:
    """Fit conductivity and exchange current to readings, from what is known without them.

    Parameters
    ----------
    bath : Bath
        Gives the starting knowledge: conductivity with its uncertainty, exchange current with its range.
    cell : pinseat.case.plating.Cell or None
    plates : pinseat.case.plating.TwoPlates or None

    Returns
    -------
    Calibration

    Raises
    ------
    PlatingError
        When the readings contradict the physics, or the fit does not converge.
    """
    if cell is None and plates is None:
        raise PlatingError("there are no readings to calibrate with", where="plating.cell")
    distances = sorted({reading.distance_mm for reading in cell.readings}) if cell else []
    low, high = bath.exchange_range_A_m2
    start = np.array([math.log(bath.conductivity_S_m), math.log(bath.exchange_A_m2), *[0.0] * len(distances)])
    known = np.array(
        [
            max(bath.u_conductivity_S_m / bath.conductivity_S_m, 1e-6),
            max(math.log(high / low) / math.sqrt(12.0), 1e-6),
            *[max(cell.u_distance_mm if cell else 0.0, 1e-9)] * len(distances),
        ]
    )

    def misses(unknown: Float) -> Float:
        kappa, exchange = math.exp(unknown[0]), math.exp(unknown[1])
        parts = [(unknown - start) / known]
        if cell:
            moved = dict(zip(distances, unknown[2:], strict=True))
            parts.append(_cell_misses(bath, cell, kappa, exchange, moved))
        if plates:
            parts.append(_plate_misses(bath, plates, kappa, exchange))
        return np.concatenate(parts)

    found = least_squares(misses, start, x_scale=known, xtol=1e-14, ftol=1e-14, gtol=1e-14, max_nfev=200)
    if not found.success or not np.isfinite(found.x).all():
        do = "look for a slip in the readings"
        raise PlatingError("the calibration does not converge", where="plating.cell", do=do)
    covariance = np.linalg.inv(np.asarray(found.jac).T @ np.asarray(found.jac))
    u = np.sqrt(np.diag(covariance))
    rest = found.fun[len(start) :]
    kappa = math.exp(found.x[0])
    return Calibration(
        conductivity_S_m=kappa,
        u_conductivity_S_m=kappa * float(u[0]),
        exchange_A_m2=math.exp(found.x[1]),
        exchange_factor=math.exp(float(u[1])),
        correlation=float(covariance[0, 1] / (u[0] * u[1])),
        readings=len(rest),
        misfit=float(np.sqrt(np.mean(rest**2))),
        throw_percent=_throw(plates) if plates else {},
    )


def calibrated(bath: Bath, found: Calibration) -> Bath:
    """The bath with what a calibration told; its exchange current ranges over two uncertainties."""
    wide = found.exchange_factor**2
    return replace(
        bath,
        conductivity_S_m=found.conductivity_S_m,
        u_conductivity_S_m=found.u_conductivity_S_m,
        exchange_A_m2=found.exchange_A_m2,
        exchange_range_A_m2=(found.exchange_A_m2 / wide, found.exchange_A_m2 * wide),
        basis={**bath.basis, "conductivity": CALIBRATED, "exchange": CALIBRATED},
    )


def cell_voltage_V(bath: Bath, density_A_m2: ArrayLike, distance_mm: ArrayLike) -> Float:
    """Voltage between two plates that face each other over the whole section of a cell.

    Examples
    --------
    >>> from pinseat.case.plating import Bath as Stated
    >>> from pinseat.plating.baths import bath_of
    >>> bath = bath_of(Stated(conductivity_S_m=15, exchange_current_A_m2=10), "silver plated")
    >>> round(float(cell_voltage_V(bath, 100.0, 50.0)), 5)
    0.57098
    """
    density, distance = np.asarray(density_A_m2, np.float64), np.asarray(distance_mm, np.float64)
    ohmic = 1e-3 * density * distance / bath.conductivity_S_m
    known = (bath.exchange_A_m2, bath.cathodic, bath.anodic, bath.temperature_degC)
    back = (bath.exchange_A_m2, bath.anodic, bath.cathodic, bath.temperature_degC)
    return np.asarray(ohmic + overpotential_V(density, *known) + overpotential_V(density, *back))


def _cell_misses(bath: Bath, cell: Cell, kappa: float, exchange: float, moved: dict[float, float]) -> Float:
    """What the cell's readings miss, in their own uncertainties; each distance may be off as a whole."""
    density = np.array([1e3 * one.current_mA / cell.area_mm2 for one in cell.readings])
    distance = np.array([one.distance_mm + moved[one.distance_mm] for one in cell.readings])
    read = np.array([one.voltage_V for one in cell.readings])
    there = cell_voltage_V(replace(bath, conductivity_S_m=kappa, exchange_A_m2=exchange), density, distance)
    return np.asarray((read - there) / cell.u_voltage_V)


def _plate_misses(bath: Bath, plates: TwoPlates, kappa: float, exchange: float) -> Float:
    """By how much the two ways from the anode differ, in the uncertainty that the weights give it."""
    whole = plates.near_g + plates.far_g
    mean = 1e3 * plates.current_mA / plates.area_mm2

    def difference(near_g: float) -> float:
        density = mean * np.array([near_g, whole - near_g]) / whole
        way = 1e-3 * density * np.array([plates.near_mm, plates.far_mm]) / kappa
        eta = overpotential_V(density, exchange, bath.cathodic, bath.anodic, bath.temperature_degC)
        return float((way + eta) @ np.array([1.0, -1.0]))

    step = min(plates.u_g, 0.25 * plates.far_g, 0.25 * plates.near_g)
    slope = (difference(plates.near_g + step) - difference(plates.near_g - step)) / (2.0 * step)
    u_share = plates.u_g / math.sqrt(2.0)  # of half the difference of the two weights
    return np.array([difference(plates.near_g) / (slope * u_share)])


def _throw(plates: TwoPlates) -> dict[str, float]:
    return throwing_power_percent(plates.far_mm / plates.near_mm, plates.near_g / plates.far_g)


def throwing_power_percent(distance_ratio: float, metal_ratio: float) -> dict[str, float]:
    """How well a bath throws, from two cathodes, by the three formulas in use.

    Parameters
    ----------
    distance_ratio : float
        K, far over near.
    metal_ratio : float
        M, metal on the near one over that on the far one.

    Returns
    -------
    dict of str to float
        ``Haring-Blum`` 100 (K - M) / K, ``Heatley`` 100 (K - M) / (K - 1) and
        ``Field`` 100 (K - M) / (K + M - 2).

    References
    ----------
    G. Soderberg, Plating, March 1952, for the first; the other two from memory.

    Examples
    --------
    >>> throwing_power_percent(5.0, 4.0)["Haring-Blum"]
    20.0
    """
    k, m = distance_ratio, metal_ratio
    return {
        "Haring-Blum": 100.0 * (k - m) / k,
        "Heatley": 100.0 * (k - m) / (k - 1.0),
        "Field": 100.0 * (k - m) / (k + m - 2.0),
    }
