"""What stands on the pages, as plain words and numbers; :file:`report.typ` only sets it."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from typing import Any

from pinseat.case.model import Case
from pinseat.casting.model import CastingResult
from pinseat.ledger.findings import Finding
from pinseat.ledger.rows import Entry
from pinseat.reference import Value
from pinseat.report.advice import all_findings, next_action, opening_at, sentence, why
from pinseat.report.assumptions import assumptions
from pinseat.report.cautions import cautions
from pinseat.report.inputs import ScanPart
from pinseat.report.lean import lean_size_deg
from pinseat.report.rounding import Cell, chance, column, fixed, pair, typeset, unit_mark, whole, with_u
from pinseat.report.teeth import both
from pinseat.seating.model import Lever, SeatingResult
from pinseat.survey.model import SurveyResult

Plain = dict[str, Any]
"""Only strings, numbers, lists and dicts: what JSON can carry."""

_BASIS_LETTER = {
    "measured here": "m",
    "published": "p",
    "common practice": "c",
    "from memory": "r",
    "assumed": "a",
}
_BASIS_WORDS = {"from memory": "remembered, not looked up"}
_META_WORDS = {
    "code": "code version",
    "reference": "reference data",
    "case": "case hash",
    "input": "input hash",
}
_WORD_LIMIT = 28


def clean(text: str) -> str:
    """A person's text made safe to set: no control characters, and long words may be broken.

    Examples
    --------
    >>> clean("one\\ntwo"), clean("x" * 30) == "x" * 28 + "\\u200b" + "xx"
    ('one two', True)
    """
    text = text.encode("utf-8", "replace").decode("utf-8")
    text = "".join(" " if unicodedata.category(letter) in ("Cc", "Zl", "Zp") else letter for letter in text)
    return typeset(re.sub(rf"(\S{{{_WORD_LIMIT}}})(?=\S)", "\\1\u200b", text).strip())


def tidy(plain: Any) -> Any:
    """Clean every string inside a page's content."""
    if isinstance(plain, str):
        return clean(plain)
    if isinstance(plain, dict):
        return {key: tidy(value) for key, value in plain.items()}
    return [tidy(value) for value in plain] if isinstance(plain, list | tuple) else plain


def content(
    case: Case,
    scan: ScanPart | None,
    survey: SurveyResult,
    casting: CastingResult,
    seating: SeatingResult,
    meta: dict[str, str],
    used: Sequence[Value] = (),
) -> Plain:
    """Everything the report says, without its pictures.

    Parameters
    ----------
    case : Case
    scan : ScanPart or None
    survey : SurveyResult
    casting : CastingResult
    seating : SeatingResult
    meta : dict of str to str
        Label and value of each hash or version to print.
    used : sequence of Value
        Reference values that the steps looked up.

    Returns
    -------
    dict
    """
    findings = all_findings(survey, casting, seating)
    return {
        "heading": f"Seat report, case {case.number}",
        "footer": f"pinseat · case {case.number} · {seating.verdict} · not a medical device",
        "case": case_words(case),
        "verdict": _verdict(survey, casting, seating),
        "pins": pin_table(survey, findings),
        "window": window_words(survey),
        "ledger": _ledger(casting),
        "opening": _opening(seating),
        "shares": _shares(seating),
        "levers": _levers(seating),
        "findings": finding_lists(findings),
        "assumptions": [
            {"what": a.what, "value": a.value, "basis": a.basis, "source": a.source}
            for a in assumptions(case, survey, casting, used)
        ],
        "cautions": list(cautions(case)),
        "made": [
            *made_words(scan, survey, meta),
            ["seed", str(seating.seed)],
            ["trials", whole(seating.trials)],
        ],
    }


def case_words(case: Case) -> Plain:
    """Number, title and bridge of a case."""
    retainers = ", ".join(f"{both(a.tooth)} with {_count(a.pins, 'pin')}" for a in case.abutments)
    missing = ", ".join(both(tooth) for tooth in case.missing)
    chain = case.chain
    return {
        "number": f"case {case.number}",
        "title": case.title,
        "bridge": f"Replaces {missing or 'no tooth'}. Retainers {retainers}. Teeth by FDI (ISO 3950), "
        f"Universal in brackets. Copies: {chain.impression}, {chain.die} die, {chain.pattern}, "
        f"{chain.investment} investment, {chain.alloy}.",
    }


def meta_words(meta: dict[str, str]) -> str:
    """Versions and hashes in a line, long hashes cut."""
    return "; ".join(f"{label} {value[:24]}" for label, value in meta.items())


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def _verdict(survey: SurveyResult, casting: CastingResult, seating: SeatingResult) -> Plain:
    wanted = fixed(100.0 * seating.wanted_probability, 0)
    bound = opening_at(seating, seating.wanted_probability)
    limit, tight = fixed(seating.limit_um, 0), fixed(seating.tight_limit_um, 0)
    facts = [
        {
            "head": f"chance of going home within {limit} µm",
            "value": chance(seating.chance, seating.trials),
            "below": f"wanted {wanted} %; ± is that of counting bridges",
        },
        {
            "head": f"within {tight} µm",
            "value": chance(seating.chance_tight, seating.trials),
            "below": "a tight margin",
        },
        {
            "head": "marginal opening",
            "value": f"up to {fixed(bound, 0)} µm" if math.isfinite(bound) else "cannot go on",
            "below": f"in {wanted} of 100 bridges; limit {limit} µm"
            if math.isfinite(bound)
            else f"in more than {fixed(100.0 - 100.0 * seating.wanted_probability, 0)} of 100 bridges",
        },
    ]
    return {
        "word": seating.verdict,
        "why": why(seating),
        "next": next_action(survey, casting, seating),
        "facts": facts,
    }


