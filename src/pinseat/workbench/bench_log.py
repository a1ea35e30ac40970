"""The bench log on the page: what was done and read, lines for the next entry, and the plating clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from pinseat.case import log
from pinseat.case.log import Entry
from pinseat.errors import CaseError, WorkbenchError
from pinseat.plating.charge import KIND, SWITCHED_OFF
from pinseat.plating.entries import READINGS, entry_of
from pinseat.plating.log_checks import SEEN
from pinseat.workbench.html import tag
from pinseat.workbench.numbers import number

Plain = Mapping[str, Any]
KINDS = ("note", "reading", "inspection", "batch", "instrument checked")
WORDS = ("who", "instrument", "calibrated", "lot", "note")
_SHOWN = 60


def bench_log(folder: Path, plating: Plain | None, pieces: Sequence[str]) -> Markup:
    """The section of the sheet.

    Parameters
    ----------
    folder : Path
        The case folder.
    plating : mapping or None
        How the plating stands by the log.
    pieces : sequence of str
        Names of the plated pieces.
    """
    trouble: Markup | None = None
    entries: tuple[Entry, ...] = ()
    torn = ""
    try:
        read = log.read(folder)
        entries, torn = read.entries, read.torn
    except CaseError as error:
        trouble = tag("p", str(error), class_="needs", role="alert")
    if torn:
        trouble = tag("p", "The last line was torn off by a power cut; it is kept.", class_="needs")
    return tag(
        "section",
        tag("h2", "Bench log", id="head-log"),
        tag("p", "Written down for good the moment it is entered; times in UTC.", class_="question"),
        trouble,
        clock(plating),
        plating_form(pieces),
        other_form(),
        _table(entries),
        aria_labelledby="head-log",
    )


def _table(entries: Sequence[Entry]) -> Markup:
    rows = [
        tag(
            "tr",
            tag("td", tag("time", (one.at or one.time).replace("T", " ")[:16], datetime=one.at or one.time)),
            tag("td", one.kind),
            tag("td", _readings(one)),
            tag(
                "td",
                "; ".join(
                    filter(None, (one.piece, one.seen, one.note, _lot(one), _instrument(one), one.who))
                ),
            ),
        )
        for one in reversed(entries[-_SHOWN:])
    ]
    if not rows:
        return tag("p", "Nothing entered yet.", class_="none")
    heads = ("time", "what", "reading", "more")
    table = tag(
        "table",
        tag("caption", "Newest first", class_="unseen"),
        tag("thead", tag("tr", [tag("th", word, scope="col") for word in heads])),
        tag("tbody", rows),
        class_="log",
    )
    return tag("div", table, class_="wide", tabindex="0", role="group", aria_label="entries, newest first")


def _readings(one: Entry) -> str:
    said = [f"{reading.what} {reading.value:g} {reading.unit}" for reading in one.readings]
    if one.reading is not None:
        said.insert(0, f"{one.reading.value:g} {one.reading.unit}")
    return ", ".join(said)


def _lot(one: Entry) -> str:
    return f"lot {one.lot}" if one.lot else ""


def _instrument(one: Entry) -> str:
    if not one.instrument:
        return ""
    return one.instrument + (
        f", calibrated {one.calibrated}" if one.calibrated else ", calibration not stated"
    )


def _field(name: str, words: str, size: int, **more: Any) -> Markup:
    return tag(
        "label",
        tag("span", words),
        tag("input", name=name, type="text", autocomplete="off", size=size, **more),
    )


def _choice(name: str, words: str, choices: Sequence[str]) -> Markup:
    options = [tag("option", one or "–", value=one) for one in choices]
    return tag("label", tag("span", words), tag("select", options, name=name))


def _words() -> list[Markup]:
    return [
        _field("instrument", "instrument", 11),
        _field("calibrated", "calibrated", 10, placeholder="when, by what"),
        _field("lot", "lot", 7),
        _field("who", "who", 4),
        _field("note", "note", 20),
    ]


def plating_form(pieces: Sequence[str]) -> Markup:
    """Readings at the plating bench, all of one moment together."""
    readings = [
        _field(f"reading {what}", f"{what}, {'°C' if unit == 'degC' else unit}", 6, inputmode="decimal")
        for what, (unit, _, _) in READINGS.items()
    ]
    return tag(
        "form",
        tag("h3", "Plating"),
        readings,
        _choice("piece", "piece", ("", *pieces)),
        _choice("seen", "seen or done", ("", *SEEN, SWITCHED_OFF)),
        _field("at", "at", 6, placeholder="now"),
        _words(),
        tag("input", type="hidden", name="kind", value=KIND),
        tag("button", "Enter", type="submit", class_="accent"),
        class_="log-form",
        aria_label="plating entry",
    )


def other_form() -> Markup:
    """Anything else that was done or read."""
    units = ("mm", "um", "g", "ml", "degC", "min", "mA", "V")
    return tag(
        "form",
        tag("h3", "Anything else"),
        _choice("kind", "what", KINDS),
        _field("value", "reading", 7, inputmode="decimal"),
        _field("unit", "unit", 5, list="units"),
        tag("datalist", [tag("option", value=one) for one in units], id="units"),
        _words(),
        tag("button", "Enter", type="submit"),
        class_="log-form",
        aria_label="log entry",
    )


def clock(plating: Plain | None) -> Markup | None:
    """How the plating stands by the log, for the page to count on from."""
    state = (plating or {}).get("log") or {}
    if plating is None or not state.get("entries"):
        return None
    left = [number(one) for one in plating.get("remaining_h", [])]
    return tag(
        "p",
        "Plating clock",
        class_="clock",
        id="plating-clock",
        role="timer",
        data_last=state.get("last"),
        data_running="yes" if state.get("running") else "no",
        data_on=f"{number(state['charge']['hours_on']) or 0.0:.6f}",
        data_left=" ".join(f"{one:.6f}" for one in left if one is not None),
        title=plating.get("basis") or None,
    )


def typed_entry(asked: Mapping[str, Any], pieces: Sequence[str]) -> Entry:
    """An entry from what was typed into one of the forms.

    Parameters
    ----------
    asked : mapping
        Names of the fields and what stands in them.
    pieces : sequence of str

    Raises
    ------
    PinseatError
        When it says nothing, or a number cannot be; nothing is written then.
    """
    words = {key: str(asked.get(key, "")).strip() for key in WORDS}
    kind = str(asked.get("kind", "")).strip()
    if kind == KIND:
        typed = {what: _typed(asked, f"reading {what}") for what in READINGS}
        seen = str(asked.get("seen", ""))
        return entry_of(
            typed,
            pieces,
            piece=str(asked.get("piece", "")),
            seen="" if seen == SWITCHED_OFF else seen,
            switched_off=seen == SWITCHED_OFF,
            at=str(asked.get("at", "")).strip(),
            words=words,
        )
    value, unit = _typed(asked, "value"), str(asked.get("unit", "")).strip()
    if kind not in KINDS:
        raise WorkbenchError("a line of the log says what was done", value=kind, limit=", ".join(KINDS))
    if value is not None and not unit:
        raise WorkbenchError("a reading needs its unit", value=value, do="type it beside: mA, g, mm")
    if value is None and not any(words.values()):
        raise WorkbenchError("there is nothing to log", do="give a reading or a note")
    reading = {"value": value, "unit": unit} if value is not None else None
    try:
        return Entry.model_validate({"kind": kind, "reading": reading, **words})
    except ValueError:
        raise WorkbenchError(
            "this is not a number", value=value or "", limit="a number such as 18,42"
        ) from None


def _typed(asked: Mapping[str, Any], key: str) -> str | None:
    return str(asked.get(key) or "").strip() or None
