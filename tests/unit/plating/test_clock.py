"""The end of a programme and the hours without staff."""

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.plating.clock import FORM, alone, finish, good_starts

NIGHT = ("20:00-07:30",)


def at(text: str) -> datetime:
    return datetime.strptime(text, FORM)


def done(start: str, charge: float = 540.0, **more: float) -> tuple[str, float, bool]:
    limits = {"highest_mA": 80.0, "lowest_mA": 25.0, **more}
    got = finish(at(start), 1.0, charge, 50.0, NIGHT, **limits)
    return got.end, round(got.current_mA, 2), got.alone


def test_an_end_in_daylight_is_left_alone() -> None:
    assert done("2026-03-02 08:00") == ("2026-03-02 19:48", 50.0, False)


def test_a_lower_current_ends_when_somebody_is_back() -> None:
    """By hand: 16:00 to 07:30 is 15.5 h, less the fixed hour 14.5; 540 mAh in that is 37.24 mA."""
    assert done("2026-03-02 16:00") == ("2026-03-03 07:30", 37.24, False)


def test_a_higher_current_when_the_lower_would_be_too_low() -> None:
    """By hand: 10:30 to 20:00 less an hour is 8.5 h: 63.53 mA; until 07:30 it would be 27 mA."""
    assert done("2026-03-02 10:30", lowest_mA=30.0) == ("2026-03-02 20:00", 63.53, False)


def test_neither_will_do_and_it_says_so() -> None:
    assert done("2026-03-02 10:30", lowest_mA=30.0, highest_mA=60.0) == ("2026-03-02 22:18", 50.0, True)


def test_hours_that_touch_are_one() -> None:
    assert alone(at("2026-03-02 13:30"), ("12:00-13:00", "13:00-14:00")) == (
        at("2026-03-02 12:00"),
        at("2026-03-02 14:00"),
    )
    over_midnight = alone(at("2026-03-03 02:00"), ("00:00-07:00", "20:00-00:00"))
    assert over_midnight == (at("2026-03-02 20:00"), at("2026-03-03 07:00"))


def test_when_to_start() -> None:
    assert good_starts(10.8, NIGHT) == ("07:30 to 09:10",)
    assert good_starts(1.0, ()) == ("any time",)
    assert good_starts(13.0, NIGHT) == ("18:30 to 20:00",)
    assert good_starts(14.0, ("08:00-23:00",)) == ()


@given(
    st.integers(0, 24 * 60 - 1),
    st.floats(0.0, 3.0),
    st.floats(50.0, 1500.0),
    st.sampled_from([NIGHT, ("12:00-13:00", "19:30-06:00"), ()]),
)
def test_what_ends_is_what_was_wanted(
    minute: int, fixed: float, charge: float, closed: tuple[str, ...]
) -> None:
    """The charge is kept, the current stays within its bounds, and the end is where it says."""
    start = at("2026-03-02 00:00") + timedelta(minutes=minute)
    got = finish(start, fixed, charge, 50.0, closed, highest_mA=80.0, lowest_mA=25.0)
    assert 25.0 <= got.current_mA <= 80.0
    assert (got.hours - fixed) * got.current_mA == pytest.approx(charge)
    end = start + timedelta(hours=got.hours)
    assert abs((at(got.end) - end).total_seconds()) <= 30.0
    assert got.alone == (alone(end, closed) is not None and not got.changed)
