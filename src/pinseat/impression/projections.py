"""The projection of each pin, followed from hole to casting, and what to do about it.

The depth of the tooth's hole is what counts: a cast pin may reach into it as far as the hole is deep, less
the relief. Proud and low are not alike. A pin that is too long by more than the relief stands on its floor
and holds the whole bridge open; one that is too short only holds less.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import get_args

from pinseat.case.impression import Projection, Stage
from pinseat.case.model import Abutment, Case
from pinseat.impression.cost import Seat
from pinseat.impression.model import PinProjection, Projected, Sign, Tally
from pinseat.impression.removal import abutment_of
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.pins import Pin, PinField
from pinseat.ledger.verdict import one_sided
from pinseat.reference import value

STAGES: tuple[Stage, ...] = get_args(Stage)
WORST: tuple[Verdict, ...] = ("stop", "cannot tell", "caution", "clear")


def judge(out_mm: float, u_mm: float, *, relief_mm: float, length_mm: float) -> tuple[Sign, Verdict]:
    """Proud, fine or low, and how bad that is.

    Parameters
    ----------
    out_mm, u_mm : float
        Measured less expected; positive = the cast pin will be too long.
    relief_mm : float
        By how much it may be too long before it stands on its floor.
    length_mm : float
        Of the cast pin in its hole, as meant.

    Returns
    -------
    sign, verdict

    Examples
    --------
    >>> [judge(out, 0.02, relief_mm=0.1, length_mm=2.0) for out in (0.24, 0.0, -0.15)]
    [('proud', 'stop'), ('fine', 'clear'), ('low', 'clear')]
    """
    sees, guard = value("impression.gauge_sees_mm").value, one_sided() * u_mm
    if abs(out_mm) <= sees + 1e-9:
        return "fine", "clear"
    if out_mm < 0.0:
        left = length_mm + out_mm - guard
        return "low", "clear" if left >= value("seat.shortest_pin_mm").value else "caution"
    if out_mm - guard > relief_mm:
        return "proud", "stop"
    return "proud", "caution" if out_mm + guard <= relief_mm else "cannot tell"


def follow(field: PinField, case: Case, seat: Seat | None) -> tuple[tuple[PinProjection, ...], float]:
    """Every pin through its four stages, and what all of them together cost if nothing is done.

    Parameters
    ----------
    field : PinField
    case : Case
    seat : Seat or None
        For the opening; None when there is no margin to measure it at.

    Returns
    -------
    pins : tuple of PinProjection
    opening_um : float
    """
    stages = [tuple(_stages(pin, case, field.basis)) for pin in field.pins]
    last = [_last(one) for one in stages]
    too_long = [one.out_mm or 0.0 if one is not None else 0.0 for one in last]
    pins = tuple(_pin(field, i, case, stages[i], last[i], seat, too_long[i]) for i in range(len(field.pins)))
    return pins, seat.opening_um(too_long) if seat is not None else math.nan


def tally(pins: Sequence[PinProjection]) -> Tally:
    """How many pins are known to be in place in the impression."""
    read = sum(pin.stages[1].measured_mm is not None for pin in pins)
    return Tally(sum(pin.home for pin in pins), read, len(pins))


def _readings(case: Case, name: str) -> dict[Stage, Projection]:
    return {one.at: one for one in case.impression.projections if one.pin.strip() == name}


def _stages(pin: Pin, case: Case, basis: str) -> Iterator[Projected]:
    abutment, read = abutment_of(pin, case), _readings(case, pin.name)
    depth, before = abutment.hole_depth_mm, None
    for stage in STAGES:
        measured, u, source = _measured(pin, stage, read, abutment, basis)
        relief = abutment.floor_relief_mm if stage == "casting" else 0.0
        expected = depth - relief
        if measured is None or u is None:
            yield Projected(stage, expected, None, None, None, None, "not read", "cannot tell", source)
            before = None
            continue
        out = measured - expected
        sign, verdict = judge(
            out, u, relief_mm=abutment.floor_relief_mm, length_mm=depth - abutment.floor_relief_mm
        )
        if stage == "hole":
            sign, verdict = ("fine", "clear") if sign == "fine" else (sign, "caution")
        since = None if before is None else measured + relief - before
        yield Projected(stage, expected, measured, u, out, since, sign, verdict, source)
        before = measured + relief
        if stage == "hole" and stage in read:
            depth = measured


def _measured(
    pin: Pin, stage: Stage, read: dict[Stage, Projection], abutment: Abutment, basis: str
) -> tuple[float | None, float | None, str]:
    if stage in read:
        repeats = read[stage].mm
        n = len(repeats)
        return math.fsum(repeats) / n, read[stage].u_mm / math.sqrt(n), f"{n} reading{'s' if n > 1 else ''}"
    length = abutment.impression_pin_length_mm
    if stage == "hole" and basis == "scan" and length is not None:
        return length - pin.protrusion_mm, pin.u_protrusion_mm, "length of the pin less what the scan shows"
    return None, None, "not measured"


def _last(stages: Sequence[Projected]) -> Projected | None:
    """The last stage that was read; the hole itself is not one of the copies."""
    return next((one for one in reversed(stages[1:]) if one.measured_mm is not None), None)


def _pin(
    field: PinField,
    i: int,
    case: Case,
    stages: tuple[Projected, ...],
    last: Projected | None,
    seat: Seat | None,
    too_long: float,
) -> PinProjection:
    pin = field.pins[i]
    in_rubber = stages[1]
    home = in_rubber.sign in ("fine", "low") and in_rubber.verdict == "clear"
    says, remedy = _words(last, abutment_of(pin, case))
    opening, where = math.nan, ""
    if seat is not None:
        alone = [too_long if k == i else 0.0 for k in range(seat.pins)]
        opening = seat.opening_um(alone)
        where = _where(seat, alone, pin.tooth, field, opening)
    return PinProjection(pin.name, stages, home, says, remedy, opening, where)


def _words(last: Projected | None, abutment: Abutment) -> tuple[str, str]:
    if last is None or last.out_mm is None:
        return "not read", "press home in the rubber and read"
    out = f"{abs(last.out_mm):.2f} mm"
    if last.sign == "fine":
        return "fine", "nothing to do"
    if last.sign == "low":
        length = abutment.hole_depth_mm - abutment.floor_relief_mm
        says = f"low by {out}: seats with a shorter pin, {length + last.out_mm:.2f} of {length:.2f} mm"
        short = (
            "read it once more; a longer pin holds better" if last.verdict == "caution" else "nothing to do"
        )
        return says, short
    trim = f"trim the cast pin by {out}"
    if last.stage == "impression":
        return f"proud by {out}", f"re-seat now, or later {trim}"
    return f"{'hole too deep' if last.stage == 'die' else 'too long'} by {out}", trim


def _where(seat: Seat, alone: list[float], own: int, field: PinField, opening: float) -> str:
    """How near each tooth could be brought, whatever the others do: parallel pins lock the tilt."""
    if not opening > 1.0:
        return ""
    counted = set(seat.tooth[seat.contact.counted].tolist())
    teeth = [own, *(t for t in dict.fromkeys(pin.tooth for pin in field.pins) if t != own)]
    each = [f"{t} by at least {seat.opening_um(alone, t):.0f} um" for t in teeth if t in counted]
    return "; ".join(each)


def projection_findings(pins: Sequence[PinProjection], count: Tally) -> Iterator[Finding]:
    """One finding a stage that was read, and one for the tally.

    Parameters
    ----------
    pins : sequence of PinProjection
    count : Tally

    Yields
    ------
    Finding
    """
    open_pins = [pin for pin in pins if not pin.home]
    verdicts: list[Verdict] = [pin.stages[1].verdict for pin in open_pins]
    verdict: Verdict = min(verdicts, key=WORST.index, default="clear")
    yield Finding(
        code="impression.tally",
        where="pins in the impression",
        says="Every pin is known to be in its place."
        if count.complete
        else f"{count.home} of {count.pins} pins are known to be in their places.",
        verdict=verdict,
        do=_next(open_pins),
    )
    sees = value("impression.gauge_sees_mm")
    for pin in pins:
        for stage in pin.stages:
            if stage.out_mm is None or stage.sign == "fine":
                continue
            yield Finding(
                code=f"impression.projection.{stage.stage}",
                where=f"pin {pin.name}, {stage.stage}",
                says=_says(stage),
                verdict=stage.verdict,
                value=stage.out_mm,
                uncertainty=stage.u_mm,
                unit="mm",
                limit=sees.value if stage.out_mm > 0.0 else -sees.value,
                limit_source=f"{sees.conditions} ({sees.basis})",
                do=pin.remedy if stage.verdict != "clear" else "",
            )


def _next(open_pins: Sequence[PinProjection]) -> str:
    """What to do about the pins not home, those with the same remedy together."""
    same: dict[str, list[str]] = {}
    for pin in open_pins:
        same.setdefault(pin.remedy, []).append(pin.name)
    return "; ".join(f"{', '.join(names)}: {remedy}" for remedy, names in same.items())


def _says(stage: Projected) -> str:
    if stage.stage == "hole":
        return (
            "The pin stands deeper in the tooth than the hole is stated to be."
            if stage.sign == "proud"
            else "The pin does not stand on the floor of its hole, or the hole is shallower than stated."
        )
    if stage.sign == "low":
        return "The pin is low: the bridge seats with a shorter pin."
    return "The pin is proud: the cast pin would be too long and hold the bridge open."
