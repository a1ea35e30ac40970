"""Findings on the tray: each with its number, its limit and what to do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pinseat.ledger.cautions import PULL
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.verdict import against
from pinseat.reference import value
from pinseat.tray.border import Border
from pinseat.tray.handle import LETTERS_A_LINE, MOST_LINES, Seat
from pinseat.tray.model import Asked, Gap, HandPlan, Pile, PinRoom, Soundness
from pinseat.tray.stops import Steadiness


def too_thin(asked: Asked) -> Finding | None:
    """Whether the relief leaves the pins their clearance at all."""
    if asked.pin_relief_mm >= asked.pin_gap_mm:
        return None
    return Finding(
        code="tray.relief",
        where="pins",
        says="The relief asked for is thinner than the clearance that the pins need.",
        verdict="stop",
        value=asked.pin_relief_mm,
        unit="mm",
        limit=asked.pin_gap_mm,
        limit_source=asked.pin_gap_source,
        do=f"state pin_extra_mm of {asked.pin_gap_mm - asked.relief_mm:.2f} or more under [tray]",
    )


def stop_findings(
    number: int,
    on_prepared: Sequence[tuple[int, int]],
    in_pocket: Sequence[tuple[int, str]],
    steady: Steadiness | None,
) -> Iterator[Finding]:
    """Findings on where the stops stand."""
    for which, tooth in on_prepared:
        yield Finding(
            code="tray.stop_on_prepared",
            where=f"stop {which}",
            says=f"This stop stands on the prepared tooth {tooth}.",
            verdict="stop",
            limit_source="a stop never rests on a prepared surface, a margin or a pin (common practice)",
            do="pick a cusp of a tooth that is not prepared, or leave stops out to have them proposed",
        )
    for which, pin in in_pocket:
        yield Finding(
            code="tray.stop_in_pin_room",
            where=f"stop {which}",
            says=f"This stop stands in the room that pin {pin} needs.",
            verdict="stop",
            limit_source="a stop never rests on a prepared surface, a margin or a pin (common practice)",
            do="pick it farther from the pin",
        )
    if steady is None:
        yield Finding(
            code="tray.stops",
            where="stops",
            says="There are not three stops to hold the tray.",
            verdict="stop",
            value=float(number),
            unit="stops",
            limit=3.0,
            limit_source="three rest in one way only (geometry)",
            do="pick three or more, or scan more teeth that are not prepared",
        )
        return
    yield _steady(steady)


def _steady(steady: Steadiness) -> Finding:
    """The stops as a support: pull line and prepared teeth must lie within."""
    tips = steady.pull_mm <= 0.0
    verdict: Verdict = "stop" if tips else "caution" if steady.prepared_mm < 0.0 else "clear"
    which = "line of pull" if steady.pull_mm <= steady.prepared_mm else "centre of the prepared teeth"
    return Finding(
        code="tray.stops_steady",
        where="stops",
        says=f"The {which} from the nearest side of the support that the stops span"
        + (", outside it." if steady.least_mm < 0.0 else "."),
        verdict=verdict,
        value=steady.least_mm,
        unit="mm",
        limit=0.0,
        limit_source="a tray tips about the line of two stops when pulled outside it (statics)",
        do=""
        if verdict == "clear"
        else "pick stops that lie round both, or hold the tray down by hand there",
    )


def border_finding(border: Border) -> Finding:
    """Whether the border reaches as far as asked."""
    short = border.shortened_share > 0.02
    return Finding(
        code="tray.border",
        where="border",
        says=f"The scan ends before the border does along {100.0 * border.shortened_share:.0f} % of its rim; "
        "the tray is shorter there, by this much in the middle of those places."
        if short
        else "The border lies on the scan all the way.",
        verdict="caution" if short else "clear",
        value=border.shortened_mm,
        unit="mm",
        limit=0.5,
        limit_source="the tray never goes beyond what was scanned (this project's rule)",
        do="scan farther past the gum line there, or let it be shorter" if short else "",
    )


def hole_finding(holes: Sequence[float]) -> Finding | None:
    """Gaps in the scan that the relief passes over."""
    if not holes:
        return None
    return Finding(
        code="tray.scan_gap",
        where=f"{len(holes)} {'gap' if len(holes) == 1 else 'gaps'} in the scan",
        says="The scan has gaps; the relief is led over them from their edges, and nothing is known there.",
        verdict="caution",
        value=max(holes),
        unit="mm2",
        limit_source="area of the largest, seen along the draw",
        do="look there on the teeth; scan once more if a cusp or a pin may stand in it",
    )


def handle_finding(asked_for: bool, seat: Seat | None) -> Finding | None:
    """Whether the tray can be pulled along the draw."""
    if not asked_for:
        return None
    if seat is None:
        return Finding(
            code="tray.handle",
            where="handle",
            says="The scan is too small for a handle: the tray has none.",
            verdict="caution",
            limit_source="area and width that a grip needs (this project's rule)",
            do="scan a tooth more on either side, or lift the tray by its border on both sides alike",
        )
    off = seat.off_pull_mm
    return Finding(
        code="tray.handle",
        where="handle",
        says=f"The grip stands on the line of pull ({seat.words}).".replace(", on the line of pull", "")
        if off < 0.5
        else "The grip cannot reach the line of pull; a pull on it tips the tray.",
        verdict="clear" if off < 0.5 else "caution",
        value=off,
        unit="mm",
        limit=0.5,
        limit_source="middle of the area that the rubber holds (statics)",
        do="" if off < 0.5 else f"{PULL}; hold the far side so that the tray does not tip",
    )


def number_finding(whole: bool) -> Finding | None:
    """Whether the case number stands on the tray in full."""
    if whole:
        return None
    return Finding(
        code="tray.number",
        where="handle",
        says="The case number does not fit on the grip, or has letters that cannot be raised.",
        verdict="caution",
        limit_source=f"{MOST_LINES * LETTERS_A_LINE} letters A to Z, figures and - _ . /",
        do="write the full number on the tray by hand",
    )


def sound_findings(sound: Soundness, asked: Asked) -> Iterator[Finding]:
    """Findings on the finished mesh."""
    faults = sound.open_edges + sound.wrong_edges + sound.twins
    right = faults == 0 and sound.parts == 1 and sound.volume_mm3 > 0.0
    right = right and sound.genus == sound.genus_designed and sound.second_opinion.startswith("no error")
    yield Finding(
        code="tray.sound",
        where="mesh",
        says="The body is closed, wound outward, one part, with as many openings as designed."
        if right
        else f"The body is not sound: {_faults(sound, faults)}.",
        verdict="clear" if right else "stop",
        value=float(faults),
        unit="edges",
        limit=0.0,
        limit_source="each edge joins two triangles wound alike (definition of a closed surface)",
        do="" if right else "do not print it; state another grid_mm under [tray]",
    )
    yield Finding(
        code="tray.collisions",
        where="along the draw",
        says="Lines along the draw on which scan and tray are in each other's way.",
        verdict="clear" if sound.collisions == 0 else "stop",
        value=float(sound.collisions),
        unit="lines",
        limit=0.0,
        limit_source="the tray must come off along the draw (geometry)",
        do="" if sound.collisions == 0 else "do not print it; state more relief, or another grid_mm",
    )
    thin = not sound.thinnest_mm >= 0.9 * asked.wall_mm
    yield Finding(
        code="tray.wall",
        where="wall",
        says="Thinnest wall, away from the rounded border.",
        verdict="caution" if thin else "clear",
        value=sound.thinnest_mm,
        unit="mm",
        limit=0.9 * asked.wall_mm,
        limit_source="a tenth under the wall asked for (this project's rule)",
        do="state a larger wall_mm, or a finer grid_mm" if thin else "",
    )


def _faults(sound: Soundness, faults: int) -> str:
    return (
        f"{faults} faulty edges and corners, {sound.parts} parts, {sound.genus} openings where "
        f"{sound.genus_designed} "
        f"were designed, volume {sound.volume_mm3:.0f} mm3, {sound.second_opinion}"
    )


def gap_findings(gaps: Sequence[Gap]) -> Iterator[Finding]:
    """Findings on the gap by zone, and on its error."""
    limit = value("tray.gap_error_mm")
    for gap in gaps:
        low, _, high = gap.percentiles_mm
        worst = max((low - gap.asked_mm, high - gap.asked_mm), key=abs)
        fine = abs(worst) <= limit.value
        yield Finding(
            code="tray.gap",
            where=f"over the {gap.zone}" if gap.zone == "teeth" else "round the pins",
            says="Gap less what was asked, the worse of its 1st and 99th percentile.",
            verdict="clear" if fine else "caution",
            value=worst,
            unit="mm",
            limit=limit.value,
            limit_source=limit.cited,
            do="" if fine else "state a finer grid_mm under [tray]",
        )


def pin_findings(pins: Sequence[PinRoom], asked: Asked) -> Iterator[Finding]:
    """Clearance of each pin, swept with the wobble, against the least one wanted."""
    for pin in pins:
        spare = pin.swept_mm - asked.pin_gap_mm
        verdict: Verdict = "stop" if pin.swept_mm <= 0.0 else against(spare, pin.u_mm)
        yield Finding(
            code="tray.pin_clearance",
            where=f"pin {pin.name}",
            says="Least clearance from the tray on its way on and off, wobble included.",
            verdict=verdict,
            value=pin.swept_mm,
            uncertainty=pin.u_mm,
            unit="mm",
            limit=asked.pin_gap_mm,
            limit_source=asked.pin_gap_source,
            do="" if verdict == "clear" else "state a larger pin_extra_mm under [tray]",
        )


def touch_findings(gaps: Sequence[float]) -> Iterator[Finding]:
    """Whether each stop touches, and none presses in."""
    limit = value("tray.stop_touch_mm")
    for i, gap in enumerate(gaps, start=1):
        fine = 0.0 <= gap <= limit.value
        yield Finding(
            code="tray.stop_touches",
            where=f"stop {i}",
            says="Least distance between stop and tooth; below zero they overlap.",
            verdict="clear" if fine else "caution",
            value=gap,
            unit="mm",
            limit=limit.value,
            limit_source=limit.cited,
            do="" if fine else "state a finer grid_mm under [tray], or pick another place",
        )


def hand_findings(plan: HandPlan, asked: Asked, binding: bool) -> Iterator[Finding]:
    """Findings on the sheets of a tray made by hand.

    Parameters
    ----------
    plan : HandPlan
    asked : Asked
    binding : bool
        Whether this is the tray that will be used; else too few sheets are a caution.
    """
    for pile in plan.piles:
        yield pile_finding(pile, asked.pin_gap_mm, asked.pin_gap_source, plan.u_sheet_mm, binding)


def pile_finding(
    pile: Pile, gap_mm: float, gap_source: str, u_sheet_mm: float = 0.0, binding: bool = True
) -> Finding:
    """Whether the sheets over a pin clear it.

    Parameters
    ----------
    pile : Pile
    gap_mm : float
        Wanted.
    gap_source : str
        Who wants it.
    u_sheet_mm : float
        Standard uncertainty of one sheet's thickness.
    binding : bool
        Whether to stop on it.

    Examples
    --------
    >>> from pinseat.tray.sheets import pile
    >>> found = pile_finding(pile("11-1", 4.2, sheet_mm=0.7, gap_mm=1.0, sheets=4), 1.0, "stated")
    >>> found.verdict, found.says
    ('stop', 'The pin stands 1.40 mm out of the sheets: it would hit the tray.')
    """
    u = (pile.u_projection_mm**2 + (pile.sheets * u_sheet_mm) ** 2) ** 0.5
    spare = pile.gap_mm - gap_mm
    enough = spare >= -1e-9
    verdict: Verdict = "clear" if enough else "stop" if binding else "caution"
    if pile.gap_mm < 0.0:
        says = f"The pin stands {-pile.gap_mm:.2f} mm out of the sheets: it would hit the tray."
    elif not enough:
        says = "The sheets clear the pin by less than the gap wanted."
    else:
        says = "Gap over the pin under the sheets laid by hand."
    aside = f"at least {pile.side_mm:.1f} mm to every side of it (sweep {pile.sweep_mm:.2f} mm)"
    return Finding(
        code="tray.sheets",
        where=f"pin {pile.name}",
        says=says,
        verdict=verdict,
        value=pile.gap_mm,
        uncertainty=u or None,
        unit="mm",
        limit=gap_mm,
        limit_source=gap_source,
        do="" if enough else f"lay {pile.sheets_needed} sheets over it in all, {aside}",
    )
