"""Single changes at the bench, each recomputed with the same random bridges."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import get_args

import numpy as np

from pinseat.case.model import DieRoute, Impression
from pinseat.ledger.copies import reference_row
from pinseat.ledger.handover import Progress, quiet
from pinseat.ledger.rows import Entry, Row
from pinseat.reference import value, values
from pinseat.seating.assembly import Assembly
from pinseat.seating.bridges import Bridges, chance, seat_bridges
from pinseat.seating.model import Lever
from pinseat.seating.problem import build, net_factor, nil_expansion_percent

STEP_MM, LEAST_STEP_MM = 0.05, 0.02
"""By how much a hole is reamed or a pin made thinner, and the least that is worth it."""
SHORTER_MM = (0.1, 0.5)
"""By how much more a cast pin stops short of the floor."""
LEAST_LEAN_DEG = 0.3
"""A hole that leans less than this from the others cannot be recut truer by hand."""
SURE = 2.0
"""A gain counts when it is more than this many standard errors."""
SELDOM = 0.05
"""Below this share of bridges at home, a change that only lessens what is lacking is worth telling too."""


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
    """

    family: str
    words: str
    assembly: Assembly


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
        _mould,
        _die_span,
        _pin_check,
        _other_route,
        _recut,
    )
    return tuple(change for maker in makers for change in maker(assembly))


def levers(
    assembly: Assembly,
    before: Bridges,
    *,
    seed: int,
    threads: int | None = None,
    progress: Progress = quiet,
    most: int = 3,
) -> tuple[Lever, ...]:
    """The changes that gain most.

    A change is offered when its gain in probability is more than :data:`SURE` paired standard errors, or,
    where hardly any bridge goes home, when it lessens the clearance lacking by as much.

    Parameters
    ----------
    assembly : Assembly
        The bridge as it stands.
    before : Bridges
        Its virtual bridges 0, 1, ... of this seed; as many are made for each change.
    seed : int
    threads : int, optional
    progress : callable
    most : int

    Returns
    -------
    tuple of Lever
        Largest gain first; one a family.
    """
    tried = changes(assembly)
    best: dict[str, Lever] = {}
    for i, change in enumerate(tried):
        progress("trying single changes", i / len(tried))
        after = seat_bridges(
            build(change.assembly),
            limit_mm=assembly.limit_mm,
            trials=len(before),
            seed=seed,
            opening=False,
            threads=threads,
        )
        lever = compare(change.words, before, after)
        if lever is not None and (change.family not in best or _rank(lever) > _rank(best[change.family])):
            best[change.family] = lever
    return tuple(sorted(best.values(), key=_rank, reverse=True)[:most])


def compare(words: str, before: Bridges, after: Bridges) -> Lever | None:
    """Pair bridge with bridge; None when the change gains nothing that can be told from chance."""
    k = len(before)
    gain = after.home.astype(np.float64) - before.home
    less = before.lacking_mm - after.lacking_mm
    u_gain, u_less = (float(np.std(x)) / math.sqrt(k) for x in (gain, less))
    won = float(gain.mean())
    helps = won > SURE * u_gain
    nearer = before.home.mean() < SELDOM and float(less.mean()) > SURE * u_less and won >= 0.0
    if not (helps or nearer):
        return None
    return Lever(words, chance(before.home), chance(after.home), won, u_gain, 1000.0 * float(less.mean()))


def _rank(lever: Lever) -> tuple[float, float]:
    return (lever.gain if lever.gain > SURE * lever.u_gain else 0.0), lever.gain_lacking_um


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
                pin_mm = np.full_like(assembly.pin_mm, stock.value)
                yield Change("clearance", words, replace(assembly, pin_mm=pin_mm))
    step = min(STEP_MM, math.floor(100.0 * room + 1e-6) / 100.0)
    if step >= LEAST_STEP_MM:
        pins, holes = _sizes_words(assembly.pin_mm, -step), _sizes_words(assembly.hole_mm, step)
        yield Change(
            "clearance",
            f"make the cast pins {step:.2f} mm thinner ({pins})",
            replace(assembly, pin_mm=assembly.pin_mm - step),
        )
        yield Change(
            "clearance",
            f"ream the holes {step:.2f} mm wider ({holes})",
            replace(assembly, hole_mm=assembly.hole_mm + step),
        )


def _sizes_words(now_mm: np.ndarray, more_mm: float) -> str:
    return ", ".join(f"{size:.2f} to {size + more_mm:.2f} mm" for size in sorted(set(now_mm.tolist())))


