"""Every input that a person can change, as a change of the assembly that can be joined with others."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import DieRoute, Impression
from pinseat.ledger.cautions import dentine_caution
from pinseat.ledger.copies import reference_row
from pinseat.ledger.rows import Entry, Row
from pinseat.reference import value, values
from pinseat.seating.assembly import Assembly
from pinseat.seating.model import Cost
from pinseat.seating.places import with_pins
from pinseat.seating.problem import net_factor, nil_expansion_percent

STEP_MM, LEAST_STEP_MM = 0.05, 0.02
"""By how much a hole is reamed or a pin made thinner, and the least that is worth it."""
SHORTER_MM = (0.1, 0.5)
"""By how much more a cast pin stops short of the floor."""
LEAST_LEAN_DEG = 0.3
"""A hole that leans less than this from the others cannot be recut truer by hand."""
TAPER_MM, BEVEL_MM = 0.05, 0.3
"""By how much pins are tapered, and how deep mouths are bevelled, as a change."""

Apply = Callable[[Assembly], Assembly]


@dataclass(frozen=True, eq=False)
class Change:
    """One thing done differently.

    Attributes
    ----------
    family : str
        Changes of one family stand in for each other; only the best of them is offered.
    words : str
        What to do.
    assembly : Assembly
        The bridge with this change.
    apply : callable
        Makes the change to another assembly, so that two can be joined.
    cost : Cost
    caution : str
        Where the change can hurt; empty when it cannot.
    """

    family: str
    words: str
    assembly: Assembly
    apply: Apply
    cost: Cost
    caution: str = ""


def changes(assembly: Assembly) -> tuple[Change, ...]:
    """Every single change that applies to this bridge.

    Parameters
    ----------
    assembly : Assembly

    Returns
    -------
    tuple of Change
    """
    makers: tuple[Callable[[Assembly], Iterator[Change]], ...] = (
        _clearance,
        _length,
        _shape,
        _count,
        _mould,
        _die_span,
        _solder,
        _pin_check,
        _tray,
        _other_route,
        _survey,
        _recut,
    )
    return tuple(change for maker in makers for change in maker(assembly))


def hold_caution() -> str:
    """What stands wherever a pin is made to hold less."""
    return "holds less: weigh hold against seating"


def _made(
    base: Assembly, family: str, words: str, apply: Apply, cost: Cost, caution: str = ""
) -> Iterator[Change]:
    yield Change(family, words, apply(base), apply, cost, caution)


def _clearance(assembly: Assembly) -> Iterator[Change]:
    """Thinner cast pins, or wider holes, as far as the cement still fills the gap well."""
    room = value("seat.largest_clearance_um").value / 1000.0 - float(
        (assembly.hole_mm - assembly.pin_mm).max()
    )
    thin, thick = float(assembly.pin_mm.min()), float(assembly.pin_mm.max())
    if thin == thick:
        for stock in values("pin.stock_size_"):
            if LEAST_STEP_MM <= thin - stock.value <= room + 1e-9:
                words = f"use the smaller stock pin, {stock.value:.2f} mm instead of {thin:.2f} mm"
                yield from _made(
                    assembly,
                    "clearance",
                    words,
                    _stock(stock.value),
                    "pattern",
                    hold_caution(),
                )
    step = min(STEP_MM, math.floor(100.0 * room + 1e-6) / 100.0)
    if step >= LEAST_STEP_MM:
        pins, holes = _sizes_words(assembly.pin_mm, -step), _sizes_words(assembly.hole_mm, step)
        yield from _made(
            assembly,
            "clearance",
            f"make the cast pins {step:.2f} mm thinner ({pins})",
            lambda a: replace(a, pin_mm=a.pin_mm - step),
            "pattern",
            hold_caution(),
        )
        yield from _made(
            assembly,
            "clearance",
            f"ream the holes {step:.2f} mm wider ({holes})",
            lambda a: replace(a, hole_mm=a.hole_mm + step),
            "holes",
            dentine_caution(),
        )


def _sizes_words(now_mm: NDArray[np.float64], more_mm: float) -> str:
    return ", ".join(f"{size:.2f} to {size + more_mm:.2f} mm" for size in sorted(set(now_mm.tolist())))


def _length(assembly: Assembly) -> Iterator[Change]:
    shortest = value("seat.shortest_pin_mm").value - 1e-9
    for shorter in SHORTER_MM:
        if float(assembly.length_mm.min()) - shorter >= shortest:
            yield from _made(
                assembly,
                "length",
                f"stop the cast pins {shorter:.1f} mm shorter "
                f"({_sizes_words(assembly.relief_mm, shorter)} above the floor)",
                _shorter(shorter),
                "pattern",
                hold_caution(),
            )


def _shape(assembly: Assembly) -> Iterator[Change]:
    """Tapered pins; bevelled mouths."""
    if not assembly.taper_mm.any():
        yield from _made(
            assembly,
            "taper",
            f"taper the cast pins to {TAPER_MM:.2f} mm less at the tip",
            lambda a: replace(a, taper_mm=a.taper_mm + TAPER_MM),
            "pattern",
            hold_caution(),
        )
    engaged = float(assembly.length_mm.min()) - BEVEL_MM
    if assembly.bevel_mm == 0.0 and engaged >= value("seat.shortest_pin_mm").value - 1e-9:
        yield from _made(
            assembly,
            "bevel",
            f"bevel the mouths of the holes {BEVEL_MM:.1f} mm deep",
            lambda a: replace(a, bevel_mm=BEVEL_MM),
            "holes",
            dentine_caution(),
        )


def _count(assembly: Assembly) -> Iterator[Change]:
    """One pin left out, each in turn; one more in each abutment, to show what it does."""
    per_tooth = {tooth: assembly.teeth.count(tooth) for tooth in assembly.teeth}
    for i, name in enumerate(assembly.names):
        if per_tooth[assembly.teeth[i]] > 1:
            yield from _made(
                assembly,
                "fewer pins",
                f"leave out pin {name}",
                _without(i),
                "pattern",
                hold_caution(),
            )
    yield from _made(
        assembly,
        "more pins",
        "one more pin in each abutment",
        with_pins,
        "holes",
        dentine_caution(),
    )


def _mould(assembly: Assembly) -> Iterator[Change]:
    """The mould's expansion set so that the net scale is nil: by the ledger, or by a test casting."""
    rows = {row.copy: row for row in assembly.rows}
    if "investment" not in rows:
        return
    now, wanted = rows["investment"].scale, nil_expansion_percent(assembly.rows)
    if abs(wanted - now.mean) >= 0.01:
        yield from _made(assembly, "mould", mould_words(now.mean, wanted), _nil, "mould")
    parts = tuple(copy for copy in ("pattern", "investment", "alloy") if copy in rows)
    words = "cast a test bar of {:.0f} mm in the same wax, investment and alloy, and set the mould by it"
    yield from _measured_scale(assembly, "test casting", words, parts)


