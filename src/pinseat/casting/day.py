"""The casting day, counted backwards from when the bridge is due; each hazard beside the step that has it."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from pinseat.case.model import Case
from pinseat.casting.model import DayStep
from pinseat.reference import value

WHOLE_MIN = 5
"""Starts are given to the five minutes before."""
_LINER = "Ring liner: wet cellulose or dry ceramic fibre, never asbestos."
_HOT = "Hot ring and molten metal: face shield, tongs, dry floor, nobody in front of the machine."
_WAX = "Wax fumes: extraction on, keep your face away from the furnace."
_AMMONIA = "Wax fumes and ammonia: extraction on, keep your face away from the furnace."
_STEAM = "Quench only when the button no longer glows, at arm's length: it spits steam."


def day_of(case: Case) -> tuple[DayStep, ...]:
    """The steps of the day in the order of the work.

    Times are those of the case where it states them, otherwise common practice; the furnace takes
    ``(mould - room) / rate`` besides its holds.

    Parameters
    ----------
    case : Case

    Returns
    -------
    tuple of DayStep
    """
    route = case.chain.investment.replace(" ", "_")
    named = [
        ("Sprue, weigh, line the ring", *_minutes("schedule.sprue_and_ring_min"), _LINER),
        ("Mix under vacuum, fill the ring", *_minutes("schedule.mix_and_pour_min"), _silica("Powder")),
        ("Let it set", *_minutes(f"schedule.{route}.bench_set_min"), ""),
        (*_heat_up(case, route), _AMMONIA if route == "phosphate_bonded" else _WAX),
        ("Melt and cast", *_minutes("schedule.cast_min"), _HOT),
        ("Cool", *_minutes(f"schedule.{route}.cool_min"), _STEAM if route == "gypsum_bonded" else _HOT_LONG),
        ("Devest, clean, cut the sprue", *_minutes("schedule.clean_min"), _cleaning(case)),
        ("Try on the dies, measure, finish", *_minutes("schedule.fit_and_finish_min"), _grinding(case)),
    ]
    due = datetime.fromisoformat(case.casting.due) if case.casting.due else None
    left, steps = 0.0, []
    for what, minutes, u, caution in reversed(named):
        left += minutes
        back = timedelta(minutes=WHOLE_MIN * math.ceil(left / WHOLE_MIN))
        start = (due - back).strftime("%Y-%m-%d %H:%M") if due else ""
        steps.append(DayStep(what, minutes, u, left, start, caution))
    return tuple(reversed(steps))


_HOT_LONG = "The ring stays hot inside long after it stops glowing: let it cool, do not quench."


def mould_degC(case: Case) -> tuple[float, str]:
    """Temperature of the ring at casting, and where it comes from."""
    stated = case.casting.mould_degC
    if stated is not None:
        return stated, "as stated"
    usual = value(f"schedule.{case.chain.investment.replace(' ', '_')}.mould_degC")
    return usual.value, usual.basis


def _minutes(name: str) -> tuple[float, float]:
    found = value(name)
    return found.value, found.uncertainty or 0.0


def _heat_up(case: Case, route: str) -> tuple[str, float, float]:
    usual = value(f"schedule.{route}.heat_degC_min")
    stated = case.casting.heat_degC_per_min
    rate, u_rate = (stated, 0.0) if stated is not None else (usual.value, usual.uncertainty or 0.0)
    hold, u_hold = _minutes("schedule.wax_hold_min")
    soak, u_soak = _minutes("schedule.soak_min")
    top, _ = mould_degC(case)
    climb = (top - value("schedule.room_degC").value) / rate
    what = (
        f"Burn out: {rate:g} °C/min to {value('schedule.wax_hold_degC').value:.0f} °C, hold {hold:.0f} min; "
    )
    what += f"to {top:.0f} °C, hold {soak:.0f} min"
    return what, climb + hold + soak, math.hypot(climb * u_rate / rate, u_hold, u_soak)


def _silica(what: str) -> str:
    limit = value("hazard.silica_in_air_ug_m3")
    return (
        f"{what} holds silica: extraction and a fitted mask, open the bag and wipe up wet "
        f"(limit {limit.value:.0f} ug/m3, {limit.reference})."
    )


def _cleaning(case: Case) -> str:
    dust = "Silica dust again: devest wet, under extraction."
    if case.chain.alloy in ("nickel chromium", "cobalt chromium"):
        return dust + " Blast, do not pickle."
    acid = "acid into water, never a hot casting into acid, plastic tongs, goggles; rinse and neutralise"
    return f"{dust} Pickle: {acid}."


def _grinding(case: Case) -> str:
    if case.chain.alloy == "nickel chromium":
        limit = value("hazard.beryllium_in_air_ug_m3")
        return (
            "Nickel, and beryllium where the alloy holds any (limit "
            f"{limit.value:g} ug/m3): take a beryllium-free alloy, grind under extraction, mask on."
        )
    if case.chain.alloy == "cobalt chromium":
        return "Cobalt and chromium dust: grind under extraction, mask on."
    return "Grind under extraction, goggles on. Never press the casting onto its die."