def _length(assembly: Assembly) -> Iterator[Change]:
    shortest = value("seat.shortest_pin_mm").value - 1e-9
    for shorter in SHORTER_MM:
        if float(assembly.length_mm.min()) - shorter >= shortest:
            yield Change(
                "length",
                f"stop the cast pins {shorter:.1f} mm shorter "
                f"({_sizes_words(assembly.relief_mm, shorter)} above the floor)",
                replace(assembly, relief_mm=assembly.relief_mm + shorter),
            )


def _mould(assembly: Assembly) -> Iterator[Change]:
    """The mould's expansion set so that the net scale is nil: by the ledger, or by a test casting."""
    rows = {row.copy: row for row in assembly.rows}
    if "investment" not in rows:
        return
    now, wanted = rows["investment"].scale, nil_expansion_percent(assembly.rows)
    if abs(wanted - now.mean) >= 0.01:
        changed = _with_row(assembly, replace(rows["investment"], scale=replace(now, mean=wanted)))
        yield Change("mould", mould_words(now.mean, wanted), changed)
    parts = tuple(copy for copy in ("pattern", "investment", "alloy") if copy in rows)
    words = "cast a test bar of {:.0f} mm in the same wax, investment and alloy, and set the mould by it"
    yield from _measured_scale(assembly, "test casting", words, parts)


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
    span = _span_mm(assembly)
    now = math.hypot(0.0, *(row.scale.u for row in assembly.rows if row.copy in parts))
    reading = value("seat.span_reading_um")
    if span == 0.0 or reading.uncertainty is None:
        return
    u = 0.1 * reading.uncertainty / span
    if u >= now:
        return
    rows = []
    for row in assembly.rows:
        if row.copy in parts:
            share = u if row.copy == parts[0] else 0.0
            row = replace(row, scale=Entry(0.0, share, "%", reading.basis, reading.reference))
        rows.append(row)
    said = f"{words.format(span)} (scale then known to {u:.2f} % instead of {now:.2f} %)"
    yield Change(family, said, replace(assembly, rows=tuple(rows)))


def _span_mm(assembly: Assembly) -> float:
    apart = assembly.mouths[:, None, :] - assembly.mouths[None, :, :]
    return float(np.linalg.norm(apart, axis=2).max())


def _pin_check(assembly: Assembly) -> Iterator[Change]:
    check = value("seat.pin_check_um")
    for row in assembly.rows:
        u = check.uncertainty
        if row.copy == "impression" and u is not None and row.depth.u > u - 1e-9:
            checked = replace(row, depth=Entry(check.value, u, "um", check.basis, check.reference))
            yield Change(
                "pin check",
                "check how far each pin stands out of the impression and re-seat any that is off by more "
                f"than {math.sqrt(3.0) * u:.0f} um",
                _with_row(assembly, checked),
            )


def _other_route(assembly: Assembly) -> Iterator[Change]:
    """Another die or impression material, with its own reference values, when it is better in anything."""
    for copy, known, words in (
        ("die", get_args(DieRoute), "make a die by another route: {} instead of {}"),
        ("impression", get_args(Impression), "take the impression in {} instead of {}"),
    ):
        for row in assembly.rows:
            for route in known if row.copy == copy else ():
                other = reference_row(copy, route)
                changed = _with_row(assembly, other)
                nearer = abs(net_factor(changed.rows) - 1.0) < abs(net_factor(assembly.rows) - 1.0) - 1e-9
                if route != row.route and (nearer or _surer(other, row)):
                    yield Change(copy, words.format(route, row.route), changed)


def _surer(one: Row, other: Row) -> bool:
    """Whether any entry of one row is less in doubt, or its pins nearer to their depth."""
    entries = ((getattr(one, name), getattr(other, name)) for name in ("scale", "position", "tilt", "depth"))
    return any(a.u < b.u for a, b in entries) or abs(one.depth.mean) < abs(other.depth.mean)


def _recut(assembly: Assembly) -> Iterator[Change]:
    """The hole that leans most from the mean of the others, cut anew along that mean."""
    n = len(assembly.names)
    if n < 2:
        return
    others = assembly.axes.sum(axis=0) - assembly.axes
    others = others / np.linalg.norm(others, axis=1)[:, None]
    lean = np.degrees(np.arccos(np.clip((assembly.axes * others).sum(axis=1), -1.0, 1.0)))
    worst = int(np.argmax(lean))
    if lean[worst] < LEAST_LEAN_DEG:
        return
    axes = assembly.axes.copy()
    axes[worst] = others[worst]
    yield Change(
        "recut",
        f"cut the hole of pin {assembly.names[worst]} anew along the others (it leans {lean[worst]:.1f} deg)",
        replace(assembly, axes=axes),
    )


def _with_row(assembly: Assembly, changed: Row) -> Assembly:
    rows = tuple(changed if row.copy == changed.copy else row for row in assembly.rows)
    return replace(assembly, rows=rows)