def _nil(assembly: Assembly) -> Assembly:
    wanted = nil_expansion_percent(assembly.rows)
    return replace(
        assembly,
        rows=tuple(
            replace(row, scale=replace(row.scale, mean=wanted)) if row.copy == "investment" else row
            for row in assembly.rows
        ),
    )


def mould_words(now_percent: float, wanted_percent: float) -> str:
    """What to do about the mould's expansion."""
    verb = "raise" if wanted_percent > now_percent else "lower"
    return f"{verb} the mould's expansion from {now_percent:.2f} % to {wanted_percent:.2f} %"


def _die_span(assembly: Assembly) -> Iterator[Change]:
    words = "measure the span of {:.0f} mm on die and teeth, and make up for the difference in the mould"
    parts = tuple(row.copy for row in assembly.rows if row.copy in ("impression", "die"))
    yield from _measured_scale(assembly, "die span", words, parts)


def _measured_scale(assembly: Assembly, family: str, words: str, parts: tuple[str, ...]) -> Iterator[Change]:
    """The scale of some copies together read over the span, and made up for in the mould."""
    span = span_mm(assembly)
    now = math.hypot(0.0, *(row.scale.u for row in assembly.rows if row.copy in parts))
    reading = value("seat.span_reading_um")
    if span == 0.0 or reading.uncertainty is None:
        return
    u = 0.1 * reading.uncertainty / span
    if u >= now:
        return

    def apply(a: Assembly) -> Assembly:
        rows = []
        for row in a.rows:
            if row.copy in parts:
                share = u if row.copy == parts[0] else 0.0
                row = replace(row, scale=Entry(0.0, share, "%", reading.basis, reading.reference))
            rows.append(row)
        return replace(a, rows=tuple(rows))

    said = f"{words.format(span)} (scale then known to {u:.2f} % instead of {now:.2f} %)"
    yield from _made(assembly, family, said, apply, "mould")