def pairs(values: list[tuple[float, float | None]], places: int) -> list[tuple[Cell, Cell]]:
    """A column of values and their uncertainties, decimal points in line; `places` where there is none."""
    texts = [pair(value, u, places) for value, u in values]
    return list(zip(column([t[0] for t in texts]), column([t[1] for t in texts]), strict=True))


def pin_table(survey: SurveyResult, findings: tuple[Finding, ...]) -> Plain:
    """A row a pin, with the numbers of the findings that name it, and how to read the table."""
    pins, allowed = survey.field.pins, survey.window.allowance_deg
    lean, u_lean = lean_size_deg(survey.field, survey.window.centre)
    diameter = pairs([(p.diameter_mm, p.u_diameter_mm) for p in pins], 3)
    protrusion = pairs([(p.protrusion_mm, p.u_protrusion_mm) for p in pins], 2)
    leaning = pairs([(float(t), float(u)) for t, u in zip(lean, u_lean, strict=True)], 2)
    allows = column([fixed(allowed.get(p.name, math.nan), 2) for p in pins])
    rows = [
        {
            "tooth": both(pin.tooth),
            "pin": pin.name,
            "diameter": diameter[i],
            "protrusion": protrusion[i],
            "lean": leaning[i],
            "allows": allows[i],
            "findings": _about(pin.name, findings),
        }
        for i, pin in enumerate(pins)
    ]
    how = "fitted to the scan" if survey.field.basis == "scan" else "from calliper readings"
    note = (
        f"Pins {how}; ± is one standard uncertainty. The draw is the centre of the draw window. "
        "“Hole allows” is the lean at which a pin with its clearance binds over the engaged length."
    )
    if survey.rejected:
        note += f" Not taken for pins: {'; '.join(r.reason for r in survey.rejected[:3])}"
        more = len(survey.rejected) - 3
        note += f"; and {more} more." if more > 0 else "."
    return {"rows": rows, "note": note}


def _about(name: str, findings: tuple[Finding, ...]) -> str:
    """The findings that name a pin, by their numbers in the list: ``stop 2, 6; caution 9``."""
    about: dict[str, list[str]] = {}
    for i, finding in enumerate(findings, 1):
        if name in re.findall(r"\d\d-\d+", finding.where):
            about.setdefault(finding.verdict, []).append(str(i))
    open_ = [f"{verdict} {', '.join(numbers)}" for verdict, numbers in about.items() if verdict != "clear"]
    return "; ".join(open_) or ("clear" if about else "none")


def window_words(survey: SurveyResult) -> Plain:
    """The size of the draw window in words, and how to read its map."""
    window = survey.window
    size = with_u(abs(window.size_deg), window.u_size_deg, "deg")
    limits = (
        f"Limited by {_listed([_of(name, survey) for name in window.limited_by])}."
        if window.limited_by
        else ""
    )
    if window.size_deg >= 0.0:
        number = size
        binds = "something" if survey.regions else "a pin"
        sentence = (
            f"The draw may lean this far from the best one, in its worst direction, before {binds} binds."
        )
    else:
        number = f"{size} short"
        sentence = "No single draw serves all pins: the holes would have to allow this much more lean."
        if any(name not in window.allowance_deg for name in window.limited_by):
            sentence = "No single draw serves all: each of what limits it lacks this much."
    if abs(window.size_deg) < 2.0 * window.u_size_deg:
        sentence += " That is less than twice its own uncertainty."
    return {
        "number": number,
        "sentence": sentence,
        "limits": limits,
        "key": "Cross: best draw. Dot: a pin's axis, with its 95 % ellipse. Circle: the lean its hole "
        "allows, dashed where it limits the draw. Shaded: draws that serve "
        + ("all; thick border: a wall or groove." if window.borders_deg else "every pin."),
        "alt": f"Map of the draw window in degrees: {number}. {limits}",
    }


