"""The charge that has flowed, by the readings in the bench log; gaps and outages are named."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from pinseat.case.log import Entry
from pinseat.reference import value

KIND = "plating"
"""Kind of the entries that belong to the plating."""
SWITCHED_OFF = "switched off"


@dataclass(frozen=True)
class Gap:
    """A stretch of time in which nobody can vouch for the current.

    Attributes
    ----------
    since, until : str
        ISO 8601, UTC.
    hours : float
    low_mAh, high_mAh : float
        Charge that may have flowed in it.
    what : str
        Why it is open.
    """

    since: str
    until: str
    hours: float
    low_mAh: float
    high_mAh: float
    what: str


@dataclass(frozen=True)
class Charge:
    """What the log says of the charge.

    Attributes
    ----------
    hours_on : float
        With the current on, as far as is known.
    low_mAh, high_mAh : float
        Between these; equal when no outage is open.
    u_mAh : float
        Standard uncertainty of either: the ammeter, and the current between two readings.
    gaps : tuple of Gap
    elsewhere_mAh : float
        Part that was stated to have gone elsewhere than onto the pieces.
    """

    hours_on: float
    low_mAh: float
    high_mAh: float
    u_mAh: float
    gaps: tuple[Gap, ...]
    elsewhere_mAh: float

    @property
    def middle_mAh(self) -> float:
        """Halfway between what may have flowed, less what went elsewhere."""
        return 0.5 * (self.low_mAh + self.high_mAh) - self.elsewhere_mAh

    @property
    def u_middle_mAh(self) -> float:
        """Its standard uncertainty, an open outage counted as equally likely anywhere."""
        return math.hypot(self.u_mAh, (self.high_mAh - self.low_mAh) / math.sqrt(12.0))


def moment(entry: Entry) -> datetime:
    """When an entry was read, UTC."""
    return datetime.fromisoformat((entry.at or entry.time).replace("Z", "+00:00"))


def reading(entry: Entry, what: str) -> float | None:
    """One of an entry's readings, None when it was not taken."""
    return next((one.value for one in entry.readings if one.what == what), None)


def ordered(entries: Sequence[Entry]) -> list[list[Entry]]:
    """Entries in the order of their readings, cut where the clock of the machine ran backwards.

    A time that a person typed (an entry made late) is put where it belongs; a machine's clock that jumps back
    by more than a second leaves an unknown length of time between two stretches.

    Parameters
    ----------
    entries : sequence of Entry
        As the log holds them.

    Returns
    -------
    list of list of Entry
        One list a stretch.
    """
    stretches: list[list[Entry]] = []
    last: datetime | None = None
    for entry in entries:
        written = datetime.fromisoformat(entry.time.replace("Z", "+00:00"))
        if last is None or written < last - timedelta(seconds=1):
            stretches.append([])
        stretches[-1].append(entry)
        last = written
    return [sorted(stretch, key=moment) for stretch in stretches]


def charge(entries: Sequence[Entry]) -> Charge:
    """Integrate the current over the log.

    Between two readings the current is taken as straight (trapezia); up to a switching off it held. When
    it was *found* off, anything from nothing to all may have flowed since the reading before, unless an
    outage was stated. A current elsewhere counts from the beginning when it is first stated, then until the
    next word.

    Parameters
    ----------
    entries : sequence of Entry
        Of kind :data:`KIND`, as the log holds them.

    Returns
    -------
    Charge
    """
    low = high = variance = on = elsewhere = 0.0
    gaps: list[Gap] = []
    stretches = ordered(entries)
    for i, stretch in enumerate(stretches):
        if i:
            gaps.append(_backwards(stretches[i - 1][-1], stretch[0]))
        part = _stretch(stretch)
        low, high, on = low + part.low_mAh, high + part.high_mAh, on + part.hours_on
        variance, elsewhere = variance + part.u_mAh**2, elsewhere + part.elsewhere_mAh
        gaps += part.gaps
    ammeter = (value("plating.ammeter_percent").uncertainty or 0.0) / 100.0
    return Charge(on, low, high, math.hypot(math.sqrt(variance), ammeter * high), tuple(gaps), elsewhere)


FOUND_OFF = "the supply was found off"
UNREAD = "nobody read the current"
BACKWARDS = "the clock ran backwards"


class _Sum:
    """Adds up one run of the clock, entry by entry."""

    def __init__(self, start: datetime) -> None:
        self.low = self.high = self.variance = self.hours = self.elsewhere = 0.0
        self.current, self.running, self.stray, self.then = 0.0, 0.0, 0.0, start
        self.gaps: list[Gap] = []
        self.longest = value("plating.unread_gap_h").value

    def add(self, entry: Entry) -> None:
        current, outage, now = reading(entry, "current"), reading(entry, "outage"), moment(entry)
        switched = entry.seen == SWITCHED_OFF
        if current is not None or switched:
            self._step(now, current or 0.0, (outage or 0.0) / 60.0, switched)
        elif outage is not None:
            self._late_outage(outage / 60.0)
        if (stray := reading(entry, "elsewhere")) is not None:
            self.stray = stray

    def _step(self, now: datetime, after: float, off: float, switched: bool) -> None:
        """From the reading before to this one."""
        span, before = (now - self.then).total_seconds() / 3600.0, self.current
        since, self.then, self.current = self.then, now, after
        self.running = after or self.running
        if before <= 0.0:
            return
        on = max(span - off, 0.0)
        low = high = 0.5 * (before + after) * on if after > 0.0 else before * on
        self.hours += on
        self.elsewhere += self.stray * on
        why = UNREAD if span > self.longest and not off else ""
        if after > 0.0:
            self.variance += ((after - before) * on) ** 2 / 12.0
        elif not switched and not off:
            low, why = 0.0, FOUND_OFF
        self.low, self.high = self.low + low, self.high + high
        if why:
            self.gaps.append(Gap(_iso(since), _iso(now), span, low, high, why))

    def _late_outage(self, off: float) -> None:
        """An outage stated on its own: it explains the last time the supply was found off, if any."""
        less = off * self.running
        self.hours = max(self.hours - off, 0.0)
        found = next((gap for gap in reversed(self.gaps) if gap.what == FOUND_OFF), None)
        if found is None:
            self.low, self.high = self.low - less, self.high - less
            return
        self.gaps.remove(found)
        flowed = max(found.high_mAh - less, 0.0)
        self.low += flowed - found.low_mAh
        self.high += flowed - found.high_mAh


def _stretch(entries: Sequence[Entry]) -> Charge:
    """Charge of one run of the clock; here `u_mAh` is that of the current between readings alone."""
    total = _Sum(moment(entries[0]))
    stated = (reading(entry, "elsewhere") for entry in entries)
    total.stray = next((stray for stray in stated if stray is not None), 0.0)
    for entry in entries:
        total.add(entry)
    low, high = max(total.low, 0.0), max(total.high, 0.0)
    return Charge(total.hours, low, high, math.sqrt(total.variance), tuple(total.gaps), total.elsewhere)


def _backwards(before: Entry, after: Entry) -> Gap:
    return Gap(_iso(moment(before)), _iso(moment(after)), math.nan, 0.0, 0.0, BACKWARDS)


def _iso(when: datetime) -> str:
    return when.strftime("%Y-%m-%dT%H:%M:%SZ")
