"""Seating in cement: how long the cement takes to get out of pinholes and margins, and until when it can.

The bridge goes down straight under a steady force `F`. With an opening `h` still to go,

    F = mu(t) V K(h),   V = -dh/dt,   K = sum of pins 2 pi z/G + sum of faces 3 pi R^4 / (2 h^3)

with `z` the length already in the hole (see :mod:`pinseat.casting.flow`). Opening and time separate:
``integral of K dh = F x integral of dt / mu``, the first part of the way under a gentler force (see
:mod:`pinseat.casting.escape`). The left side is a closed form, the right side as well for a viscosity that
grows exponentially between the points where it is known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from pinseat.case.model import Case
from pinseat.casting.escape import Escape, Hole, Push, escape_of, holes_of, push_of
from pinseat.casting.model import Cementing, PinFlow
from pinseat.ledger.pins import PinField
from pinseat.ledger.verdict import one_sided
from pinseat.reference import value

Float = NDArray[np.float64]

CURVE = 41
"""Points of the curve of the time it takes to close."""
LONGEST_MIN = 120.0
FARTHEST = 200.0
"""Growth of viscosity, as a logarithm, beyond which nothing is left to reckon."""
LEAST_DOUBT = 0.05
"""Standard deviation of the logarithm of the time when all is typed in: a finger's force, a face's area."""
QUICK_S = 10.0
"""What counts as going home without delay when the force on a single pin is given."""


@dataclass(frozen=True, eq=False)
class Stiffening:
    """Viscosity against time: exponential between points, and on beyond them at the last rate.

    Attributes
    ----------
    second, viscosity : (n,) array
        Seconds from the start of mixing, and Pa s; at least two points.
    """

    second: Float
    viscosity: Float

    def at(self, second: float) -> float:
        """Viscosity at a time, Pa s."""
        i = min(max(int(np.searchsorted(self.second, second)) - 1, 0), len(self.second) - 2)
        span = self.second[i + 1] - self.second[i]
        rate = math.log(self.viscosity[i + 1] / self.viscosity[i]) / span
        grown = min(max(rate * (second - self.second[i]), -FARTHEST), FARTHEST)
        return float(self.viscosity[i] * math.exp(grown))

    def fluidity(self, start: float, end: float) -> float:
        """Integral of 1 / viscosity over a time, 1/Pa: ``(1/mu1 - 1/mu2) / rate`` piece by piece."""
        if end <= start:
            return 0.0
        inner = [float(s) for s in self.second[1:-1] if start < s < end]
        edges = [start, *inner, end]
        total = 0.0
        for a, b in pairwise(edges):
            first, last = self.at(a), self.at(b)
            rate = math.log(last / first) / (b - a)
            total += (1.0 / first - 1.0 / last) / rate if abs(rate) > 1e-12 else (b - a) / first
        return total


def stiffening_of(case: Case) -> Stiffening:
    """Viscosity of the case's cement against time: as typed in, or the assumed growth."""
    typed = case.cement.viscosity
    if len(typed) >= 2:
        return Stiffening(np.array([60.0 * p.min for p in typed]), np.array([p.Pa_s for p in typed]))
    working = working_min(case)
    fresh = value(f"cement.{_kind(case)}.viscosity_Pa_s").value
    first = min(1.0, working / 2.0)
    if typed:
        first, fresh = typed[0].min, typed[0].Pa_s
    end = max(working, first + 0.5)
    ratio = value("cement.stiffening_ratio").value
    return Stiffening(np.array([60.0 * first, 60.0 * end]), np.array([fresh, fresh * ratio]))


def working_min(case: Case) -> float:
    """Working time from the start of mixing, in minutes."""
    stated = case.cement.working_min
    return stated if stated is not None else value(f"cement.{_kind(case)}.working_min").value


