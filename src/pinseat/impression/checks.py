"""Findings of the impression besides those of single pins: bulk, strain, lean, load, time."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from pinseat.case.model import Case
from pinseat.impression.model import (
    Bulk,
    Moment,
    PinDrift,
    PinPlay,
    Removal,
    TrayCompared,
)
from pinseat.impression.removal import abutment_of
from pinseat.impression.rubber import name_of
from pinseat.ledger.cautions import PULL
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.pins import PinField
from pinseat.ledger.verdict import one_sided
from pinseat.reference import value


def bulk_finding(bulk: Bulk, trays: Sequence[TrayCompared]) -> Finding:
    """Whether the rubber is of even and moderate thickness."""
    least, most = value("impression.bulk_least_mm"), value("impression.bulk_most_mm")
    thick = bulk.thick_mm > most.value
    even = bulk.thin_mm >= least.value and not thick
    own, other = trays
    says = (
        f"Rubber {bulk.thin_mm:.1f} to {bulk.thick_mm:.1f} mm thick; in a stock tray margins would move by "
        f"{other.margin_um:.0f} um instead of {own.margin_um:.0f} um."
    )
    return Finding(
        code="impression.bulk",
        where="rubber",
        says=says,
        verdict="clear" if even else "caution",
        value=bulk.middle_mm,
        uncertainty=bulk.u_mm,
        unit="mm",
        limit=most.value if thick else least.value,
        limit_source=most.cited if thick else least.cited,
        do="" if even else "make a tray with even relief, or measure its bulk and state it",
    )


def drift_findings(
    field: PinField, drifts: Sequence[PinDrift], case: Case, stock: TrayCompared
) -> Iterator[Finding]:
    """How far beds move, each against what the cast pin can take: its play aside, its relief lengthwise.

    Where the rubber takes up part of either, the rest of the chain has less; the ledger adds all of it up.
    """
    works = [abutment_of(pin, case) for pin in field.pins]
    play = [500.0 * (one.hole_diameter_mm - one.cast_pin_diameter_mm) for one in works]
    aside = [math.hypot(float(d.shift_um[0]), float(d.shift_um[1])) for d in drifts]
    yield _within(
        "impression.shift",
        "Shift of its bed across the pin by shrinkage and cooling, common motion taken out; in a stock tray "
        f"the unevenness alone adds {stock.unevenness_um:.0f} um.",
        [(d.name, a, d.u_shift_um, most) for d, a, most in zip(drifts, aside, play, strict=True)],
        "play of the cast pin in its hole, either way, from the case",
    )
    relief = [1000.0 * one.floor_relief_mm for one in works]
    yield _within(
        "impression.bed",
        "Its bed gets shallower as the rubber shrinks: the pin pressed home stands out farther by this.",
        [(d.name, d.proud_um, d.u_proud_um, most) for d, most in zip(drifts, relief, strict=True)],
        "relief of the cast pin over the floor of its hole, from the case",
    )


def _within(
    code: str, says: str, pins: Sequence[tuple[str, float, float, float]], limit_source: str
) -> Finding:
    """The pin (name, value, uncertainty, limit) that comes nearest to its limit, or goes farthest over it."""
    name, found, u, most = min(pins, key=lambda one: one[3] - one[1] - one_sided() * one[2])
    verdict: Verdict = "clear" if found + one_sided() * u <= most else "caution"
    return Finding(
        code=code,
        where=f"pin {name}",
        says=says,
        verdict=verdict,
        value=found,
        uncertainty=u,
        unit="um",
        limit=most,
        limit_source=limit_source,
        do="" if verdict == "clear" else "a tray with even relief, and a rubber that shrinks less",
    )


def play_finding(play: Sequence[PinPlay]) -> Finding:
    """How far the impression pins may lean in their own holes."""
    worst = max(play, key=lambda one: one.u_tilt_deg)
    off_um = 500.0 * (worst.hole_mm - worst.pin_mm)
    tight = value("impression.tight_um")
    free = off_um > tight.value
    return Finding(
        code="impression.play",
        where=f"pin {worst.name}",
        says="The impression pin has play in its own hole: it may lie off by this much at either end, lean "
        f"by up to {worst.largest_deg:.1f} deg, and is copied so.",
        verdict="caution" if free else "clear",
        value=off_um,
        unit="um",
        limit=tight.value,
        limit_source=tight.cited,
        do="take impression pins that fill their holes, or lean all against the same wall of their holes"
        if free
        else "",
    )


def strain_findings(removal: Removal, case: Case) -> Iterator[Finding]:
    """Strain past undercuts against what the rubber stands."""
    fair, most = (value(f"impression.undercut_share_{end}_percent") for end in ("caution", "stop"))
    for one in removal.squeezes:
        high = one.strain_percent + one_sided() * one.u_strain_percent
        verdict: Verdict = "clear" if high <= fair.value else "caution"
        if one.covered and one.strain_percent - one_sided() * one.u_strain_percent > most.value:
            verdict = "stop"
        reaches = "" if one.covered else " If the tray reaches there."
        yield Finding(
            code="impression.strain",
            where=one.where,
            says=f"Squeezed past an undercut of {one.depth_mm:.2f} mm in {one.thickness_mm:.1f} mm of "
            f"rubber; {one.set_um:.0f} um of it stay.{reaches}",
            verdict=verdict,
            value=one.strain_percent,
            uncertainty=one.u_strain_percent,
            unit="%",
            limit=most.value if verdict == "stop" else fair.value,
            limit_source=most.cited,
            do="" if verdict == "clear" else "block the undercut out with soft wax before the impression",
        )
    low = value("impression.elastic_recovery_min_percent")
    has = value(f"impression.{name_of(case)}.elastic_recovery_percent")
    if has.value < low.value:
        yield Finding(
            code="impression.recovery",
            where=case.chain.impression,
            says="This rubber comes back less than the standard asks for.",
            verdict="caution",
            value=has.value,
            uncertainty=has.uncertainty,
            unit="%",
            limit=low.value,
            limit_source=low.cited,
            do="block out undercuts, and leave it to recover before the copy",
        )


def removal_findings(removal: Removal, case: Case) -> Iterator[Finding]:
    """Lean of the tray, and the load on pins and teeth."""
    steady = value("impression.steady_hand_deg")
    yield Finding(
        code="impression.lean",
        where=f"pin {removal.limited_by}",
        says="The tray may lean this far off the pull line before the pin binds in its hole; the pins are "
        f"free after {removal.free_after_mm:.1f} mm. Peeled from one end, it must turn about a place at "
        f"least {removal.pivot_mm:.0f} mm away.",
        verdict="clear" if removal.lean_deg - one_sided() * removal.u_lean_deg >= steady.value else "caution",
        value=removal.lean_deg,
        uncertainty=removal.u_lean_deg,
        unit="deg",
        limit=steady.value,
        limit_source=f"{steady.conditions} ({steady.basis})",
        do=PULL,
    )
    safe = bends_first(removal)
    bends = f"{removal.bends_at_N:.1f} N (standard uncertainty {removal.u_bends_at_N:.1f} N)"
    dentine, metal = value("dentine.fatigue_stress_MPa"), case.impression.pin_material == "metal"
    softer = "take plastic pins, which give before the tooth" if metal else "take thinner or longer pins"
    yield Finding(
        code="impression.fracture",
        where="teeth round the pins",
        says="A side load here may crack the dentine round a hole; the "
        f"{case.impression.pin_material} pin bends at {bends}, "
        + ("well before the tooth." if safe else "which is not surely before the tooth."),
        verdict="caution",
        value=removal.cracks_at_N,
        uncertainty=removal.u_cracks_at_N,
        unit="N",
        limit=removal.bends_at_N,
        limit_source=f"load at which the pin yields; dentine: {dentine.cited}; the "
        "estimate is good to a factor of two",
        do="never lever the tray; if it does not come, stop, let air in at the edge and find what holds it"
        if safe
        else f"never lever the tray; {softer}",
    )


def bends_first(removal: Removal) -> bool:
    """Whether the pin surely gives before the tooth does; both loads are good to factors, not to amounts."""
    ratio = math.log(removal.cracks_at_N / removal.bends_at_N)
    doubt = math.hypot(removal.u_cracks_at_N / removal.cracks_at_N, removal.u_bends_at_N / removal.bends_at_N)
    return ratio > one_sided() * doubt


def time_finding(timetable: Sequence[Moment], case: Case) -> Finding:
    """Whether the working time leaves room to syringe and seat."""
    syringe, seat = timetable[1], timetable[2]
    room = seat.at_min - syringe.at_min
    needed = value("impression.syringe_min")
    stated = case.impression.working_time_min is not None
    enough = room - one_sided() * seat.u_min >= needed.value
    verdict: Verdict = "clear" if enough else "caution"
    if room + one_sided() * seat.u_min < needed.value:
        verdict = "stop"
    return Finding(
        code="impression.time",
        where=f"{case.chain.impression} at {case.impression.room_degC:g} degC",
        says="Time to syringe and seat between mixing and the end of flow"
        + ("." if stated else "; from remembered figures, the maker's sheet decides."),
        verdict=verdict,
        value=room,
        uncertainty=seat.u_min,
        unit="min",
        limit=needed.value,
        limit_source=f"{needed.conditions} ({needed.basis})",
        do="" if enough else "cool the room or the pastes, or take a slower setting; fewer teeth at a time",
    )
