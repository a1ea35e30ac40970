"""Numbers of a result on the page: with unit, uncertainty, basis and source."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from markupsafe import Markup

from pinseat import reference
from pinseat.case.rebuild import rebuild
from pinseat.case.results import Stored
from pinseat.errors import ReferenceValueError
from pinseat.ledger.findings import Finding
from pinseat.ledger.pins import PinField
from pinseat.report.lean import lean_size_deg
from pinseat.report.rounding import fixed, unit_mark, with_u
from pinseat.report.teeth import both
from pinseat.workbench.html import tag
from pinseat.workbench.words import plain, unit_of

Plain = Mapping[str, Any]

_LETTERS = {
    "measured here": "measured",
    "published": "published",
    "common practice": "common practice",
    "from memory": "from memory",
    "assumed": "assumed",
}
_MOST_ROWS = 60


def basis(word: str, source: str = "") -> Markup:
    """What a number rests on; its source on demand."""
    shown = _LETTERS.get(word, word)
    if not source:
        return tag("span", shown, class_="basis")
    return tag("details", tag("summary", shown), tag("p", source), class_="basis")


def number(value: Any) -> float | None:
    """A stored number; None where there is none."""
    if isinstance(value, bool) or value is None:
        return None
    if isinstance(value, str):
        return {"infinite": math.inf, "minus infinite": -math.inf}.get(value)
    return float(value) if isinstance(value, int | float) else None


def short(value: float, unit: str) -> str:
    """A number without needless digits.

    Examples
    --------
    >>> short(0.44, "deg"), short(120.0, "um")
    ('0.44°', '120 µm')
    """
    digits = fixed(value, 3)
    return (digits.rstrip("0").rstrip(".") if "." in digits else digits) + unit_mark(unit)


def size_words(size: int) -> str:
    """A size of a file.

    Examples
    --------
    >>> size_words(900), size_words(1_500_000)
    ('0.9 kB', '1.5 MB')
    """
    return f"{size / 1e6:.1f} MB" if size >= 1e5 else f"{size / 1e3:.1f} kB"


def headline(step: str, payload: Plain | None, found: Sequence[Finding]) -> str:
    """The one number of a step for the strip, in micrometres where it is a length."""
    if payload is None:
        return ""
    if step == "seating":
        return opening_words(payload)
    if step == "casting" and number(payload.get("span_error_um")) is not None:
        return with_u(float(payload["span_error_um"]), number(payload.get("u_span_error_um")), "um", 0)
    for wanted in (("um", "mm"), None):
        for one in found:
            if one.value is not None and math.isfinite(one.value) and (wanted is None or one.unit in wanted):
                scale = 1000.0 if one.unit == "mm" and abs(one.value) < 1.0 else 1.0
                unit = "um" if scale > 1.0 else one.unit
                u = one.uncertainty * scale if one.uncertainty is not None else None
                return with_u(one.value * scale, u, unit, 0 if unit == "um" else 2)
    return ""


def chance_line(seat: Plain) -> str:
    """The chance of going home in one line."""
    chance = seat["chance"]
    words = with_u(100.0 * chance["probability"], 100.0 * chance["standard_error"], "%", 1)
    wanted = fixed(100.0 * seat["wanted_probability"], 0)
    return f"{words} within {short(seat['limit_um'], 'um')}, {wanted} % wanted"


def opening_words(seat: Plain) -> str:
    """The opening that the wanted share of bridges keeps within."""
    share = float(seat["wanted_probability"])
    at = [float(q) for q in seat["quantiles"]]
    opening = [number(value) for value in seat["opening_um"]]
    for i in range(len(at) - 1):
        low, high = opening[i], opening[i + 1]
        if at[i] <= share <= at[i + 1] and low is not None and high is not None:
            if not math.isfinite(high):
                break
            value = low + (high - low) * (share - at[i]) / max(at[i + 1] - at[i], 1e-12)
            return f"≤ {fixed(value, 0)} µm"
    return "does not go on"


def fit_table(casting: Plain) -> Markup:
    """The fit ledger as a table."""
    rows = [
        tag(
            "tr",
            tag("th", row["copy"], tag("span", row["route"], class_="route"), scope="row"),
            [tag("td", _entry(row[name]), class_="num") for name in ("scale", "position", "tilt", "depth")],
        )
        for row in casting["fit"]["rows"]
    ]
    net = casting["fit"]["net_scale"]
    span = with_u(casting["span_error_um"], casting["u_span_error_um"], "um", 0)
    heads = ("copy", "scale %", "position µm", "tilt °", "depth µm")
    return tag(
        "table",
        tag("caption", "Fit ledger"),
        tag("thead", tag("tr", [tag("th", word, scope="col") for word in heads])),
        tag("tbody", rows),
        tag(
            "tfoot",
            tag(
                "tr",
                tag("th", "net", scope="row"),
                tag("td", _value(net, marked=False), class_="num"),
                tag("td", f"{span} over {fixed(casting['span_mm'], 1)} mm", colspan=3),
            ),
        ),
        class_="ledger",
    )


def _entry(entry: Plain) -> Markup:
    return tag(
        "details",
        tag(
            "summary", _value(entry, marked=False), tag("span", _LETTERS[entry["basis"]][0], class_="letter")
        ),
        tag("p", f"{_LETTERS[entry['basis']]}: {entry['source']}"),
        class_="cell",
    )


def _value(entry: Plain, *, marked: bool) -> str:
    places = {"%": 2, "um": 0, "deg": 2}[entry["unit"]]
    text = with_u(float(entry["mean"]), number(entry["u"]), entry["unit"] if marked else "", places)
    return re.sub(r"^[0.]+ (?=±)", "", text) if float(entry["mean"]) == 0.0 else text


def special(step: str, payload: Plain) -> Markup | None:
    """What a step shows in its own way; nothing of a result that another release wrote in another shape."""
    if step == "survey":
        try:
            return _pins(payload)
        except (KeyError, TypeError, ValueError):
            return None
    return _seat(payload) if step == "seating" else None


def _pins(payload: Plain) -> Markup:
    field = rebuild(PinField, payload["field"])
    leans = zip(*lean_size_deg(field, np.array(payload["window"]["centre"])), strict=True)
    fits = {fit["name"]: fit for fit in payload.get("fits", [])}
    rows = []
    for pin, (lean, u_lean) in zip(field.pins, leans, strict=True):
        fit = fits.get(pin.name)
        allowed = payload["window"]["allowance_deg"].get(pin.name)
        rows.append(
            tag(
                "tr",
                tag(
                    "th", tag("button", pin.name, type="button", class_="pin", data_pin=pin.name), scope="row"
                ),
                tag("td", both(pin.tooth)),
                tag("td", with_u(pin.diameter_mm, pin.u_diameter_mm, ""), class_="num"),
                tag("td", with_u(pin.protrusion_mm, pin.u_protrusion_mm, ""), class_="num"),
                tag("td", with_u(float(lean), float(u_lean), ""), class_="num"),
                tag("td", fixed(allowed, 2) if allowed is not None else "", class_="num"),
                tag("td", ("stated" if fit["stated"] else "scan") if fit else "callipers"),
            )
        )
    heads = ("pin", "tooth", "diameter mm", "protrusion mm", "lean °", "hole allows °", "from")
    table = tag(
        "table",
        tag("caption", "Pins as they stand; ± is one standard uncertainty"),
        tag("thead", tag("tr", [tag("th", word, scope="col") for word in heads])),
        tag("tbody", rows),
        class_="pins",
    )
    window = payload["window"]
    size = with_u(abs(window["size_deg"]), window["u_size_deg"], "deg")
    words = "to spare" if window["size_deg"] >= 0 else "short"
    limited = f", limited by {' and '.join(window['limited_by'])}" if window["limited_by"] else ""
    return tag(
        "div",
        tag("p", f"Draw window: {size} {words}{limited}.", class_="lead"),
        wide(table, "pins"),
        tag("p", "Not seen: " + "; ".join(payload["blind"]) + ".", class_="needs")
        if payload.get("blind")
        else None,
    )


def _seat(payload: Plain) -> Markup:
    levers = [
        tag(
            "li",
            tag("strong", lever["change"]),
            f" ({lever['caution']})" if lever.get("caution") else "",
            f": chance up {with_u(100.0 * lever['gain'], 100.0 * lever['u_gain'], '', 1)} points, "
            f"{fixed(lever['gain_lacking_um'], 0)} µm more clearance",
        )
        for lever in payload.get("levers", [])
    ]
    shares = [
        tag(
            "tr",
            tag("th", share["group"], scope="row"),
            tag(
                "td",
                tag(
                    "meter",
                    value=round(min(share["total_index"], 1.0), 3),
                    min=0,
                    max=1,
                    aria_label=share["group"],
                ),
            ),
            tag("td", with_u(share["total_index"], share["standard_error"], ""), class_="num"),
        )
        for share in payload.get("shares", [])[:8]
    ]
    return tag(
        "div",
        tag(
            "p",
            f"{chance_line(payload)}. Opening {opening_words(payload)} in that many bridges.",
            class_="lead",
        ),
        _histogram(payload),
        tag("h3", "What to change"),
        tag("ol", levers) if levers else tag("p", "No single change helps.", class_="none"),
        tag("h3", "Which copy loses the fit"),
        wide(tag("table", tag("tbody", shares), class_="shares"), "which copy loses the fit"),
    )


def _histogram(payload: Plain) -> Markup | None:
    """Openings of the virtual bridges as bars, with the limit."""
    edges = [number(one) or 0.0 for one in payload["histogram_um"]]
    counts = [int(one) for one in payload["histogram_count"]]
    if not counts or max(counts) == 0 or edges[-1] <= edges[0]:
        return None
    wide, high, top = 640.0, 120.0, max(counts)
    scale = wide / (edges[-1] - edges[0])
    limit = float(payload["limit_um"])
    bars = []
    for i, count in enumerate(counts):
        tall = high * count / top
        beyond = edges[i] >= limit
        bars.append(
            tag(
                "rect",
                x=round((edges[i] - edges[0]) * scale, 2),
                y=round(high - tall, 2),
                width=round(max((edges[i + 1] - edges[i]) * scale - 0.6, 0.4), 2),
                height=round(tall, 2),
                class_="beyond" if beyond else "within",
            )
        )
    at = (limit - edges[0]) * scale
    inside = 0.0 <= at <= wide
    ticks = [
        tag(
            "text",
            short(edges[0] + share * (edges[-1] - edges[0]), ""),
            x=round(share * wide, 1),
            y=high + 16,
            **{"text-anchor": "start" if share == 0 else "end" if share == 1 else "middle"},
        )
        for share in (0.0, 0.5, 1.0)
    ]
    drawn = tag(
        "svg",
        bars,
        tag("line", x1=0, x2=wide, y1=high, y2=high, class_="axis"),
        [
            tag("line", x1=round(at, 1), x2=round(at, 1), y1=-6, y2=high, class_="limit-line"),
            tag("text", f"limit {short(limit, 'um')}", x=round(at - 4, 1), y=6, **{"text-anchor": "end"}),
        ]
        if inside
        else None,
        ticks,
        viewBox=f"-4 -10 {wide + 8:g} {high + 32:g}",
        role="img",
        aria_label=f"Openings of the virtual bridges in micrometres, limit {short(limit, 'um')}",
        class_="histogram",
    )
    return tag(
        "figure",
        drawn,
        tag("figcaption", "Marginal opening of the virtual bridges, µm; hatched beyond the limit"),
    )


def all_numbers(payload: Plain) -> Markup | None:
    """Every number of a result that is small enough for a page, behind one line."""
    scalars, tables = _walk(payload, "")
    if not scalars and not tables:
        return None
    rows = [
        tag("tr", tag("th", words, scope="row"), tag("td", value), tag("td", basis("computed")))
        for words, value in scalars
    ]
    if rows:
        tables.insert(0, ("numbers", tag("table", tag("tbody", rows), class_="plain")))
    return tag(
        "details",
        tag("summary", "All numbers of this step"),
        [wide(table, words) for words, table in tables],
        class_="more",
    )


def wide(table: Markup, words: str) -> Markup:
    """A table that scrolls sideways by itself where there is no room for it."""
    return tag("div", table, class_="wide", tabindex="0", role="group", aria_label=words)


def _walk(payload: Plain, above: str) -> tuple[list[tuple[str, str]], list[tuple[str, Markup]]]:
    scalars: list[tuple[str, str]] = []
    tables: list[tuple[str, Markup]] = []
    for key, held in payload.items():
        if key in ("findings", "files", "covariance") or key.startswith("u_") or key == "standard_error":
            continue
        words = f"{above}{plain(key)}"
        if isinstance(held, Mapping):
            inner = _walk(held, f"{words}: ")
            scalars += inner[0]
            tables += inner[1]
        elif isinstance(held, list) and held and all(isinstance(one, Mapping) for one in held):
            tables.append((words, _small_table(words, held)))
        elif not isinstance(held, list) or (
            0 < len(held) <= 4 and all(not isinstance(one, list) for one in held)
        ):
            text = _text(key, held, payload)
            if text:
                scalars.append((words, text))
    return scalars, tables


def _text(key: str, held: Any, beside: Plain) -> str:
    if held is None:
        return "not measured"
    if isinstance(held, bool):
        return "yes" if held else "no"
    if isinstance(held, list):
        return ", ".join(_text(key, one, {}) for one in held)
    value = number(held)
    if value is None:
        return str(held)
    u = number(beside.get(f"u_{key}"))
    if u is None and "standard_error" in beside:
        u = number(beside["standard_error"])
    if isinstance(held, int) and u is None:
        return f"{held} {unit_of(key)}".strip()
    text = with_u(value, u, "") if u else _short(value, unit_of(key))
    return f"{text} {unit_of(key)}".strip() if math.isfinite(value) else "not known"


def _short(value: float, unit: str) -> str:
    """A number that says no more than anyone reads off it: tenths of a micrometre, micrometres in mm."""
    places = {"µm": 1, "mm": 3, "°": 3}.get(unit)
    if places is None or not 10.0**-places <= abs(value) < math.inf:
        return f"{value:.5g}".replace("-", "−")
    return fixed(value, places)


def _small_table(words: str, rows: Sequence[Plain]) -> Markup:
    first = rows[0]
    keys = [
        key
        for key, held in first.items()
        if not isinstance(held, list | Mapping) and not key.startswith("u_") and key != "standard_error"
    ]
    body = [
        tag("tr", [tag("td", _text(key, row.get(key), row)) for key in keys]) for row in rows[:_MOST_ROWS]
    ]
    more = len(rows) - _MOST_ROWS
    return tag(
        "table",
        tag("caption", words + (f", the first {_MOST_ROWS}; {more} more in the file" if more > 0 else "")),
        tag("thead", tag("tr", [tag("th", plain(key), scope="col") for key in keys])),
        tag("tbody", body),
        class_="plain",
    )


def values_used(stored: Stored | None) -> Markup | None:
    """Reference values a step looked up, each with basis and source."""
    names = stored.meta.get("values", "").split() if stored is not None else []
    rows = []
    for name in names:
        try:
            held = reference.value(name)
        except ReferenceValueError:
            continue  # of another release
        unit = "" if held.unit == "1" else held.unit
        text = (
            f"{held.value:g}{unit_mark(unit)}"
            if held.uncertainty is None
            else with_u(held.value, held.uncertainty, unit)
        )
        rows.append(
            tag(
                "tr",
                tag("th", held.conditions, scope="row"),
                tag("td", text, class_="num"),
                tag("td", basis(held.basis, f"{held.reference}. {held.note}")),
            )
        )
    if not rows:
        return None
    return tag(
        "details",
        tag("summary", f"{len(rows)} values it took from elsewhere"),
        wide(tag("table", tag("tbody", rows), class_="plain"), "values taken from elsewhere"),
        class_="more",
    )