def cement(case: Case, field: PinField) -> Cementing | None:
    """Time, countdown and stop for the cementing of a case.

    Parameters
    ----------
    case : Case
    field : PinField

    Returns
    -------
    Cementing or None
        None when no hole leaves room round its pin.
    """
    holes = holes_of(case, field)
    if not holes or min(hole.room_um for hole in holes) <= 0.0:
        return None
    said, thick = case.cement, stiffening_of(case)
    way = escape_of(case, holes)
    push = push_of(way, min(said.force_N, value("cement.force_most_N").value))
    whole = push.fluidity(way)
    sigma = _log_deviation(case, way)
    margin = math.exp(one_sided() * sigma)
    start, end = 60.0 * said.start_min, 60.0 * working_min(case)
    home = _when(thick, start, whole)
    late = _when(thick, start, margin * whole) + value("cement.look_s").value
    minutes = np.linspace(0.0, 1.2 * end, CURVE)
    ample = thick.fluidity(start, end)
    return Cementing(
        kind=said.kind,
        force_N=push.full_N,
        gentle_N=push.gentle_N,
        gentle_until_um=1000.0 * push.until_mm,
        wall_MPa=push.wall_MPa,
        film_um=1000.0 * way.film_mm,
        pins=tuple(_pin(hole, way, thick, start, push) for hole in holes),
        time_s=home - start,
        u_factor=math.exp(sigma),
        start_min=said.start_min,
        home_min=home / 60.0,
        latest_min=_latest(thick, end, margin * whole) / 60.0,
        stop_min=min(late, end) / 60.0,
        working_min=end / 60.0,
        setting_min=said.setting_min or value("cement.setting_time_max_min").value,
        probability=float(ndtr(math.log(ample / whole) / sigma)) if ample > 0.0 else 0.0,
        minutes=minutes / 60.0,
        close_s=np.array([_when(thick, float(t), whole) - float(t) for t in minutes]),
        late_s=np.array([_when(thick, float(t), margin * whole) - float(t) for t in minutes]),
    )


def _pin(hole: Hole, way: Escape, thick: Stiffening, start: float, push: Push) -> PinFlow:
    """One pin by itself under the full force, and its part in the whole."""

    def seconds(groove_mm: float) -> float:
        work = hole.work_mm2(way.open_mm, way.film_mm, groove_mm)
        return _when(thick, start, 1e-6 * work / push.full_N) - start

    work = hole.work_mm2(way.open_mm, way.film_mm, way.groove_mm)
    return PinFlow(
        pin=hole.name,
        room_um=hole.room_um,
        length_mm=hole.engaged_mm,
        share=work / way.work_mm2(way.open_mm, way.film_mm),
        alone_N=1e-6 * work / thick.fluidity(start, start + QUICK_S),
        alone_s=seconds(way.groove_mm),
        vented_s=seconds(max(way.groove_mm, hole.pin_mm / 3.0)),
    )


def _kind(case: Case) -> str:
    return case.cement.kind.replace(" ", "_")


def _log_deviation(case: Case, way: Escape) -> float:
    """Standard deviation of the logarithm of the time: viscosity, and the room round the pins (cubed)."""
    typed = len(case.cement.viscosity) >= 2
    viscosity = 0.0 if typed else math.log(value("cement.viscosity_doubt_ratio").value)
    doubt = value("cement.bore_doubt_um").value
    whole = way.work_mm2(way.open_mm, way.film_mm)
    parts = [
        3.0 * doubt / hole.room_um * hole.work_mm2(way.open_mm, way.film_mm, way.groove_mm) / whole
        for hole in way.holes
    ]
    return math.hypot(viscosity, *parts, LEAST_DOUBT)


def _when(thick: Stiffening, start: float, wanted: float) -> float:
    """Second at which a fluidity has been reached from `start`; infinite when the cement sets before."""
    last = start + 60.0 * LONGEST_MIN
    if thick.fluidity(start, last) <= wanted:
        return math.inf
    return float(brentq(lambda t: thick.fluidity(start, t) - wanted, start, last, xtol=1e-6))


def _latest(thick: Stiffening, end: float, wanted: float) -> float:
    """Latest second from which a fluidity is still reached by `end`; -60 when there is none."""
    if thick.fluidity(0.0, end) < wanted:
        return -60.0
    return float(brentq(lambda t: thick.fluidity(t, end) - wanted, 0.0, end, xtol=1e-6))
