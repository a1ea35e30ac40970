"""Findings of the impression besides those of single pins: bulk, strain, lean, load, time."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from pinseat.case.model import Case
from pinseat.impression.model import (
    Bulk,
    FaceDrift,
    Moment,
    PinDrift,
    PinPlay,
    Removal,
    TrayCompared,
)
from pinseat.impression.rubber import name_of
from pinseat.ledger.cautions import PULL
from pinseat.ledger.findings import Finding, Verdict
from pinseat.reference import value

THIN_MM, THICK_MM = 2.0, 4.0
"""Bulk that is taught for a custom tray."""
TIGHT_UM = 5.0
"""Play either way that no other error of the impression lets one see."""
STEADY_DEG = 1.0
"""A hand keeps to a line within about this much."""


def bulk_finding(bulk: Bulk, trays: Sequence[TrayCompared]) -> Finding:
    """Whether the rubber is of even and moderate thickness."""
    taught = value("impression.bulk_taught_mm")
    even = bulk.thin_mm >= THIN_MM and bulk.thick_mm <= THICK_MM
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
        limit=THICK_MM if bulk.thick_mm > THICK_MM else THIN_MM,
        limit_source=f"{taught.reference} ({taught.basis})",
        do="" if even else "make a tray with even relief, or measure its bulk and state it",
    )


def drift_findings(
    drifts: Sequence[PinDrift], faces: Sequence[FaceDrift], stock: TrayCompared
) -> Iterator[Finding]:
    """How far beds and margins move."""
    sizes = [math.hypot(float(d.shift_um[0]), float(d.shift_um[1])) for d in drifts]
    worst = max(range(len(drifts)), key=sizes.__getitem__)
    yield Finding(
        code="impression.shift",
        where=f"pin {drifts[worst].name}",
        says="Shift of its bed across the pin by shrinkage and cooling, common motion taken out; in a stock "
        f"tray the unevenness alone adds {stock.unevenness_um:.0f} um.",
        verdict="clear",
        value=sizes[worst],
        uncertainty=drifts[worst].u_shift_um,
        unit="um",
    )
    deep = max(drifts, key=lambda d: d.proud_um)
    yield Finding(
        code="impression.bed",
        where=f"pin {deep.name}",
        says="Its bed gets shallower as the rubber shrinks: the pin pressed home stands out farther by this.",
        verdict="clear",
        value=deep.proud_um,
        uncertainty=deep.u_proud_um,
        unit="um",
    )
    margins = [f for f in faces if f.kind == "margin"]
    if margins:
        most = max(margins, key=lambda f: f.out_um)
        yield Finding(
            code="impression.margin",
            where=f"margin of {most.tooth}",
            says="The margin's copy moves outward by this: the die grows there.",
            verdict="clear",
            value=most.out_um,
            uncertainty=most.u_out_um,
            unit="um",
        )


def play_finding(play: Sequence[PinPlay]) -> Finding:
    """How far the impression pins may lean in their own holes."""
    worst = max(play, key=lambda one: one.u_tilt_deg)
    off_um = 500.0 * (worst.hole_mm - worst.pin_mm)
    return Finding(
        code="impression.play",
        where=f"pin {worst.name}",
        says=f"The impression pin has play in its own hole: it may lean by up to {worst.largest_deg:.1f} deg "
        f"and lie off by up to {off_um:.0f} um at either end, and is copied so.",
        verdict="caution" if off_um > TIGHT_UM else "clear",
        value=worst.u_tilt_deg,
        unit="deg",
        limit_source="one standard deviation in each direction, the pin anywhere in its play (assumed)",
        do="take impression pins that fill their holes, or lean all against the same wall of their holes"
        if off_um > TIGHT_UM
        else "",
    )


def strain_findings(removal: Removal, case: Case) -> Iterator[Finding]:
    """Strain past undercuts against what the rubber stands."""
    fair, most = (value(f"impression.undercut_share_{end}_percent") for end in ("caution", "stop"))
    for one in removal.squeezes:
        high = one.strain_percent + 1.645 * one.u_strain_percent
        verdict: Verdict = "clear" if high <= fair.value else "caution"
        if one.covered and one.strain_percent - 1.645 * one.u_strain_percent > most.value:
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
            limit_source=f"{most.reference} ({most.basis})",
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
            limit_source=f"{low.reference} ({low.basis})",
            do="block out undercuts, and leave it to recover before the copy",
        )


def removal_findings(removal: Removal, case: Case) -> Iterator[Finding]:
    """Lean of the tray, and the load on pins and teeth."""
    yield Finding(
        code="impression.lean",
        where=f"pin {removal.limited_by}",
        says="The tray may lean this far off the pull line before the pin binds in its hole; the pins are "
        f"free after {removal.free_after_mm:.1f} mm. Peeled from one end, it must turn about a place at "
        f"least {removal.pivot_mm:.0f} mm away.",
        verdict="clear" if removal.lean_deg - 1.645 * removal.u_lean_deg >= STEADY_DEG else "caution",
        value=removal.lean_deg,
        uncertainty=removal.u_lean_deg,
        unit="deg",
        limit=STEADY_DEG,
        limit_source="what a hand keeps to (assumed)",
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
        limit_source=f"load at which the pin yields; dentine: {dentine.reference} ({dentine.basis}); the "
        "estimate is good to a factor of two",
        do="never lever the tray; if it does not come, stop, let air in at the edge and find what holds it"
        if safe
        else f"never lever the tray; {softer}",
    )


def bends_first(removal: Removal) -> bool:
    """Whether the pin surely gives before the tooth does; both loads are good to factors, not to amounts."""
    ratio = math.log(removal.cracks_at_N / removal.bends_at_N)
    doubt = math.hypot(removal.u_cracks_at_N / removal.cracks_at_N, removal.u_bends_at_N / removal.bends_at_N)
    return ratio > 1.645 * doubt


def time_finding(timetable: Sequence[Moment], case: Case) -> Finding:
    """Whether the working time leaves room to syringe and seat."""
    syringe, seat = timetable[1], timetable[2]
    room = seat.at_min - syringe.at_min
    needed = value("impression.syringe_min")
    stated = case.impression.working_time_min is not None
    enough = room - 1.645 * seat.u_min >= needed.value
    verdict: Verdict = "clear" if enough else "caution"
    if room + 1.645 * seat.u_min < needed.value:
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