def _of(name: str, survey: SurveyResult) -> str:
    return f"pin {name}" if name in survey.window.allowance_deg else f"the {name}"


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _ledger(casting: CastingResult) -> Plain:
    rows: list[Plain] = [{"copy": row.copy, "route": row.route} for row in casting.fit.rows]
    places = {"scale": 2, "position": 0, "tilt": 2, "depth": 0}
    net = casting.fit.net_scale
    for name, digits in places.items():
        entries: list[Entry] = [getattr(row, name) for row in casting.fit.rows]
        if name == "scale":
            entries.append(net)
        cells = pairs([(e.mean, e.u) for e in entries], digits)
        plain = [
            {"mean": cell[0], "u": cell[1], "letter": _BASIS_LETTER[e.basis]}
            for cell, e in zip(cells, entries, strict=True)
        ]
        for row, item in zip(rows, plain, strict=False):
            row[name] = item
        if name == "scale":
            last = {**plain[-1], "letter": ""}
    used = {getattr(row, name).basis for row in casting.fit.rows for name in places}
    span = with_u(casting.span_error_um, casting.u_span_error_um, "um", 0)
    return {
        "rows": rows,
        "net": last,
        "span": f"over the {fixed(casting.span_mm, 1)} mm between the farthest pins: {span}",
        "key": [[letter, _BASIS_WORDS.get(b, b)] for b, letter in _BASIS_LETTER.items() if b in used],
        "note": "Mean ± one standard uncertainty. Position and tilt: each direction across the pin. Depth "
        "positive: pin stands too far out, cast pin too long.",
    }


def _opening(seating: SeatingResult) -> Plain:
    enter = chance(seating.entry_failures, seating.trials)
    return {
        "note": f"{whole(seating.trials)} virtual bridges. Pins that cannot enter their holes: {enter}. "
        "Filled: within the limit; hatched: beyond it.",
        "alt": "Histogram of the marginal opening in micrometres with both limits.",
    }


def _shares(seating: SeatingResult) -> Plain:
    said = ", ".join(f"{s.group} {with_u(s.total_index, s.standard_error, '')}" for s in seating.shares)
    return {
        "note": "Total-order index: the part of the spread in clearance lacking that would be left if all "
        "other groups were known exactly; interactions count in each group, so they may add to more than 1.",
        "alt": f"Bars: {said}",
    }


def _levers(seating: SeatingResult) -> list[Plain]:
    levers = seating.levers[:3]
    gain = pairs([(100.0 * lever.gain, 100.0 * lever.u_gain) for lever in levers], 1)
    lacking = column([fixed(lever.gain_lacking_um, 0) for lever in levers])
    return [
        {
            "number": str(i + 1),
            "change": sentence(lever.in_full),
            "before": chance(lever.before, lever_trials(lever, seating)),
            "after": chance(lever.after, lever_trials(lever, seating)),
            "gain": gain[i],
            "lacking": lacking[i],
        }
        for i, lever in enumerate(levers)
    ]


def lever_trials(lever: Lever, seating: SeatingResult) -> int:
    """How many bridges a lever was counted on: from its own standard error, ``p (1 - p) / se^2``."""
    before = lever.before
    if before.standard_error <= 0.0:
        return seating.trials
    counted = before.probability * (1.0 - before.probability) / before.standard_error**2
    return max(min(round(counted), seating.trials), 1)


def number_text(finding: Finding) -> str:
    """The number of a finding with its limit, such as ``0.62 ± 0.10°, limit 0.44°``; empty without either."""
    parts = []
    if finding.value is not None:
        parts.append(with_u(finding.value, finding.uncertainty, finding.unit))
    if finding.limit is not None:
        parts.append(f"limit {_short(finding.limit)}{unit_mark(finding.unit)}")
    return ", ".join(parts)


def _short(value: float) -> str:
    return fixed(value, 3).rstrip("0").rstrip(".") if math.isfinite(value) else fixed(value, 0)


def finding_lists(findings: tuple[Finding, ...]) -> Plain:
    """Open findings, numbered in their order, and those that are clear."""
    numbered = list(enumerate(findings, 1))
    return {
        "open": [
            {
                "number": str(i),
                "verdict": f.verdict,
                "where": sentence(f.where or "whole case"),
                "says": sentence(f.says),
                "number_text": sentence(number_text(f)) if number_text(f) else "",
                "source": sentence(f.limit_source),
                "do": sentence(f.do),
            }
            for i, f in numbered
            if f.verdict != "clear"
        ],
        "clear": _clear([f for f in findings if f.verdict == "clear"]),
    }


def _clear(findings: list[Finding]) -> list[str]:
    """What is in order, places that share one sentence together."""
    places: dict[str, list[str]] = {}
    for finding in findings:
        places.setdefault(finding.says.rstrip("."), []).append(finding.where)
    return [
        f"{says} ({', '.join(filter(None, where))})" if any(where) else says for says, where in places.items()
    ]


def made_words(scan: ScanPart | None, survey: SurveyResult, meta: dict[str, str]) -> list[list[str]]:
    """What was measured, how sound it is, and which versions made the document of it: label and words."""
    made = []
    if scan is not None:
        made.append(
            ["scan", f"{scan.file}, {scan.format}, in {scan.unit}, {whole(scan.triangles)} triangles"]
        )
        if scan.health:
            made.append(["surface", " ".join(scan.health)])
        if scan.working_copy:
            made.append(["working copy", " ".join(scan.working_copy)])
    else:
        made.append(["measured by", "callipers only; no scan"])
    if survey.blind:
        made.append(["not seen", "; ".join(survey.blind)])
    return made + [[_META_WORDS.get(label, label), value] for label, value in meta.items()]
