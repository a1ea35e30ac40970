"""The clock on the wall: when a programme ends, and how to keep that out of the hours without staff."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

FORM = "%Y-%m-%d %H:%M"
"""How a moment is written, by the clock on the wall."""


@dataclass(frozen=True)
class Finish:
    """When it ends.

    Attributes
    ----------
    start, end : str
        By the clock on the wall, such as ``2026-03-02 16:00``.
    hours : float
        Between the two.
    current_mA : float
        Main current with which it ends then.
    alone : bool
        Whether nobody is there at the end.
    changed : str
        What was changed so that somebody is there; empty when nothing had to be.
    """

    start: str
    end: str
    hours: float
    current_mA: float
    alone: bool
    changed: str


def alone(moment: datetime, unstaffed: Sequence[str]) -> tuple[datetime, datetime] | None:
    """Since when and until when nobody is there, if that is so at a moment.

    Parameters
    ----------
    moment : datetime
    unstaffed : sequence of str
        Such as ``20:00-07:30``; one that ends before it begins runs over midnight. Whoever leaves or comes at
        the moment itself is there.

    Returns
    -------
    tuple of datetime, or None

    Examples
    --------
    >>> since, until = alone(datetime(2026, 3, 3, 2, 48), ["20:00-07:30"])
    >>> f"{since:%H:%M}", f"{until:%H:%M}", alone(datetime(2026, 3, 3, 7, 30), ["20:00-07:30"])
    ('20:00', '07:30', None)
    """
    for begin, end in _spans(moment, unstaffed):
        if begin < moment < end:
            return begin, end
    return None


def _spans(around: datetime, unstaffed: Sequence[str]) -> list[tuple[datetime, datetime]]:
    """The stated hours from two days before to two days after; those that touch are one."""
    found = []
    for text in unstaffed:
        opens, ends = (timedelta(hours=int(t[:2]), minutes=int(t[3:])) for t in text.split("-"))
        for day in range(-2, 3):
            midnight = datetime(around.year, around.month, around.day) + timedelta(days=day)
            last = midnight + ends + (timedelta(days=1) if ends <= opens else timedelta(0))
            found.append((midnight + opens, last))
    merged: list[tuple[datetime, datetime]] = []
    for begin, end in sorted(found):
        if merged and begin <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((begin, end))
    return merged


def finish(
    start: datetime,
    fixed_h: float,
    charge_mAh: float,
    current_mA: float,
    unstaffed: Sequence[str],
    *,
    highest_mA: float,
    lowest_mA: float,
) -> Finish:
    """When a programme ends; with another main current when nobody would be there.

    A lower current is tried first: it ends when somebody is back, and plates more evenly. Then a higher one,
    which ends before the last one leaves.

    Parameters
    ----------
    start : datetime
        By the clock on the wall.
    fixed_h : float
        Hours of the start and its look, whatever the main current.
    charge_mAh : float
        Still wanted after that.
    current_mA : float
        Main current.
    unstaffed : sequence of str
    highest_mA, lowest_mA : float
        Main currents between which one may go.

    Returns
    -------
    Finish

    Examples
    --------
    >>> four, night = datetime(2026, 3, 2, 16), ["20:00-07:30"]
    >>> done = finish(four, 0.0, 540.0, 50.0, night, highest_mA=80, lowest_mA=20)
    >>> done.end, round(done.current_mA, 1), done.alone
    ('2026-03-03 07:30', 34.8, False)
    """
    hours = fixed_h + charge_mAh / current_mA
    end = start + timedelta(hours=hours)
    nobody = alone(end, unstaffed)
    if nobody is None:
        return _told(start, hours, current_mA, False, "")
    left, back = nobody
    slower = _current(start, back, fixed_h, charge_mAh)
    if slower is not None and slower >= lowest_mA:
        what = "lower main current, so that somebody is there when it ends"
        return _told(start, fixed_h + charge_mAh / slower, slower, False, what)
    faster = _current(start, left, fixed_h, charge_mAh)
    if faster is not None and faster <= highest_mA:
        what = "higher main current, so that it ends before the last one leaves"
        return _told(start, fixed_h + charge_mAh / faster, faster, False, what)
    return _told(start, hours, current_mA, True, "")


def _current(start: datetime, end: datetime, fixed_h: float, charge_mAh: float) -> float | None:
    """The main current that ends at a moment; None when there is no time for one."""
    hours = (end - start).total_seconds() / 3600.0 - fixed_h
    return charge_mAh / hours if hours > 0.0 else None


def _told(start: datetime, hours: float, current_mA: float, alone: bool, changed: str) -> Finish:
    end = start + timedelta(hours=hours)
    rounded = (end + timedelta(seconds=30)).replace(second=0, microsecond=0)
    return Finish(start.strftime(FORM), rounded.strftime(FORM), hours, current_mA, alone, changed)


def good_starts(hours: float, unstaffed: Sequence[str]) -> tuple[str, ...]:
    """Times of the day to start, somebody being there, so that somebody is there at the end too.

    Parameters
    ----------
    hours : float
        How long it takes.
    unstaffed : sequence of str

    Returns
    -------
    tuple of str
        Stretches such as ``07:30 to 09:10``, to five minutes; empty when there is none.

    Examples
    --------
    >>> good_starts(10.8, ["20:00-07:30"])
    ('07:30 to 09:10',)
    """
    day = datetime(2026, 1, 5)
    fits = []
    for minutes in range(0, 24 * 60, 5):
        start = day + timedelta(minutes=minutes)
        both = (start, start + timedelta(hours=hours))
        fits.append(all(alone(moment, unstaffed) is None for moment in both))
    if all(fits):
        return ("any time",)
    edges = [i for i in range(len(fits)) if fits[i] and not fits[i - 1]]
    found = []
    for begin in edges:
        end = begin
        while fits[(end + 1) % len(fits)]:
            end += 1
        found.append(f"{_clock(begin)} to {_clock(end)}")
    return tuple(found)


def _clock(fives: int) -> str:
    minutes = 5 * (fives % 288)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