def span_mm(assembly: Assembly) -> float:
    """Largest distance between two mouths."""
    apart = assembly.mouths[:, None, :] - assembly.mouths[None, :, :]
    return float(np.linalg.norm(apart, axis=2).max())


def _solder(assembly: Assembly) -> Iterator[Change]:
    """Cast in two parts, joined by an index taken on the teeth: the scale no longer adds up over the span."""
    span, index = span_mm(assembly), value("seat.solder_index_um")
    if len(set(assembly.teeth)) < 2 or index.uncertainty is None:
        return
    u = 0.1 * index.uncertainty / span
    now = abs(100.0 * (net_factor(assembly.rows) - 1.0))
    if u >= math.hypot(now, *(row.scale.u for row in assembly.rows)):
        return

    def apply(a: Assembly) -> Assembly:
        none = Entry(0.0, 0.0, "%", index.basis, index.reference)
        rows = [replace(row, scale=none) for row in a.rows]
        rows[-1] = replace(rows[-1], scale=replace(none, u=u))
        return replace(a, rows=tuple(rows))

    words = (
        f"cast the retainers apart and solder them by an index taken on the teeth (span then to {u:.2f} %)"
    )
    yield from _made(assembly, "solder", words, apply, "casting")


def _pin_check(assembly: Assembly) -> Iterator[Change]:
    check = value("seat.pin_check_um")
    for row in assembly.rows:
        u = check.uncertainty
        if row.copy == "impression" and u is not None and row.depth.u > u - 1e-9:
            depth = Entry(check.value, u, "um", check.basis, check.reference)
            yield from _made(
                assembly,
                "pin check",
                "check how far each pin stands out of the impression and re-seat any that is off by more "
                f"than {math.sqrt(3.0) * u:.0f} um",
                _edit("impression", _deep(depth)),
                "minutes",
            )


def _tray(assembly: Assembly) -> Iterator[Change]:
    """A stock tray in place of a custom one: by how much more two fixtures were published to misfit."""
    if not any(row.copy == "impression" for row in assembly.rows):
        return
    stock, custom = (value(f"chain.two_fixtures_{kind}_tray_um") for kind in ("stock", "spaced"))
    ratio = stock.value / custom.value

    def wider(row: Row) -> Row:
        return replace(
            row,
            position=replace(row.position, u=row.position.u * ratio),
            tilt=replace(row.tilt, u=row.tilt.u * ratio),
        )

    words = f"take a stock tray with its uneven bulk (pins then {ratio:.1f} times as far off)"
    yield from _made(assembly, "tray", words, _edit("impression", wider), "impression")


