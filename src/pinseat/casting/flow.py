"""Closed forms for a viscous film pressed out: round a pin in a blind hole, under a disc, through a groove.

All take the force as ``viscosity x speed x factor`` and give that factor, or its integral over the way, so
that they add: a bridge that goes down straight has one speed. Slow viscous flow, no slip, no yield stress.
"""

from __future__ import annotations

import math

SEMICIRCLE = 63.07
"""Darcy friction factor times Reynolds number of a half-round channel (Shah and London, from memory)."""


def annulus_number(hole_radius_mm: float, pin_radius_mm: float) -> float:
    """``ln(1/k) - (1 - k^2)/(1 + k^2)`` with ``k = pin / hole``: how open a ring-shaped gap is.

    A cylinder that sinks along the axis of a closed tube and drives the liquid back past itself meets the
    force ``2 pi mu V L / G`` on a length `L` (the falling-cylinder viscometer: Bird, Stewart and Lightfoot,
    Transport Phenomena, chapter 2, from memory). For a thin gap `h` it is ``G = (h/R)^3 / 3``.

    Examples
    --------
    >>> round(annulus_number(0.35, 0.30), 6), round((0.05 / 0.35) ** 3 / 3.0, 6)
    (0.00121, 0.000972)
    """
    k = pin_radius_mm / hole_radius_mm
    if 1.0 - k < 1e-3:  # the series of the difference: the terms themselves cancel
        e = 1.0 - k
        return e**3 / 3.0 * (1.0 + 1.5 * e)
    return math.log(1.0 / k) - (1.0 - k**2) / (1.0 + k**2)


def groove_number(pin_radius_mm: float, groove_mm: float) -> float:
    """What a half-round groove along the pin adds to the annulus number.

    A groove of diameter `d` carries ``A D^2 p' / (SEMICIRCLE / 2 mu)`` with area ``A = pi d^2/8``, hydraulic
    diameter ``D = pi d / (pi + 2)`` and pressure gradient ``p'``. The pin displaces ``pi a^2 V`` and feels
    ``pi a^2 p'``, so the same number of a ring-shaped gap would be ``2 pi mu V / (pi a^2 p')``.

    Examples
    --------
    >>> groove_number(0.3, 0.0)
    0.0
    """
    area = math.pi * groove_mm**2 / 8.0
    hydraulic = math.pi * groove_mm / (math.pi + 2.0)
    conductance = 2.0 * area * hydraulic**2 / SEMICIRCLE  # flow x viscosity / pressure gradient, mm4
    return 2.0 * math.pi * conductance / (math.pi * pin_radius_mm**2) ** 2


def pin_factor_mm2(engaged_mm: float, number: float) -> float:
    """Integral of the pin's factor over its way down: ``2 pi / G x L^2 / 2``.

    Entering from nothing to its full length `L`, with the length in the hole growing as it sinks.

    Examples
    --------
    >>> round(pin_factor_mm2(2.0, annulus_number(0.35, 0.30)))
    10390
    """
    return math.pi * engaged_mm**2 / number


def disc_factor_mm2(radius_mm: float, from_mm: float, to_mm: float) -> float:
    """Integral of a disc's factor from one film thickness to a thinner one.

    The force on a disc that sinks onto a plane with liquid between is ``3 pi mu R^4 V / (2 h^3)`` (Stefan
    1874; any textbook of lubrication), hence ``3 pi R^4 / 4 x (1/h2^2 - 1/h1^2)``.

    Examples
    --------
    >>> round(disc_factor_mm2(3.0, 1.0, 0.025))
    305172
    """
    return 3.0 * math.pi * radius_mm**4 / 4.0 * (1.0 / to_mm**2 - 1.0 / from_mm**2)
