"""The play of a straight pin in a straight round hole: how far it can lean, and what that does to a copy."""

from __future__ import annotations

import math

from scipy.optimize import brentq


def rattle_rad(pin_mm: float, hole_mm: float, engaged_mm: float) -> float:
    """Largest angle between a pin and its hole: the least root of ``d cos t + L sin t = D``.

    In the plane of the lean the pin is a rectangle of width *d* that reaches *L* into a slot of width *D*; it
    binds when its mouth edge and its tip edge touch opposite walls. ``sqrt(d^2 + L^2) sin(t + a) = D`` with
    ``a = atan2(d, L)``.

    Parameters
    ----------
    pin_mm, hole_mm : float
        Diameters.
    engaged_mm : float
        How far the pin reaches into its hole.

    Returns
    -------
    float
        In rad; pi/2 when the pin is so far out that it can lean over altogether, 0 without clearance.

    Examples
    --------
    >>> round(math.degrees(rattle_rad(0.60, 0.70, 2.0)), 4)
    2.8878
    """
    if hole_mm <= pin_mm:
        return 0.0
    size = math.hypot(pin_mm, engaged_mm)
    if size <= hole_mm:
        return math.pi / 2.0
    return math.asin(hole_mm / size) - math.atan2(pin_mm, engaged_mm)


def peel_radius_mm(pin_mm: float, hole_mm: float, engaged_mm: float) -> float:
    """How far off a tilting tray must at least have its pivot for a pin to come out without binding.

    Turning by *t* about a pivot at distance *R* across the draw lifts the pin by *R t* and leans it by *t*:
    it stays free while ``d cos t + (L - R t) sin t <= D``. For small angles ``R = L^2 / (4 c)`` with the
    clearance ``c = D - d``; here the exact condition.

    Parameters
    ----------
    pin_mm, hole_mm : float
        Diameters.
    engaged_mm : float

    Returns
    -------
    float
        Infinite without clearance.

    Examples
    --------
    >>> round(peel_radius_mm(0.65, 0.70, 2.0), 1)
    19.7
    """
    if hole_mm <= pin_mm:
        return math.inf
    clearance = hole_mm - pin_mm

    def excess(radius: float) -> float:
        steps = (k / 200.0 * engaged_mm / radius for k in range(1, 201))
        return max(pin_mm * math.cos(t) + (engaged_mm - radius * t) * math.sin(t) - hole_mm for t in steps)

    about = engaged_mm**2 / (4.0 * clearance)
    return float(brentq(excess, 0.5 * about, 2.0 * about, xtol=1e-6 * about))


def u_offset_mm(pin_mm: float, hole_mm: float) -> float:
    """Standard deviation, in each direction across, of one end of a pin that lies anywhere in its play.

    Each end of the axis keeps within a circle of radius ``r = (D - d) / 2``; spread evenly over it, each
    coordinate has the variance ``r^2 / 4``.

    Examples
    --------
    >>> round(u_offset_mm(0.65, 0.70), 4)
    0.0125
    """
    return max(hole_mm - pin_mm, 0.0) / 4.0


def u_lean_rad(pin_mm: float, hole_mm: float, engaged_mm: float) -> float:
    """Standard deviation of a pin's lean, in each direction, when mouth and tip lie anywhere in their play.

    The two ends are independent: ``sqrt(2) u / L``. About the middle of the pin, position (``u / sqrt(2)``)
    and lean are then uncorrelated; about the mouth they are correlated by ``-1 / sqrt(2)``.

    Examples
    --------
    >>> round(math.degrees(u_lean_rad(0.65, 0.70, 2.0)), 3)
    0.506
    """
    return math.sqrt(2.0) * u_offset_mm(pin_mm, hole_mm) / engaged_mm
