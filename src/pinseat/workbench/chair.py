"""The chair card: readable from a metre, worked with the space bar."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from pinseat.report.advice import sentence
from pinseat.report.rounding import fixed
from pinseat.report.titles import step_title
from pinseat.workbench import numbers
from pinseat.workbench.html import tag
from pinseat.workbench.view import View


def card(view: View) -> Markup:
    """One verdict word, one number, the next thing to do, timers, and the tally of pins."""
    seat = view.payload("seating")
    word = str(seat["verdict"]) if seat is not None else "not computed"
    return tag(
        "main",
        tag("p", f"case {view.draft.document.get('number', view.name)}", class_="who"),
        tag("h1", word, class_=f"verdict {word.replace(' ', '-')}", id="word"),
        tag("p", _number(seat), class_="number", id="number"),
        tag("p", next_action(view), class_="next", id="next"),
        _clock(timers(view)),
        _tally(view),
        tag(
            "p",
            "Space: start the clock, then tick the next pin. Backspace: one back. Escape: to the sheet.",
            class_="hint",
        ),
        class_="card",
    )


def _number(seat: Mapping[str, Any] | None) -> str:
    if seat is None:
        return "run the case first"
    return f"opening {numbers.opening_words(seat)}"


def next_action(view: View) -> str:
    """What to do now: what stops the work at any step, what the report says, or why the verdict stands."""
    for step in view.steps:
        for one in view.findings(step):
            if one.verdict == "stop" and one.do:
                return f"{', '.join(filter(None, (step_title(step), one.where)))}. {sentence(one.do)}"
    if told := (view.payload("report") or {}).get("next"):
        return str(told)
    seat = view.payload("seating")
    if seat is None:
        return "State what is missing and run the case."
    return "Run the case to its report." if seat["verdict"] == "goes home" else sentence(str(seat["why"]))


def timers(view: View) -> list[tuple[str, float, str]]:
    """What is to be done when, in minutes from the start, with a note: the timetable of the impression."""
    held = (view.payload("impression") or {}).get("timetable", [])
    found = []
    for one in held:
        minutes = numbers.number(one.get("at_min"))
        if minutes is not None and math.isfinite(minutes):
            found.append((str(one.get("do", "")), minutes, str(one.get("note", ""))))
    return found


def _clock(found: list[tuple[str, float, str]]) -> Markup:
    items = [
        tag(
            "li",
            tag("span", name, class_="name"),
            tag("span", at_clock(minutes)),
            data_minutes=f"{minutes:.4f}",
            title=note or None,
        )
        for name, minutes, note in found
    ]
    return tag(
        "section",
        tag("p", "0:00", id="clock", class_="clock", role="timer", aria_label="time since start"),
        tag("ol", items, class_="times", id="times") if items else None,
        tag("p", "", id="soon", class_="soon", role="status"),
        class_="timing",
    )


def at_clock(minutes: float) -> str:
    """Minutes as the clock shows them.

    Examples
    --------
    >>> at_clock(2.6), at_clock(1447.9)
    ('2:36', '24 h 8 min')
    """
    seconds = round(60.0 * minutes)
    if seconds < 5400:
        return f"{seconds // 60}:{seconds % 60:02d}"
    whole = round(minutes)
    return f"{whole // 60} h {whole % 60} min"


def _tally(view: View) -> Markup:
    survey = view.payload("survey")
    names = [f"{p['tooth']}-{p['number']}" for p in survey["field"]["pins"]] if survey is not None else []
    boxes = [
        tag("li", tag("button", name, type="button", aria_pressed="false", data_pin=name)) for name in names
    ]
    return tag(
        "section",
        tag("p", f"pins 0 of {fixed(len(names), 0)}", id="count", role="status"),
        tag("ol", boxes, class_="tally", id="tally"),
        class_="pins",
    )
