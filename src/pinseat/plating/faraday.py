"""Faraday's law: charge, metal and thickness."""

from __future__ import annotations

import math

from scipy import constants

FARADAY_C_MOL: float = constants.physical_constants["Faraday constant"][0]
"""CODATA, as in scipy; exact since 2019."""


def mass_per_charge_mg_C(molar_mass_g_mol: float, electrons: int) -> float:
    """Metal for each coulomb at full efficiency: ``M / (n F)``, in mg/C.

    Examples
    --------
    >>> round(mass_per_charge_mg_C(107.8682, 1), 6)
    1.117975
    """
    return 1e3 * molar_mass_g_mol / (electrons * FARADAY_C_MOL)


def volume_per_charge_mm3_mAh(molar_mass_g_mol: float, electrons: int, density_g_cm3: float) -> float:
    """Metal for each milliampere hour at full efficiency, in mm3.

    Examples
    --------
    >>> round(volume_per_charge_mm3_mAh(107.8682, 1, 10.50), 6)
    0.383306
    """
    return 3.6 * mass_per_charge_mg_C(molar_mass_g_mol, electrons) / density_g_cm3


def thickness_mm(charge_mAh: float, area_mm2: float, growth_mm3_mAh: float) -> float:
    """Mean thickness of a deposit on a flat surface: ``t = q g / A``.

    On a hollow the same metal is thicker, on a post thinner: see :func:`cylinder_thickness_mm`.

    Parameters
    ----------
    charge_mAh, area_mm2 : float
    growth_mm3_mAh : float
        Metal for each mAh, efficiency included.

    Returns
    -------
    float
        mm.

    Examples
    --------
    >>> round(thickness_mm(80.0, 60.0, 0.383306), 4)
    0.5111
    """
    return charge_mAh * growth_mm3_mAh / area_mm2


def cylinder_thickness_mm(volume_mm3: float, radius_mm: float, length_mm: float) -> float:
    """Thickness of metal on the inside of a round wall: ``t = R - sqrt(R^2 - V / (pi L))``.

    Parameters
    ----------
    volume_mm3, radius_mm, length_mm : float
        A negative radius is that of a post, which grows outwards.

    Returns
    -------
    float
        mm; NaN when the metal would more than fill the bore.

    Examples
    --------
    >>> round(cylinder_thickness_mm(30.6645, 3.5, 8.0), 5)
    0.17887
    """
    left = radius_mm**2 - math.copysign(volume_mm3 / (math.pi * length_mm), radius_mm)
    return math.copysign(1.0, radius_mm) * (abs(radius_mm) - math.sqrt(left)) if left >= 0.0 else math.nan


def hours(mean_mm: float, area_mm2: float, current_mA: float, growth_mm3_mAh: float) -> float:
    """Hours until a mean thickness is reached: ``h = t A / (I g)``.

    Examples
    --------
    >>> round(hours(0.5, 60.0, 10.0, 0.383306), 2)
    7.83
    """
    return mean_mm * area_mm2 / (current_mA * growth_mm3_mAh)


def density_A_m2(current_mA: float, area_mm2: float) -> float:
    """Mean current density, in A/m2; a hundredth of it is in A/dm2."""
    return 1e3 * current_mA / area_mm2
