"""How much an electrode polarises."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.constants import physical_constants

from pinseat.numerics.laws import EXPONENTIAL, LINEAR, Laws, density_and_slope, overpotential
from pinseat.plating.model import Float, Kinetics

FARADAY_C_MOL = physical_constants["Faraday constant"][0]
GAS_J_MOL_K = physical_constants["molar gas constant"][0]


def laws(every: Sequence[Kinetics]) -> Laws:
    """Kinetics as the solver wants them, one row each."""
    rows = [_row(one) for one in every]
    kind, *rest = (np.array(column) for column in zip(*rows, strict=True))
    return Laws(kind.astype(np.int64), *(np.asarray(column, float) for column in rest))


def density_A_m2(kinetics: Kinetics, overpotential_V: ArrayLike) -> Float:
    """Current density into the metal at overpotentials (liquid minus metal).

    Parameters
    ----------
    kinetics : Kinetics
    overpotential_V : array

    Returns
    -------
    array, A/m2

    Examples
    --------
    >>> silver = Kinetics("butler-volmer", exchange_A_m2=10.0)
    >>> density_A_m2(silver, [0.118825]).round(2).tolist()
    [100.0]
    """
    v = np.atleast_1d(np.asarray(overpotential_V, float))
    return density_and_slope(v, np.zeros(len(v), np.int64), laws([kinetics]))[0]


def overpotential_V(kinetics: Kinetics, density_A_m2: ArrayLike) -> Float:
    """Overpotential (liquid minus metal) at which current densities flow into the metal.

    Parameters
    ----------
    kinetics : Kinetics
    density_A_m2 : array

    Returns
    -------
    array, V

    Examples
    --------
    >>> overpotential_V(Kinetics("butler-volmer", exchange_A_m2=10.0), [100.0]).round(6).tolist()
    [0.118825]
    """
    i = np.atleast_1d(np.asarray(density_A_m2, float))
    return overpotential(i, np.zeros(len(i), np.int64), laws([kinetics]))


def resistance_ohm_m2(kinetics: Kinetics, density_A_m2: ArrayLike) -> Float:
    """Polarisation resistance, the slope of overpotential over density, at given densities."""
    v = overpotential_V(kinetics, density_A_m2)
    return np.asarray(1.0 / density_and_slope(v, np.zeros(len(v), np.int64), laws([kinetics]))[1])


def _row(one: Kinetics) -> tuple[int, float, float, float, float]:
    per_volt = FARADAY_C_MOL / (GAS_J_MOL_K * one.temperature_K)
    if one.law == "linear":
        return LINEAR, 1.0 / one.resistance_ohm_m2, 0.0, 1.0, 1.0
    back = 0.0 if one.law == "tafel" else one.exchange_A_m2
    return EXPONENTIAL, one.exchange_A_m2, back, one.cathodic * per_volt, one.anodic * per_volt
