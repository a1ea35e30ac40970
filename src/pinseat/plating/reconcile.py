"""Coulombs and grams against each other: what is on the pieces now, and what does not add up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from pinseat.case.log import Entry
from pinseat.plating.baths import Bath
from pinseat.plating.charge import KIND, SWITCHED_OFF, Charge, charge, moment, ordered, reading
from pinseat.plating.pieces import Piece
from pinseat.plating.weights import Weighing, together, weighings

TWO = 2.0
"""Standard uncertainties within which two numbers agree (95 %, JCGM 100)."""


@dataclass(frozen=True)
class Balance:
    """Mass against charge, between two weighings of everything.

    Attributes
    ----------
    weighing : Weighing
    charge_mAh, u_charge_mAh : float
        Between the two, open outages halfway.
    expected_g, u_expected_g : float
        What the charge should have put on at the bath's efficiency.
    efficiency, u_efficiency : float
        Metal over that of the charge at full efficiency.
    agrees : bool
        Whether the two are within twice the uncertainty of their difference.
    outage_h, elsewhere_mA : float
        What would explain too little metal: the supply off for so long, *or* so much current elsewhere all
        the time. Negative when there is too much metal.
    """

    weighing: Weighing
    charge_mAh: float
    u_charge_mAh: float
    expected_g: float
    u_expected_g: float
    efficiency: float
    u_efficiency: float
    agrees: bool
    outage_h: float
    elsewhere_mA: float


@dataclass(frozen=True)
class LogState:
    """What the log says of the plating so far.

    Attributes
    ----------
    entries : int
    first, last : str
        ISO 8601, UTC, of the earliest and the latest; empty without entries.
    running : bool
        Whether the supply was on at the last entry that tells.
    current_mA : float
        Last reading with the supply on; 0 when there is none.
    charge : Charge
    balance : Balance or None
        None until everything was weighed before and after.
    mass_g, u_mass_g : float
        Metal on all pieces: by the balance and the charge since, or by the charge alone.
    mean_mm, u_mean_mm : float
        The same as mean thickness.
    by_piece_mm : dict of str to float
        Mean thickness of each piece that was weighed on its own.
    """

    entries: int
    first: str
    last: str
    running: bool
    current_mA: float
    charge: Charge
    balance: Balance | None
    mass_g: float
    u_mass_g: float
    mean_mm: float
    u_mean_mm: float
    by_piece_mm: dict[str, float]


def reconcile(entries: Sequence[Entry], pieces: Sequence[Piece], bath: Bath) -> LogState:
    """Put charge and weights of a log together.

    Parameters
    ----------
    entries : sequence of Entry
        Those of the plating, in the order of the file.
    pieces : sequence of Piece
    bath : Bath

    Returns
    -------
    LogState
    """
    flowed = charge(entries)
    found = weighings(entries)
    whole = together(found, [piece.name for piece in pieces])
    balance = _balance(whole, entries, bath) if whole and whole.gained_g > 0.0 else None
    mass, u_mass = _mass(flowed, bath) if balance is None else _since(balance, entries, bath)
    area = sum(piece.area_mm2 for piece in pieces)
    u_area = math.sqrt(sum(piece.u_area_mm2**2 for piece in pieces))
    mean = 1e3 * mass / bath.density_g_cm3 / area
    spread = math.hypot(u_mass / mass, u_area / area) if mass > 0.0 else 0.0
    times = sorted(moment(entry) for entry in entries)
    running, current = _supply(entries)
    areas = {piece.name: piece.area_mm2 for piece in pieces}
    return LogState(
        entries=len(entries),
        first=_iso(times[0]) if times else "",
        last=_iso(times[-1]) if times else "",
        running=running,
        current_mA=current,
        charge=flowed,
        balance=balance,
        mass_g=mass,
        u_mass_g=u_mass,
        mean_mm=mean,
        u_mean_mm=spread * mean,
        by_piece_mm={
            one.piece: 1e3 * one.gained_g / bath.density_g_cm3 / areas[one.piece]
            for one in found
            if one.piece in areas and one.gained_g > 0.0
        },
    )


def remaining_h(
    wanted_mm: float, state: LogState, pieces: Sequence[Piece], bath: Bath, current_mA: float
) -> float:
    """Hours until the mean has a thickness, at a current, from the metal that is there.

    Parameters
    ----------
    wanted_mm : float
        Mean.
    state : LogState
    pieces : sequence of Piece
    bath : Bath
    current_mA : float

    Returns
    -------
    float
        0 when it is there already.
    """
    missing_mm3 = (wanted_mm - state.mean_mm) * sum(piece.area_mm2 for piece in pieces)
    return max(missing_mm3, 0.0) / (current_mA * bath.growth_mm3_mAh)


def _mass(flowed: Charge, bath: Bath) -> tuple[float, float]:
    """Metal by charge and efficiency, g."""
    per_mAh = 3.6e-3 * bath.mass_mg_C * bath.efficiency
    mass = per_mAh * max(flowed.middle_mAh, 0.0)
    return mass, math.hypot(per_mAh * flowed.u_middle_mAh, mass * bath.u_efficiency / bath.efficiency)


def _since(balance: Balance, entries: Sequence[Entry], bath: Bath) -> tuple[float, float]:
    """Metal by the balance, and by the charge since."""
    end = _time(balance.weighing.until)
    late = _statements(entries, end)
    after = [e for e in entries if moment(e) >= end and (e not in late or reading(e, "outage") is None)]
    mass, u_mass = _mass(charge(after), bath)
    return balance.weighing.gained_g + mass, math.hypot(balance.weighing.u_gained_g, u_mass)


def _balance(whole: Weighing, entries: Sequence[Entry], bath: Bath) -> Balance | None:
    flowed = charge(_between(entries, _time(whole.since), _time(whole.until)))
    full = 3.6e-3 * bath.mass_mg_C * flowed.middle_mAh
    if full <= 0.0:
        return None
    expected, u_expected = _mass(flowed, bath)
    short = 1.0 - whole.gained_g / expected
    current = flowed.middle_mAh / flowed.hours_on if flowed.hours_on else 0.0
    doubt = math.hypot(whole.u_gained_g / whole.gained_g, flowed.u_middle_mAh / flowed.middle_mAh)
    return Balance(
        weighing=whole,
        charge_mAh=flowed.middle_mAh,
        u_charge_mAh=flowed.u_middle_mAh,
        expected_g=expected,
        u_expected_g=u_expected,
        efficiency=whole.gained_g / full,
        u_efficiency=doubt * whole.gained_g / full,
        agrees=abs(whole.gained_g - expected) <= TWO * math.hypot(whole.u_gained_g, u_expected),
        outage_h=short * flowed.hours_on,
        elsewhere_mA=short * current,
    )


def _between(entries: Sequence[Entry], begin: datetime, end: datetime) -> list[Entry]:
    """Entries of a stretch of time, and what was said about it right after.

    When the supply was on at its end, the current is taken as held up to it.
    """
    kept = [entry for entry in entries if begin <= moment(entry) <= end]
    if kept and _supply(kept)[0]:
        kept.append(Entry(kind=KIND, seen=SWITCHED_OFF, time=kept[-1].time, at=_iso(end)))
    return kept + _statements(entries, end)


def _statements(entries: Sequence[Entry], after: datetime) -> list[Entry]:
    """Outages and currents elsewhere that were stated after a moment, before the current was read again."""
    found = []
    for entry in entries:
        if moment(entry) <= after:
            continue
        if reading(entry, "current") is not None:
            break
        if reading(entry, "outage") is not None or reading(entry, "elsewhere") is not None:
            found.append(entry)
    return found


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text.replace("Z", "+00:00"))


def _supply(entries: Sequence[Entry]) -> tuple[bool, float]:
    """Whether the supply is on after some entries, and the last current with it on."""
    running, last = False, 0.0
    for stretch in ordered(entries):
        for entry in stretch:
            current = reading(entry, "current")
            if current is not None:
                running, last = current > 0.0, current or last
            if entry.seen == SWITCHED_OFF:
                running = False
    return running, last


def _iso(when: datetime) -> str:
    return when.strftime("%Y-%m-%dT%H:%M:%SZ")
