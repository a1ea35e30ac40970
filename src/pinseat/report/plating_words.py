"""The plating in bench words: what the console and the programme sheet say."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import groupby

from pinseat.plating.charge import Charge
from pinseat.plating.reconcile import LogState
from pinseat.plating.result import PlatingResult, ProgrammeResult, Suggestion, ThicknessMap
from pinseat.report.rounding import fixed, with_u

CHANGES = "plating-changes.toml"
"""What to copy into ``case.toml`` to take a change."""


def console_lines(plated: PlatingResult, planned: ProgrammeResult) -> Iterator[tuple[str, str]]:
    """A short head and words for each line that ``pinseat plate`` prints.

    Parameters
    ----------
    plated : PlatingResult
    planned : ProgrammeResult

    Yields
    ------
    tuple of str
    """
    yield "set", set_words(planned)
    yield "stop", stop_words(plated, planned)
    if planned.log.entries:
        yield from log_lines(plated, planned)
    whole = plated.pool
    yield (
        "pieces",
        f"{len(plated.shares)}, {with_u(whole.area_mm2, whole.u_area_mm2, 'mm²', 0)} together; on the mean "
        f"{fixed(whole.current_mA, 0)} mA is {fixed(10 * whole.current_mA / whole.area_mm2, 2)} A/dm²",
    )
    yield (
        "mean",
        f"{fixed(whole.mean_mm, 2)} mm after {with_u(whole.hours, whole.u_hours, 'h', 1)} at "
        f"{fixed(whole.current_mA, 0)} mA all along, {with_u(whole.mass_g, whole.u_mass_g, 'g', 2)} "
        f"of {plated.bath.metal}",
    )
    for share in plated.shares:
        yield (
            f"  {share.name}",
            f"{with_u(share.area_mm2, share.u_area_mm2, 'mm²', 0)}; at {fixed(share.current_mA, 1)} mA "
            f"{fixed(share.density_A_m2 / 100, 2)} A/dm², {fixed(share.mean_mm, 2)} mm when all are done, "
            f"alone {fixed(share.hours_alone, 1)} h; by area {fixed(share.even_mA, 1)} mA",
        )
    if plated.map is not None:
        yield "thinnest", thin_words(plated, planned)
        yield "voltage", voltage_words(plated.map)
        yield "bath unknown", spread_words(plated)
        yield "map", ", ".join(plated.files[:2])
    for i, suggestion in enumerate(plated.suggestions[:3], 1):
        yield f"change {i}", suggestion_words(suggestion)
    if plated.suggestions:
        yield "to take one", f"copy its lines from results/{CHANGES} into case.toml, then plate again"
    yield "bath", bath_words(plated)
    if throw := throw_words(plated):
        yield "throw", throw


def set_words(planned: ProgrammeResult) -> str:
    """Currents to set, and for how long."""
    said: list[str] = []
    for what, alike in groupby(
        (row for row in planned.rows if row.current_mA > 0.0), lambda row: (row.what, row.current_mA)
    ):
        hours = sum(row.hours for row in alike)
        look = " and look" if what[0] == "start" else ""
        said.append(f"{current_words(what[1])} for {fixed(hours, 1)} h{look}")
    return ", then ".join(said)


def current_words(current_mA: float) -> str:
    """A current as it is set: whole milliamperes, or to a tenth below ten where it has one.

    Examples
    --------
    >>> current_words(30.2), current_words(7.5), current_words(5.0)
    ('30 mA', '7.5 mA', '5 mA')
    """
    whole = current_mA >= 9.95 or abs(current_mA - round(current_mA)) < 0.05
    return f"{fixed(current_mA, 0 if whole else 1)} mA"


def stop_words(plated: PlatingResult, planned: ProgrammeResult) -> str:
    """When to stop."""
    when = f"after {fixed(planned.hours, 1)} h"
    if planned.log.entries:
        when = f"by the log in {left_words(planned)}" if planned.remaining_h[1] > 0.05 else "now"
    elif planned.finish is not None:
        when += f", on {planned.finish.end} when started {planned.finish.start}"
        when += f" ({planned.finish.changed})" if planned.finish.changed else ""
    elif planned.starts:
        when += f"; start between {' or '.join(planned.starts)} so that somebody is there at the end"
    return f"{when}, at {fixed(plated.aim.mean_mm, 2)} mm on the mean"


def thin_words(plated: PlatingResult, planned: ProgrammeResult) -> str:
    """Where it is thinnest at the end, and when it would have the minimum."""
    found = plated.map
    assert found is not None
    low, mean, rim = found.at(planned.hours)
    where = f"{found.thinnest_band} of {found.thinnest_piece}"
    said = f"{fixed(low, 2)} mm at the {where} when the mean has {fixed(mean, 2)}"
    said += f" and the rims {fixed(rim, 2)}" if math.isfinite(rim) else ""
    reached = [
        f"{share} % of the surface has {fixed(plated.aim.minimum_mm, 2)} mm after {fixed(hours, 1)} h"
        for share, hours in ((95, found.hours_95), (100, found.hours_100))
        if math.isfinite(hours)
    ]
    return (
        f"{said}; {', '.join(reached) or f'{fixed(plated.aim.minimum_mm, 2)} mm everywhere is not reached'}"
    )


def spread_words(plated: PlatingResult) -> str:
    """What not knowing the bath costs."""
    found = plated.map
    assert found is not None
    low, high = found.minimum_range_mm
    each = "; ".join(
        f"{s.what} {s.low:.3g} to {s.high:.3g} {s.unit}: {fixed(s.minimum_low_mm, 2)} to "
        f"{fixed(s.minimum_high_mm, 2)} mm"
        for s in found.spreads
    )
    return f"thinnest spot between {fixed(low, 2)} and {fixed(high, 2)} mm ({each})" if each else "nothing"


def suggestion_words(found: Suggestion) -> str:
    """A change and what it would do."""
    time = f"{fixed(found.hours, 1)} h" if math.isfinite(found.hours) else "not reached"
    rim = f", rims {fixed(found.rim_mm, 2)} mm" if math.isfinite(found.rim_mm) else ""
    how = "grown" if found.grown else "by the rates of the bare cups"
    thin = f"thinnest {fixed(found.minimum_mm, 2)} mm"
    return f"{found.what}: minimum everywhere after {time} ({how}), {thin}{rim}"


def voltage_words(found: ThicknessMap) -> str:
    """What a voltmeter should show between anode and pieces at the main current."""
    return f"about {fixed(found.voltage_V, 2)} V from anode to pieces at the end; leads and clips add theirs"


def throw_words(plated: PlatingResult) -> str:
    """How well the bath throws, from two weighed cathodes; empty without them."""
    told = plated.calibration.throw_percent if plated.calibration else {}
    return ", ".join(f"{name} {fixed(percent, 0)} %" for name, percent in told.items())


def bath_words(plated: PlatingResult) -> str:
    """The bath and how well it is known."""
    bath = plated.bath
    low, high = bath.exchange_range_A_m2
    exchange = f"{bath.exchange_A_m2:.3g}" if high <= low else f"{low:.3g} to {high:.3g}"
    efficiency = with_u(100 * bath.efficiency, 100 * bath.u_efficiency, "%", 0)
    return (
        f"{bath.name}: {with_u(bath.conductivity_S_m, bath.u_conductivity_S_m, 'S/m', 1)} "
        f"({_short(bath.basis['conductivity'])}), exchange current {exchange} A/m² "
        f"({_short(bath.basis['exchange'])}), efficiency {efficiency} ({_short(bath.basis['efficiency'])})"
    )


def _short(basis: str) -> str:
    return basis.partition(":")[0]


def log_lines(plated: PlatingResult, planned: ProgrammeResult) -> Iterator[tuple[str, str]]:
    """What the log says, a head and words for each line."""
    state = planned.log
    yield (
        "log",
        f"{_count(state.entries)}, {state.first[:16]} to {state.last[:16]} UTC; {supply_words(state)}",
    )
    yield "charge", charge_words(state.charge)
    yield "metal", metal_words(plated, planned)
    yield "to go", left_words(planned)


def _count(entries: int) -> str:
    return "1 entry" if entries == 1 else f"{entries} entries"


def supply_words(state: LogState) -> str:
    """Whether the supply is on."""
    return f"on, {fixed(state.current_mA, 1)} mA" if state.running else "the supply is off"


def charge_words(found: Charge) -> str:
    """The charge, or between what it is."""
    if found.high_mAh - found.low_mAh > 0.5:
        text = f"between {fixed(found.low_mAh, 0)} and {fixed(found.high_mAh, 0)} mAh"
    else:
        text = with_u(found.high_mAh, found.u_mAh, "mAh", 0)
    stray = f", {fixed(found.elsewhere_mAh, 0)} mAh of it elsewhere" if found.elsewhere_mAh > 0.0 else ""
    return f"{text} in {fixed(found.hours_on, 1)} h{stray}"


def metal_words(plated: PlatingResult, planned: ProgrammeResult) -> str:
    """What is on the pieces now."""
    state = planned.log
    how = "weighed" if state.balance is not None else "by charge"
    text = f"{with_u(state.mass_g, state.u_mass_g, 'g', 2)} ({how}), "
    text += f"mean {with_u(state.mean_mm, state.u_mean_mm, 'mm')}"
    if math.isfinite(planned.minimum_now_mm):
        wanted = fixed(plated.aim.minimum_mm, 2)
        text += f", thinnest about {fixed(planned.minimum_now_mm, 2)} mm of {wanted} wanted"
    each = ", ".join(f"{name} {fixed(mm, 2)} mm" for name, mm in state.by_piece_mm.items())
    return text + (f"; weighed on its own: {each}" if each else "")


def left_words(planned: ProgrammeResult) -> str:
    """Hours still wanted, and when that is."""
    low, high = planned.remaining_h
    if high <= 0.05:
        return "done: switch off"
    hours = f"{fixed(low, 1)} to {fixed(high, 1)} h"
    if not planned.ends:
        return f"{hours} with the supply on"
    return f"{hours}: between {planned.ends[0]} and {planned.ends[-1]}, by the clock on the wall"


def bench_lines(
    plated: PlatingResult, planned: ProgrammeResult, basis: str, torn: str
) -> Iterator[tuple[str, str]]:
    """What ``pinseat log`` prints: the log, what it makes of the hours left, and on what that rests.

    Parameters
    ----------
    plated : PlatingResult
    planned : ProgrammeResult
    basis : str
        What the map is, when it is not fresh.
    torn : str
        What there is of a last line that was torn.

    Yields
    ------
    tuple of str
    """
    if planned.log.entries:
        yield from log_lines(plated, planned)
    else:
        yield "log", "no entry of the plating yet"
        yield "set", set_words(planned)
        yield "stop", stop_words(plated, planned)
    if torn:
        yield (
            "torn line",
            f"the last line was not finished ({len(torn)} letters); the next entry puts it aside",
        )
    if basis:
        yield "reckoned", basis
