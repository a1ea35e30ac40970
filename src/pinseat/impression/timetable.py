"""The clock of the impression: from the start of mixing to the first metal."""

from __future__ import annotations

import math

from pinseat.case.model import Case
from pinseat.impression.model import Moment
from pinseat.impression.rubber import name_of, spoken, u_of
from pinseat.reference import value

KEEP = {
    "polysulfide": "it goes on shrinking as it loses water",
    "polyether": "keep it dry until then: it swells when wet",
    "addition silicone": "the figures of change used here hold that long",
}
"""Why the rubber must be copied in time."""
COLD_DEGC, WARM_DEGC = 23.0, 37.0


def at_temperature(cold_min: float, warm_min: float, degC: float) -> float:
    """A time between its figures at 23 and 37 degC, on a straight line of its logarithm (Arrhenius).

    Examples
    --------
    >>> round(at_temperature(4.0, 1.0, 30.0), 6)
    2.0
    """
    share = (degC - COLD_DEGC) / (WARM_DEGC - COLD_DEGC)
    return math.exp((1.0 - share) * math.log(cold_min) + share * math.log(warm_min))


def set_after_min(seated_min: float, room_min: float, mouth_min: float) -> float:
    """When a rubber is set that was in the room first and then in the mouth, from the start of mixing.

    The part of the setting done in the room is ``seated / room``; the rest takes its share of the time in the
    mouth.

    Examples
    --------
    >>> set_after_min(3.0, 9.0, 6.0)
    7.0
    """
    done = min(seated_min / room_min, 1.0)
    return seated_min + (1.0 - done) * mouth_min


def _times(case: Case, what: str, stated_min: float | None) -> tuple[float, float, float]:
    """A time at 23 and at 37 degC, and its relative uncertainty; a stated one shifts both."""
    cold, warm = (spoken(f"impression.{name_of(case)}.{what}_time_{t}_min") for t in (23, 37))
    if stated_min is None:
        return cold.value, warm.value, u_of(cold) / cold.value
    return stated_min, warm.value * stated_min / cold.value, u_of(spoken("impression.sheet_time_share"))


def timetable(case: Case) -> tuple[Moment, ...]:
    """Every moment that matters, from the start of mixing.

    Parameters
    ----------
    case : Case
        Its rubber, room, and the times of the maker's sheet where stated.

    Returns
    -------
    tuple of Moment
        In order.
    """
    work, rubber = case.impression, name_of(case)
    mouth = spoken("impression.temperature_in_mouth_degC").value
    reserve, mixing = value("impression.reserve_min").value, value("impression.mixing_min").value
    cold, warm, u_work = _times(case, "working", work.working_time_min)
    working = at_temperature(cold, warm, work.room_degC)
    cold_set, warm_set, u_set = _times(case, "setting", work.setting_time_min)
    in_room, in_mouth = (at_temperature(cold_set, warm_set, t) for t in (work.room_degC, mouth))
    seat = max(working - reserve, mixing)
    hard = max(set_after_min(seat, in_room, in_mouth), seat)
    out = hard + reserve
    wait, by = value("impression.recovery_wait_min").value, value(f"impression.{rubber}.copy_by_h")
    sheet = "by the maker's sheet" if work.working_time_min is not None else "remembered figures"
    return (
        Moment(0.0, 0.0, "start mixing", "start the clock with the first contact of the pastes"),
        Moment(mixing, 0.0, "syringe", "from the closed ends outward, in the numbered order"),
        Moment(seat, working * u_work, "tray home at the latest", f"{sheet}; the rubber must still flow"),
        Moment(
            hard,
            hard * u_set,
            "set in the mouth",
            "hold the tray still until then; try the surplus with a nail",
        ),
        Moment(
            out,
            hard * u_set,
            "take off",
            "let air in at the border, then one steady pull along the line, about 5 s",
        ),
        Moment(
            out + 5.0,
            hard * u_set,
            "pins back, read each",
            "press each home in its bed, then read how far it stands out",
        ),
        Moment(out + wait, hard * u_set, "may be copied", "the rubber has recovered"),
        Moment(out + 60.0 * by.value, hard * u_set, "metal on it at the latest", KEEP[case.chain.impression]),
    )
