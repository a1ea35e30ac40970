"""An entry for the bench log, from what a person typed; what cannot be is refused before it is written."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta, tzinfo

from pinseat.case.log import Entry, NamedReading
from pinseat.errors import PlatingError, UnitError
from pinseat.plating.charge import KIND, SWITCHED_OFF
from pinseat.plating.clock import FORM
from pinseat.plating.log_checks import SEEN
from pinseat.units import reading

Check = Callable[[float], bool]
READINGS: dict[str, tuple[str, Check, str]] = {
    "current": ("mA", lambda x: 0.0 <= x < 1e5, "0 or more; are the leads swapped?"),
    "voltage": ("V", lambda x: 0.0 <= x < 100.0, "0 or more, and less than 100"),
    "temperature": ("degC", lambda x: 0.0 < x < 100.0, "between 0 and 100"),
    "weight before": ("g", lambda x: 0.0 < x < 1e5, "more than 0"),
    "weight after": ("g", lambda x: 0.0 < x < 1e5, "more than 0"),
    "outage": ("min", lambda x: 0.0 < x < 1e5, "more than 0"),
    "elsewhere": ("mA", lambda x: 0.0 <= x < 1e5, "0 or more"),
}
"""What can be read, its unit, and what it can be."""


def entry_of(
    typed: Mapping[str, str | None],
    pieces: Sequence[str],
    *,
    piece: str = "",
    seen: str = "",
    switched_off: bool = False,
    at: str = "",
    words: Mapping[str, str] | None = None,
    now: datetime | None = None,
    zone: tzinfo | None = None,
) -> Entry:
    """Make an entry.

    Parameters
    ----------
    typed : mapping of str to str or None
        Readings by their name in :data:`READINGS`, as typed; decimal commas are welcome.
    pieces : sequence of str
        Names of the pieces of the case.
    piece : str
        Which of them it is about; empty for all together.
    seen : str
        What a look found, one of :data:`pinseat.plating.log_checks.SEEN`.
    switched_off : bool
        Whether the supply is switched off now.
    at : str
        When it was, by the clock on the wall: ``16:05`` or ``2026-03-02 16:05``; empty for now.
    words : mapping of str to str, optional
        ``who``, ``instrument``, ``calibrated``, ``lot``, ``note``.
    now : datetime, optional
        Aware; the present when left out.
    zone : tzinfo, optional
        Of the clock on the wall; the computer's own when left out.

    Returns
    -------
    Entry
        Without its time when `at` is empty: the log gives it.

    Raises
    ------
    PlatingError
        When nothing was read or done, a number cannot be, the piece is unknown or the time is still to come.

    Examples
    --------
    >>> entry = entry_of({"current": "50,2"}, ["11", "22"])
    >>> entry.readings[0].what, entry.readings[0].value, entry.readings[0].unit
    ('current', 50.2, 'mA')
    """
    readings = tuple(_reading(what, text) for what, text in typed.items() if text is not None)
    told = {key: text for key, text in (words or {}).items() if text}
    if piece and piece not in pieces:
        raise PlatingError("there is no such piece", where="--piece", value=piece, limit=", ".join(pieces))
    if seen and seen not in SEEN:
        raise PlatingError("a look finds one of these", where="--seen", value=seen, limit=", ".join(SEEN))
    if switched_off and seen:
        raise PlatingError("log the look and the switching off one after the other", where="--off")
    if not (readings or seen or switched_off or told.get("note")):
        raise PlatingError("there is nothing to log", do="give a reading, such as --current 50")
    return Entry(
        kind=KIND,
        readings=readings,
        piece=piece,
        seen=SWITCHED_OFF if switched_off else seen,
        at=_moment(at, now or datetime.now(UTC), zone) if at else "",
        **told,
    )


def _reading(what: str, text: str) -> NamedReading:
    unit, fits, limit = READINGS[what]
    option = "--" + what.replace("weight ", "").replace(" ", "-")
    try:
        number = reading(text)
    except UnitError as error:
        raise PlatingError(
            error.what, where=option, value=error.value, limit=error.limit, do=error.do
        ) from None
    if not fits(number):
        raise PlatingError(
            f"this cannot be the {what}",
            where=option,
            value=f"{number:g} {unit}",
            limit=limit,
            do="nothing was written",
        )
    return NamedReading(what=what, value=number, unit=unit)


def _moment(text: str, now: datetime, zone: tzinfo | None) -> str:
    """A typed time as UTC; a time of the day alone is the latest one that has been."""
    here = now.astimezone(zone)
    try:
        if len(text.strip()) <= 5:
            clock = datetime.strptime(text.strip().replace(".", ":"), "%H:%M").time()
            when = datetime.combine(here.date(), clock)
            if when > here.replace(tzinfo=None) + timedelta(minutes=1):
                when -= timedelta(days=1)
        else:
            when = datetime.strptime(text.strip().replace("T", " ")[:16], FORM)
    except ValueError:
        do = "write 16:05, or 2026-03-02 16:05"
        raise PlatingError("this is no time", where="--at", value=text, do=do) from None
    aware = when.replace(tzinfo=zone) if zone is not None else when.astimezone()
    if aware > now + timedelta(minutes=1):
        raise PlatingError("this time is still to come", where="--at", value=text, do="nothing was written")
    return aware.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
