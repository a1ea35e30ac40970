"""What a person types at the bench, and what is refused before it is written."""

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from pinseat.errors import PlatingError
from pinseat.plating.charge import SWITCHED_OFF
from pinseat.plating.entries import entry_of

PIECES = ["11", "22", "saddle 21"]
NOW = datetime(2026, 3, 2, 15, 30, tzinfo=UTC)
ZONE = timezone(timedelta(hours=1))


def make(typed: dict[str, str | None], **more: Any) -> Any:
    return entry_of(typed, PIECES, now=NOW, zone=ZONE, **more)


def test_decimal_commas_and_everything_that_was_read() -> None:
    entry = make(
        {"current": "50,2", "voltage": "0.41", "temperature": "22,5", "weight before": None},
        piece="saddle 21",
        seen="covered",
        words={"who": "AB", "instrument": "ammeter 3", "note": ""},
    )
    assert [(r.what, r.value, r.unit) for r in entry.readings] == [
        ("current", 50.2, "mA"),
        ("voltage", 0.41, "V"),
        ("temperature", 22.5, "degC"),
    ]
    assert (entry.piece, entry.seen, entry.who, entry.instrument) == (
        "saddle 21",
        "covered",
        "AB",
        "ammeter 3",
    )
    assert entry.at == ""


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (
            {"current": "-3"},
            "--current: this cannot be the current (-3 mA; expected 0 or more; are the leads swapped?)",
        ),
        (
            {"weight before": "-1,2"},
            "--before: this cannot be the weight before (-1.2 g; expected more than 0)",
        ),
        ({"weight after": "0"}, "--after: this cannot be the weight after (0 g; expected more than 0)"),
        ({"temperature": "400"}, "--temperature: this cannot be the temperature (400 degC"),
        ({"voltage": "0,4.1"}, "--voltage: this number mixes commas and points"),
        ({"current": "fifty"}, "--current: this is not a number"),
        ({"current": "nan"}, "--current: a reading must be a finite number"),
        ({"outage": "0"}, "--outage: this cannot be the outage"),
    ],
)
def test_numbers_that_cannot_be(typed: dict[str, str | None], says: str) -> None:
    with pytest.raises(PlatingError) as error:
        make(typed)
    assert str(error.value).startswith(says)


def test_unknown_pieces_and_looks_name_the_known_ones() -> None:
    with pytest.raises(PlatingError, match=r"no such piece \(12; expected 11, 22, saddle 21\)"):
        make({"current": "5"}, piece="12")
    with pytest.raises(PlatingError, match="expected covered, bare"):
        make({}, seen="shiny")


def test_nothing_is_not_logged() -> None:
    with pytest.raises(PlatingError, match="there is nothing to log"):
        make({"current": None}, words={"who": "AB"})
    assert make({}, words={"note": "anode turned"}).note == "anode turned"
    assert make({}, switched_off=True).seen == SWITCHED_OFF
    with pytest.raises(PlatingError, match="one after the other"):
        make({}, switched_off=True, seen="covered")


@pytest.mark.parametrize(
    ("typed", "utc"),
    [
        ("16:05", "2026-03-02T15:05:00Z"),
        ("16.05", "2026-03-02T15:05:00Z"),
        ("23:10", "2026-03-01T22:10:00Z"),
        ("2026-03-01 08:00", "2026-03-01T07:00:00Z"),
        ("2026-03-01T08:00", "2026-03-01T07:00:00Z"),
    ],
)
def test_times_by_the_clock_on_the_wall(typed: str, utc: str) -> None:
    """The wall is an hour ahead of UTC and shows 16:30; a time of the day alone is the last one that was."""
    assert make({"current": "5"}, at=typed).at == utc


@pytest.mark.parametrize(
    ("typed", "says"), [("25:00", "this is no time"), ("2026-03-02 17:00", "still to come")]
)
def test_times_that_cannot_be(typed: str, says: str) -> None:
    with pytest.raises(PlatingError, match=says):
        make({"current": "5"}, at=typed)
