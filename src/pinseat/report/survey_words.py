"""What stands on the survey sheet, as plain words and numbers; :file:`survey_sheet.typ` only sets it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.ledger.findings import Finding
from pinseat.mesh.colour import ramp, ticks
from pinseat.mesh.model import Mesh
from pinseat.report.advice import all_findings, sentence, worst_first
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

    Returns
    -------
    dict
    """
    findings = all_findings(survey)
    measured = [_as_finding(measure) for measure in measures if measure.verdict is not None]
    return {
        "heading": f"Survey sheet, case {case.number}",
        "footer": f"pinseat · case {case.number} · survey · not a medical device",
        "case": case_words(case),
        "verdict": headline(worst_first((*findings, *measured))),
        "pins": pin_table(survey, findings),
        "window": window_words(survey),
        "draw": draw_words(survey),
        "regions": _regions(mesh, undercut, regions) if mesh is not None else [],
        "undercut": _undercut(undercut),
        "measures": _measures(measures),
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


def _regions(mesh: Mesh, undercut: UndercutPart | None, regions: Sequence[Region]) -> list[Plain]:
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
    parts = [_undercut_of(mesh, undercut, region.faces) for region in regions]
    for name, places in (("deepest", 0), ("under", 1), ("fill", 1)):
        scale = 1000.0 if name == "deepest" else 1.0
        for row, cell in zip(rows, column([fixed(scale * p[name], places) for p in parts]), strict=True):
            row[name] = cell
    for row, part in zip(rows, parts, strict=True):
        row["against"] = "beyond" if part["deepest"] > undercut.limit_mm else "within"
    return rows


def _undercut_of(mesh: Mesh, undercut: UndercutPart, faces: NDArray[np.integer]) -> dict[str, float]:
    found = undercut.map
    return {
        "deepest": float(found.depth_mm[mesh.faces[faces]].max(initial=0.0)),
        "under": float(found.face_area_mm2[faces].sum()),
        "fill": float(found.face_volume_mm3[faces].sum()),
    }


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


def _measures(measures: Sequence[Measure]) -> list[Plain]:
    """Those beyond their limit first, else as given."""
    ordered = sorted(measures, key=lambda measure: _SEVERITY[measure.verdict])
    return [
        {
            "verdict": m.verdict or "",
            "where": m.where,
            "says": m.says.rstrip("."),
            "value": with_u(m.value, m.u, m.unit),
            "limit": _limit(m),
        }
        for m in ordered
    ]


def _as_finding(measure: Measure) -> Finding:
    """For the headline: a distance beyond its limit counts as much as any other finding."""
    return Finding(
        code="survey.measure",
        where=measure.where,
        says=measure.says,
        verdict=measure.verdict or "clear",
        value=measure.value,
        uncertainty=measure.u,
        unit=measure.unit,
        limit=measure.limit,
    )


def _limit(measure: Measure) -> str:
    if measure.limit is None:
        return "none stated"
    text = fixed(measure.limit, 2).rstrip("0").rstrip(".")
    return f"at {'least' if measure.at_least else 'most'} {text}{unit_mark(measure.unit)}"