def _other_route(assembly: Assembly) -> Iterator[Change]:
    """Another die or impression material, with its own reference values, when it is better in anything."""
    for copy, known, words in (
        ("die", get_args(DieRoute), "make a die by another route: {} instead of {}"),
        ("impression", get_args(Impression), "take the impression in {} instead of {}"),
    ):
        for row in assembly.rows:
            for route in known if row.copy == copy else ():
                other = reference_row(copy, route)
                apply = _edit(copy, _instead(other))
                nearer = abs(net_factor(apply(assembly).rows) - 1.0) < abs(net_factor(assembly.rows) - 1.0)
                if route != row.route and (nearer or _surer(other, row)):
                    cost: Cost = "casting" if copy == "die" else "impression"
                    yield from _made(assembly, copy, words.format(route, row.route), apply, cost)


def _surer(one: Row, other: Row) -> bool:
    """Whether any entry of one row is less in doubt, or its pins nearer to their depth."""
    entries = ((getattr(one, name), getattr(other, name)) for name in ("scale", "position", "tilt", "depth"))
    return any(a.u < b.u for a, b in entries) or abs(one.depth.mean) < abs(other.depth.mean)


def _survey(assembly: Assembly) -> Iterator[Change]:
    """The holes surveyed twice, and the mean of both taken."""
    if assembly.tilt_covariance.any():
        yield from _made(
            assembly,
            "survey",
            "scan or read the holes a second time and take the mean",
            lambda a: replace(a, tilt_covariance=a.tilt_covariance / 2.0),
            "minutes",
        )


def _recut(assembly: Assembly) -> Iterator[Change]:
    """The hole that leans most from the mean of the others, cut anew along that mean; all by a guide."""
    n = len(assembly.names)
    if n < 2:
        return
    others = assembly.axes.sum(axis=0) - assembly.axes
    others = others / np.linalg.norm(others, axis=1)[:, None]
    lean = np.degrees(np.arccos(np.clip((assembly.axes * others).sum(axis=1), -1.0, 1.0)))
    worst = int(np.argmax(lean))
    if lean[worst] >= LEAST_LEAN_DEG:
        name = assembly.names[worst]
        words = f"cut the hole of pin {name} anew along the others (it leans {lean[worst]:.1f} deg)"
        yield from _made(
            assembly,
            "recut",
            words,
            lambda a: replace(a, axes=_aimed(a.axes, worst, others[worst])),
            "holes",
            dentine_caution(),
        )
    play = value("seat.guide_lean_deg").value
    if float(assembly.lean_deg.max()) > play:
        yield from _made(
            assembly,
            "guide",
            f"cut the holes through a guide, within {play:g} deg of the draw (where they are not cut yet)",
            lambda a: replace(a, axes=_guided(a, play)),
            "holes",
            dentine_caution(),
        )


def _aimed(axes: NDArray[np.float64], which: int, way: NDArray[np.float64]) -> NDArray[np.float64]:
    axes = axes.copy()
    axes[which] = way
    return axes


def _guided(assembly: Assembly, play_deg: float) -> NDArray[np.float64]:
    """Axes that lean no more than the guide's play, each towards the side it leans to."""
    less = np.minimum(play_deg / np.maximum(assembly.lean_deg, 1e-9), 1.0)[:, None]
    axes = assembly.draw + less * (assembly.axes / (assembly.axes @ assembly.draw)[:, None] - assembly.draw)
    return axes / np.linalg.norm(axes, axis=1)[:, None]


def _edit(copy: str, change: Callable[[Row], Row]) -> Apply:
    """A change of one row of the ledger."""

    def apply(a: Assembly) -> Assembly:
        return replace(a, rows=tuple(change(row) if row.copy == copy else row for row in a.rows))

    return apply


def _instead(row: Row) -> Callable[[Row], Row]:
    return lambda _: row


def _deep(depth: Entry) -> Callable[[Row], Row]:
    return lambda row: replace(row, depth=depth)


def _stock(size_mm: float) -> Apply:
    return lambda a: replace(a, pin_mm=np.full_like(a.pin_mm, size_mm))


def _shorter(by_mm: float) -> Apply:
    return lambda a: replace(a, relief_mm=a.relief_mm + by_mm)


def _without(pin: int) -> Apply:
    return lambda a: replace(a, present=a.present & (np.arange(len(a.names)) != pin))
