"""What stands on the survey sheet, as plain words and numbers; :file:`survey_sheet.typ` only sets it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pinseat.case.model import Case
from pinseat.ledger.findings import Finding
from pinseat.mesh.colour import ramp, ticks
from pinseat.mesh.model import Mesh
from pinseat.report.advice import sentence, worst_first
from pinseat.report.inputs import ScanPart
from pinseat.report.pages import (
    Plain,
    case_words,
    finding_lists,
    made_words,
    number_text,
    pin_table,
    window_words,
)
from pinseat.report.rounding import column, decimals, fixed, unit_mark, with_u
from pinseat.report.survey_parts import Measure, Region, UndercutPart
from pinseat.report.survey_picture import letter
from pinseat.report.teeth import both
from pinseat.survey.model import SurveyResult

_SEVERITY = {"stop": 0, "cannot tell": 1, "caution": 2, "clear": 3, None: 4}


def sheet_words(
    case: Case,
    scan: ScanPart | None,
    survey: SurveyResult,
    meta: dict[str, str],
    mesh: Mesh | None,
    undercut: UndercutPart | None,
    regions: Sequence[Region],
    measures: Sequence[Measure],
    closer: Sequence[Finding] = (),
) -> Plain:
    """Everything the sheet says, without its pictures.

    Parameters
    ----------
    case : Case
    scan : ScanPart or None
    survey : SurveyResult
    meta : dict of str to str
        Label and value of each hash or version to print.
    mesh : Mesh or None
        The working copy that undercut and regions belong to.
    undercut : UndercutPart or None
    regions : sequence of Region
    measures : sequence of Measure
    closer : sequence of Finding
        Of the closer look.

    Returns
    -------
    dict
    """
    tabled = {measure.code for measure in measures}
    findings = worst_first((*survey.findings, *(one for one in closer if one.code not in tabled)))
    return {
        "heading": f"Survey sheet, case {case.number}",
        "footer": f"pinseat · case {case.number} · survey · not a medical device",
        "case": case_words(case),
        "verdict": headline(worst_first((*survey.findings, *closer))),
        "pins": pin_table(survey, findings),
        "window": window_words(survey),
        "draw": draw_words(survey),
        "regions": _regions(undercut, regions),
        "undercut": _undercut(undercut),
        "measures": _measures(measures, closer),
        "findings": finding_lists(findings),
        "made": made_words(scan, survey, meta),
    }


def headline(findings: tuple[Finding, ...]) -> Plain:
    """The worst verdict with its reason and number, and what to do about it.

    Parameters
    ----------
    findings : tuple of Finding
        The worst first, as :func:`pinseat.report.advice.worst_first` gives them.
    """
    if not findings:
        return {"word": "cannot tell", "why": "Nothing was checked.", "next": "Run the survey again."}
    worst = findings[0]
    if worst.verdict == "clear":
        go_on = "Nothing needs changing. Go on with the impression."
        return {"word": "clear", "why": sentence(worst.says), "next": go_on}
    place = f" ({worst.where})" if worst.where else ""
    number = number_text(worst)
    why = sentence(f"{worst.says.rstrip('.')}{place}{f': {number}' if number else ''}")
    do = next((f.do for f in findings if f.verdict == worst.verdict and f.do), "")
    return {
        "word": worst.verdict,
        "why": why,
        "next": sentence(do) if do else "Look at what stands below before going on.",
    }


def draw_words(survey: SurveyResult) -> Plain:
    """The draw as two angles against the nearest axis of the coordinates, its origin, and two views to scale.

    The angles are those seen along the other two axes: ``atan(d_i / d_k)`` with *d* the draw, *k* its axis;
    with the decimals that the uncertainty of the window's size leaves.

    Parameters
    ----------
    survey : SurveyResult
    """
    draw = survey.window.centre
    axis = int(np.argmax(np.abs(draw)))
    others = [i for i in range(3) if i != axis]
    angles = [math.degrees(math.atan2(draw[i], abs(draw[axis]))) for i in others]
    times = next((t for t in (20, 10, 5, 2, 1) if t * max(map(abs, angles)) <= 40.0), 1)
    feet = np.mean([pin.foot for pin in survey.field.pins], axis=0)
    stands = _named(axis, draw[axis])
    scanned = survey.field.basis == "scan"
    of = "of the scan" if scanned else "of the sketch (x along the arch, y to lip or cheek)"
    u = survey.window.u_size_deg
    places = min(max(decimals(u), 0), 2) if math.isfinite(u) and u > 0.0 else 2
    shown = [f"{fixed(abs(a), places)}°" for a in angles]
    leans = [f"{text} towards {_named(i, a)}" for i, a, text in zip(others, angles, shown, strict=True)]
    return {
        "angles": f"Leans {leans[0]} and {leans[1]} from {stands}",
        "words": f"{of}, through the middle of the pins' feet at "
        f"({', '.join(fixed(float(x), 2) for x in feet)}) mm.",
        "views": [
            {"turn": times * abs(a), "up": stands, "side": _named(i, a), "angle": text}
            for i, a, text in zip(others, angles, shown, strict=True)
        ],
        "times": "Angles drawn as they are." if times == 1 else f"Angles drawn {times} times as large.",
    }


def _named(axis: int, value: float) -> str:
    return f"{'+' if value >= 0.0 else '−'}{'xyz'[axis]}"


def _regions(undercut: UndercutPart | None, regions: Sequence[Region]) -> list[Plain]:
    area = column([fixed(region.area_mm2, 1) for region in regions])
    rows: list[Plain] = [
        {
            "letter": letter(i),
            "name": f"{both(region.tooth)} {region.kind}",
            "area": area[i],
            "doubt": region.doubt,
        }
        for i, region in enumerate(regions)
    ]
    if undercut is None:
        return rows
    deepest = column([fixed(1000.0 * part.deepest_mm, 0) for part in undercut.regions])
    under = column([fixed(part.area_mm2, 1) for part in undercut.regions])
    fill = column([fixed(part.volume_mm3, 1) for part in undercut.regions])
    for i, (row, part) in enumerate(zip(rows, undercut.regions, strict=True)):
        row |= {"deepest": deepest[i], "under": under[i], "fill": fill[i]}
        row["against"] = "beyond" if part.deepest_mm > undercut.limit_mm else "within"
    return rows


def _undercut(undercut: UndercutPart | None) -> Plain | None:
    """Legend of the colours and the totals of the whole scan."""
    if undercut is None:
        return None
    limit, found = undercut.limit_mm, undercut.map
    shades = ramp([0.0, limit, np.nextafter(limit, np.inf), 2.0 * limit], limit)
    area, volume = float(found.face_area_mm2.sum()), float(found.face_volume_mm3.sum())
    return {
        "shades": shades.tolist(),
        "ticks": [f"{fixed(1000.0 * value, 0)} µm {word}" for value, word in ticks(limit)],
        "source": undercut.limit_source,
        "total": f"Whole scan: {fixed(area, 0)} mm² undercut, {fixed(volume, 0)} mm³ to block out.",
    }


def _measures(measures: Sequence[Measure], closer: Sequence[Finding]) -> list[Plain]:
    """Those beyond their limit first, else as given."""
    verdict = {(found.code, found.where): found.verdict for found in closer}
    ordered = sorted(measures, key=lambda measure: _SEVERITY[verdict.get((measure.code, measure.where))])
    return [
        {
            "verdict": verdict.get((m.code, m.where), ""),
            "where": m.where,
            "says": m.says.rstrip("."),
            "value": with_u(m.value, m.u, m.unit),
            "limit": _limit(m),
        }
        for m in ordered
    ]


def _limit(measure: Measure) -> str:
    if measure.limit is None:
        return "none stated"
    text = fixed(measure.limit, 2).rstrip("0").rstrip(".")
    return f"at {'least' if measure.at_least else 'most'} {text}{unit_mark(measure.unit)}"
