"""Seating in cement: how long the cement takes to get out of pinholes and margins, and until when it can.

The bridge goes down straight under a steady force `F`. With an opening `h` still to go,

    F = mu(t) V K(h),   V = -dh/dt,   K = sum of pins 2 pi z/G + sum of faces 3 pi R^4 / (2 h^3)

with `z` the length already in the hole (see :mod:`pinseat.casting.flow`). Opening and time separate:
``integral of K dh = F x integral of dt / mu``. The left side is a closed form, the right side as well for a
viscosity that grows exponentially between the points where it is known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from pinseat.case.model import Abutment, Case
from pinseat.casting.beam import ONE_SIDED_95
from pinseat.casting.flow import annulus_number, disc_factor_mm2, groove_number, pin_factor_mm2
from pinseat.casting.model import Cementing, PinFlow
from pinseat.ledger.pins import PinField
from pinseat.reference import value

Float = NDArray[np.float64]

CURVE = 41
"""Points of the curve of the time it takes to close."""
LONGEST_MIN = 120.0
QUICK_S = 10.0
"""What counts as going home without delay when the force on a single pin is given."""


@dataclass(frozen=True)
class Hole:
    """One pin in its blind hole.

    Attributes
    ----------
    name : str
    hole_mm, pin_mm : float
        Diameters.
    engaged_mm : float
        Length in the hole when home.
    relief_mm : float
        From the tip to the floor when home.
    """

    name: str
    hole_mm: float
    pin_mm: float
    engaged_mm: float
    relief_mm: float

    @property
    def room_um(self) -> float:
        """Radial room for cement."""
        return 500.0 * (self.hole_mm - self.pin_mm)

    def work_mm2(self, from_mm: float, to_mm: float, groove_mm: float) -> float:
        """Integral of its factor while the opening goes from one value to a smaller one."""
        number = annulus_number(self.hole_mm / 2.0, self.pin_mm / 2.0)
        number += groove_number(self.pin_mm / 2.0, groove_mm)
        start, end = (max(self.engaged_mm - gap, 0.0) for gap in (from_mm, to_mm))
        tip = disc_factor_mm2(self.pin_mm / 2.0, self.relief_mm + from_mm, self.relief_mm + to_mm)
        return pin_factor_mm2(end, number) - pin_factor_mm2(start, number) + tip


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
        return float(self.viscosity[i] * math.exp(rate * (second - self.second[i])))

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


def holes_of(case: Case, field: PinField) -> tuple[Hole, ...]:
    """Each pin of the case in its hole."""
    by_tooth: dict[int, Abutment] = {a.tooth: a for a in case.abutments}
    return tuple(
        Hole(
            pin.name,
            (a := by_tooth[pin.tooth]).hole_diameter_mm,
            a.cast_pin_diameter_mm,
            a.hole_depth_mm - a.floor_relief_mm,
            a.floor_relief_mm,
        )
        for pin in field.pins
        if pin.tooth in by_tooth
    )


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


def work_mm2(
    holes: Sequence[Hole], faces: int, covered_mm2: float, groove_mm: float, from_mm: float, to_mm: float
) -> float:
    """Integral of K over the opening: every pin and every covered face together.

    Parameters
    ----------
    holes : sequence of Hole
    faces : int
        Retainers; the surface each covers is taken as a disc of the same area.
    covered_mm2 : float
    groove_mm : float
        Vent along each pin.
    from_mm, to_mm : float
        Openings, the larger first.

    Returns
    -------
    float
    """
    radius = math.sqrt(covered_mm2 / math.pi)
    pins = math.fsum(hole.work_mm2(from_mm, to_mm, groove_mm) for hole in holes)
    return pins + faces * disc_factor_mm2(radius, from_mm, to_mm)


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
    film = (said.film_um or value("cement.film_max_um").value) / 1000.0
    covered = said.covered_mm2 or value("cement.covered_mm2").value
    faces = len({hole.name.split("-")[0] for hole in holes})
    open_mm = max(hole.engaged_mm for hole in holes)

    force = min(said.force_N, value("cement.force_most_N").value)
    whole = 1e-6 * work_mm2(holes, faces, covered, said.vent_mm, open_mm, film) / force
    sigma = _log_deviation(case, holes, whole * force)
    margin = math.exp(ONE_SIDED_95 * sigma)
    start, end = 60.0 * said.start_min, 60.0 * working_min(case)
    home = _when(thick, start, whole)
    setting = said.setting_min or value("cement.setting_time_max_min").value
    late = _when(thick, start, margin * whole) + value("cement.look_s").value
    minutes = np.linspace(0.0, 1.2 * end, CURVE)
    ample = thick.fluidity(start, end)
    return Cementing(
        kind=said.kind,
        force_N=force,
        film_um=1000.0 * film,
        pins=tuple(_pin(hole, case, thick, open_mm, film, force, whole) for hole in holes),
        time_s=home - start,
        u_factor=math.exp(sigma),
        start_min=said.start_min,
        home_min=home / 60.0,
        latest_min=_latest(thick, end, margin * whole) / 60.0,
        stop_min=min(late, end) / 60.0,
        working_min=end / 60.0,
        setting_min=setting,
        probability=float(ndtr(math.log(ample / whole) / sigma)) if ample > 0.0 else 0.0,
        minutes=minutes / 60.0,
        close_s=np.array([_when(thick, float(t), whole) - float(t) for t in minutes]),
        late_s=np.array([_when(thick, float(t), margin * whole) - float(t) for t in minutes]),
    )


def _pin(
    hole: Hole, case: Case, thick: Stiffening, open_mm: float, film: float, force: float, whole: float
) -> PinFlow:
    said = case.cement
    start = 60.0 * said.start_min

    def seconds(groove_mm: float) -> float:
        return _when(thick, start, 1e-6 * hole.work_mm2(open_mm, film, groove_mm) / force) - start

    work = 1e-6 * hole.work_mm2(open_mm, film, said.vent_mm)
    return PinFlow(
        pin=hole.name,
        room_um=hole.room_um,
        length_mm=hole.engaged_mm,
        share=work / force / whole,
        alone_N=work / thick.fluidity(start, start + QUICK_S),
        alone_s=seconds(said.vent_mm),
        vented_s=seconds(max(said.vent_mm, hole.pin_mm / 3.0)),
    )


def _kind(case: Case) -> str:
    return case.cement.kind.replace(" ", "_")


def _log_deviation(case: Case, holes: Sequence[Hole], work: float) -> float:
    """Standard deviation of the logarithm of the time: viscosity, and the room round the pins (cubed)."""
    typed = len(case.cement.viscosity) >= 2
    viscosity = 0.0 if typed else math.log(value("cement.viscosity_doubt_ratio").value)
    doubt = value("cement.bore_doubt_um").value
    said, open_mm = case.cement, max(hole.engaged_mm for hole in holes)
    film = (said.film_um or value("cement.film_max_um").value) / 1000.0
    parts = [
        3.0 * doubt / hole.room_um * 1e-6 * hole.work_mm2(open_mm, film, said.vent_mm) / work
        for hole in holes
    ]
    return math.hypot(viscosity, *parts, 0.05)


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
