"""What stands on the chair card and on the screen after ``pinseat impression``, as plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator

from pinseat.case.model import Case
from pinseat.impression.checks import bends_first
from pinseat.impression.model import ImpressionResult, Moment, PinProjection, Projected, Squeeze
from pinseat.ledger.rows import Entry
from pinseat.report.advice import sentence, worst_first
from pinseat.report.pages import Plain
from pinseat.report.rounding import MINUS, fixed, stopwatch, with_u
from pinseat.report.teeth import both

URGENT = ("impression.tally", "impression.mixup")
"""Findings that decide the verdict at the chair; the others stand with their numbers below."""
NOTHING = 0.001
"""Less than this, in % or um or deg, is not worth a word."""
_STAGE = {"impression": "in the rubber", "die": "in the die", "casting": "cast"}


def card_words(case: Case, result: ImpressionResult, line: str, meta: dict[str, str]) -> Plain:
    """Everything the card says, without its picture.

    Parameters
    ----------
    case : Case
    result : ImpressionResult
    line : str
        The pull line in the coordinates of the scan, in words.
    meta : dict of str to str

    Returns
    -------
    dict
    """
    count, removal = result.tally, result.removal
    return {
        "heading": f"Chair card, case {case.number}",
        "footer": f"pinseat · case {case.number} · impression · not a medical device · "
        + " · ".join(f"{label} {value}" for label, value in meta.items()),
        "case": f"case {case.number}",
        "title": case.title,
        "bridge": ", ".join(
            f"{both(a.tooth)}: {a.pins} pin{'s' if a.pins != 1 else ''}" for a in case.abutments
        ),
        "verdict": verdict(result),
        "tally": {
            "home": str(count.home),
            "pins": str(count.pins),
            "words": "pins home" if count.complete else f"pins home, {count.pins - count.read} not read",
        },
        "pins": [_row(pin) for pin in result.projections],
        "pull": {
            "lean": f"{fixed(removal.lean_deg, 1)}°",
            "u": f"± {fixed(removal.u_lean_deg, 1)}°",
            "free": f"{fixed(removal.free_after_mm, 1)} mm",
            "turn": removal.lean_deg,
            "words": f"Leaning farther than this off the pins' line, pin {removal.limited_by} binds. After "
            f"half the way up {fixed(_halfway(result), 1)}° are free.",
            "peel": f"Lift both ends at once. If one end must come first, let it turn about a place at least "
            f"{fixed(removal.pivot_mm, 0)} mm from every pin.",
            "line": line,
            "load": _load(result, case),
        },
        "clock": [_moment(moment) for moment in result.timetable],
        "rubber": f"{result.rubber}, room {fixed(case.impression.room_degC, 0)} °C"
        + ("" if case.impression.working_time_min else "; times remembered, the maker's sheet decides"),
        "order": [{"number": str(one.number), "words": one.words} for one in result.order],
        "squeeze": [
            squeeze_words(one)
            for one, found in zip(
                result.removal.squeezes,
                [f for f in result.findings if f.code == "impression.strain"],
                strict=True,
            )
            if found.verdict != "clear"
        ],
        "cautions": [
            "Secure every loose pin and count them: they can be swallowed or inhaled.",
            "Never lever or rock the tray. A pin that wedges can split the tooth.",
        ],
    }


def verdict(result: ImpressionResult) -> Plain:
    """The worst of what can be seen at the chair, with what to do first."""
    found = worst_first(f for f in result.findings if f.code in URGENT)
    worst = found[0]
    if worst.verdict == "clear":
        return {"word": "clear", "next": "Every pin is in its place. Go on with the copy."}
    do = next((f.do for f in found if f.verdict == worst.verdict and f.do), "look at the pins below")
    return {"word": worst.verdict, "next": sentence(_short(do, result))}


def _short(do: str, result: ImpressionResult) -> str:
    """One action: with a pin proud, the pins to re-seat; else what the finding says."""
    proud = [pin.name for pin in result.projections if pin.stages[1].sign == "proud"]
    if proud and all(_last(pin) is pin.stages[1] for pin in result.projections if pin.name in proud):
        return f"re-seat {', '.join(proud)} and read again"
    unread = [pin.name for pin in result.projections if pin.stages[1].measured_mm is None]
    if len(unread) == len(result.projections):
        return "press each pin home in the rubber and read how far it stands out"
    return f"read {', '.join(unread)} as well" if unread else do


def _last(pin: PinProjection) -> Projected | None:
    return next((one for one in reversed(pin.stages[1:]) if one.measured_mm is not None), None)


def signed_mm(out_mm: float) -> str:
    """A difference with its sign, to a hundredth.

    Examples
    --------
    >>> signed_mm(0.24), signed_mm(-0.15), signed_mm(0.001)
    ('+0.24', '−0.15', '0.00')
    """
    text = fixed(out_mm, 2)
    return text if text == "0.00" or text.startswith(MINUS) else f"+{text}"


def _row(pin: PinProjection) -> Plain:
    last = _last(pin)
    sign = last.sign if last is not None else "not read"
    wanted = last if last is not None else pin.stages[1]
    does = pin.remedy if sign in ("proud", "not read", "fine") else pin.says.partition(": ")[2]
    return {
        "pin": pin.name,
        "sign": sign,
        "verdict": last.verdict if last is not None else "cannot tell",
        "out": "" if last is None or last.out_mm is None else signed_mm(last.out_mm),
        "read": f"want {fixed(wanted.expected_mm, 2)} mm"
        + (
            ""
            if last is None
            else f", read {with_u(last.measured_mm or 0.0, last.u_mm, 'mm')} {_STAGE[last.stage]}"
        ),
        "do": sentence(does).rstrip("."),
        "cost": cost_words(pin),
    }


def cost_words(pin: PinProjection) -> str:
    """What ignoring it costs, where it costs anything."""
    if not pin.opening_um > 1.0:
        return ""
    if math.isinf(pin.opening_um):
        return "left so, the bridge does not come down at all"
    return f"left so, the bridge stands open by {pin.opening_um:.0f} um at best ({pin.opening_at})"


def _halfway(result: ImpressionResult) -> float:
    return float(result.removal.lean_at_deg[len(result.removal.lean_at_deg) // 2])


def _load(result: ImpressionResult, case: Case) -> str:
    removal = result.removal
    bends = f"{removal.bends_at_N:.1f} ± {removal.u_bends_at_N:.1f} N"
    cracks = f"about {removal.cracks_at_N:.0f} N"
    first = "the pin gives first" if bends_first(removal) else "the tooth may crack before the pin gives"
    return (
        f"Side load on one pin: the {case.impression.pin_material} pin bends at {bends}, dentine may crack "
        f"from {cracks} (good to a factor of two): {first}."
    )


def squeeze_words(one: Squeeze) -> str:
    """An undercut that squeezes the rubber too much, with what to do."""
    share = with_u(one.strain_percent, one.u_strain_percent, "%")
    reach = "" if one.covered else ", if the tray reaches there"
    return (
        f"Undercut of {one.depth_mm:.1f} mm on {one.where}{reach}: takes {share} of the rubber. Block it out "
        "with soft wax."
    )


def clock_text(minutes: float) -> str:
    """A time from the start of mixing, as it is read off a stopwatch.

    Examples
    --------
    >>> clock_text(2.6), clock_text(37.94), clock_text(1447.9)
    ('2:35', '38 min', '24 h')
    """
    if minutes < 20.0:
        return stopwatch(5 * round(60.0 * minutes / 5.0))
    return f"{minutes:.0f} min" if minutes < 100.0 else f"{minutes / 60.0:.0f} h"


def _moment(moment: Moment) -> Plain:
    doubt = f"± {clock_text(moment.u_min)}" if moment.u_min > 0.05 and moment.at_min < 20.0 else ""
    return {"at": clock_text(moment.at_min), "u": doubt, "do": moment.do, "note": moment.note}


def console_lines(result: ImpressionResult) -> Iterator[tuple[str, str]]:
    """What the command prints besides the findings: a short head and words for each line.

    Parameters
    ----------
    result : ImpressionResult

    Yields
    ------
    tuple of str
    """
    said = verdict(result)
    yield said["word"].upper(), said["next"]
    yield "pins home", f"{result.tally.home} of {result.tally.pins}, {result.tally.read} read in the rubber"
    for pin in result.projections:
        row = _row(pin)
        mark = f"{row['out']} mm, " if row["out"] else ""
        cost = f" {sentence(row['cost'])}" if row["cost"] else ""
        yield pin.name, f"{mark}{pin.says}; {row['read']}. {sentence(pin.remedy)}{cost}"
    bulk, removal = result.bulk, result.removal
    yield (
        "bulk",
        f"{result.rubber}, {bulk.thin_mm:.1f} to {bulk.thick_mm:.1f} mm thick ({bulk.basis}); shrinks by "
        f"{with_u(result.shrinkage_percent, result.u_shrinkage_percent, '%')} until it is copied",
    )
    margins = [face for face in result.faces if face.kind == "margin"]
    if margins:
        most = max(margins, key=lambda face: face.out_um)
        moved = with_u(most.out_um, most.u_out_um, "um")
        yield "margins", f"copied outward by up to {moved} (tooth {most.tooth}): the die grows there"
    for part in result.parts:
        yield part.route, part_words(part.scale, part.position, part.tilt, part.depth)
    yield (
        "pull",
        f"along the pins; the tray may lean by {with_u(removal.lean_deg, removal.u_lean_deg, 'deg')} before "
        f"pin {removal.limited_by} binds, over {removal.free_after_mm:.1f} mm of travel",
    )
    yield "clock", "; ".join(f"{clock_text(m.at_min)} {m.do}" for m in result.timetable)
    yield "inject", "; ".join(f"{one.number} {one.name} ({one.kind})" for one in result.order)


def part_words(*entries: Entry) -> str:
    """The entries of one part of the ledger row that act at all."""
    names = ("scale", "position", "tilt", "depth")
    said = []
    for name, entry in zip(names, entries, strict=True):
        if max(abs(entry.mean), entry.u) > NOTHING:
            said.append(f"{name} {with_u(entry.mean, entry.u, entry.unit)}")
    return "; ".join(said) or "nothing"
