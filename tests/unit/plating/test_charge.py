"""Charge from the log: trapezia, outages, gaps, a clock that runs backwards."""

import math
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.case.log import Entry, NamedReading
from pinseat.plating.charge import BACKWARDS, FOUND_OFF, SWITCHED_OFF, UNREAD, charge

START = datetime(2026, 3, 2, 15, 0)
UNITS = {
    "current": "mA",
    "outage": "min",
    "voltage": "V",
    "temperature": "degC",
    "elsewhere": "mA",
    "weight before": "g",
    "weight after": "g",
}


def at(
    hours: float, *, typed: float | None = None, seen: str = "", piece: str = "", **readings: Any
) -> Entry:
    """An entry so many hours after the start; `typed` when the person gave another time."""

    def iso(h: float) -> str:
        return (START + timedelta(hours=h)).strftime("%Y-%m-%dT%H:%M:%SZ")

    named = tuple(
        NamedReading(what=what.replace("_", " "), value=number, unit=UNITS[what.replace("_", " ")])
        for what, number in readings.items()
    )
    late = "" if typed is None else iso(typed)
    return Entry(kind="plating", readings=named, seen=seen, piece=piece, time=iso(hours), at=late)


def test_a_steady_current_gives_current_times_time() -> None:
    got = charge([at(0, current=50), at(2, current=50), at(4, seen=SWITCHED_OFF)])
    assert got.low_mAh == got.high_mAh == pytest.approx(200.0)
    assert got.hours_on == pytest.approx(4.0)
    assert got.gaps == ()
    assert got.u_mAh == pytest.approx(200 * 0.02 / math.sqrt(3), rel=1e-9)


def test_between_two_readings_the_current_is_straight() -> None:
    """Trapezium by hand: 1 h at 25 mA, an hour from 25 to 50, 1 h at 50."""
    got = charge([at(0, current=25), at(1, current=25), at(2, current=50), at(3, seen=SWITCHED_OFF)])
    assert got.low_mAh == pytest.approx(25 + 37.5 + 50)
    bare = got.low_mAh * 0.02 / math.sqrt(3)
    assert got.u_mAh == pytest.approx(math.hypot(bare, 25 / math.sqrt(12)), rel=1e-9)


def test_a_supply_found_off_leaves_the_charge_open() -> None:
    got = charge([at(0, current=50), at(2, current=50), at(8, current=0)])
    assert (got.low_mAh, got.high_mAh) == pytest.approx((100.0, 400.0))
    assert [gap.what for gap in got.gaps] == [FOUND_OFF]
    assert got.middle_mAh == pytest.approx(250.0)
    assert got.u_middle_mAh > 300 / math.sqrt(12)


@pytest.mark.parametrize("later", [False, True])
def test_a_stated_outage_closes_it(later: bool) -> None:
    """Off for 3.5 h of 6: 2.5 h at 50 mA flowed, whether said at once or later."""
    entries = [at(0, current=50), at(2, current=50)]
    if later:
        entries += [at(8, current=0), at(8.2, outage=210)]
    else:
        entries += [at(8, current=0, outage=210)]
    got = charge(entries)
    assert got.gaps == ()
    assert got.low_mAh == got.high_mAh == pytest.approx(100 + 2.5 * 50)


def test_an_outage_stated_while_it_runs_is_taken_off() -> None:
    got = charge([at(0, current=50), at(2, current=50), at(2.1, outage=30), at(3, current=50)])
    assert got.low_mAh == got.high_mAh == pytest.approx(2.5 * 50)


def test_a_long_stretch_without_reading_is_counted_and_named() -> None:
    got = charge([at(0, current=50), at(9, current=48)])
    assert got.low_mAh == got.high_mAh == pytest.approx(9 * 49)
    (gap,) = got.gaps
    assert gap.what == UNREAD
    assert gap.hours == pytest.approx(9.0)


def test_current_elsewhere_counts_from_the_beginning() -> None:
    got = charge([at(0, current=50), at(2, current=50), at(2, elsewhere=11), at(4, current=50)])
    assert got.elsewhere_mAh == pytest.approx(44.0)
    masked = charge(
        [at(0, current=50), at(2, current=50), at(2, elsewhere=11), at(2.01, elsewhere=0), at(4, current=50)]
    )
    assert masked.elsewhere_mAh == pytest.approx(22.0)
    assert masked.middle_mAh == pytest.approx(178.0)


def test_an_entry_made_late_is_put_where_it_belongs() -> None:
    straight = [at(0, current=50), at(1, current=40), at(2, current=50)]
    late = [at(0, current=50), at(2, current=50), at(2.5, typed=1, current=40)]
    assert charge(late).low_mAh == charge(straight).low_mAh


def test_a_clock_that_ran_backwards_is_told_and_nothing_is_lost() -> None:
    got = charge([at(0, current=50), at(2, current=50), at(0.5, current=50), at(1.5, seen=SWITCHED_OFF)])
    assert [gap.what for gap in got.gaps] == [BACKWARDS]
    assert got.low_mAh == pytest.approx(150.0)
    assert math.isnan(got.gaps[0].hours)


def test_no_entries_no_charge() -> None:
    got = charge([])
    assert (got.low_mAh, got.high_mAh, got.u_mAh, got.gaps) == (0.0, 0.0, 0.0, ())


@given(
    st.lists(st.floats(1.0, 100.0), min_size=2, max_size=6),
    st.floats(0.1, 2.5),
    st.integers(0, 100),
)
def test_charge_is_the_integral_of_the_straight_lines(currents: list[float], step: float, shift: int) -> None:
    """Against numpy's trapezoid rule; a shift of the clock changes nothing, low never passes high."""
    import numpy as np

    got = charge([at(shift + i * step, current=c) for i, c in enumerate(currents)])
    times = [round((shift + i * step) * 3600) / 3600 for i in range(len(currents))]
    assert got.low_mAh == pytest.approx(float(np.trapezoid(currents, times)), rel=2e-3)
    assert got.low_mAh <= got.high_mAh
