"""The work ticket between clinic and laboratory: one page and one machine file with the same hash."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from pinseat.case.files import atomic_write, plainly
from pinseat.case.model import Case
from pinseat.case.results import to_plain
from pinseat.case.returns import ticket_hash
from pinseat.case.teeth import to_universal, tooth_in_words
from pinseat.casting.model import CastingResult
from pinseat.ledger.handover import Progress, quiet
from pinseat.report import style
from pinseat.report.lean import lean_deg, lean_size_deg
from pinseat.report.pages import pairs, tidy
from pinseat.report.plan import pin_plan
from pinseat.report.rounding import chance, column, fixed, with_u
from pinseat.report.setting import set_within
from pinseat.report.teeth import both
from pinseat.report.teeth_chart import teeth_chart
from pinseat.seating.model import SeatingResult
from pinseat.survey.model import SurveyResult

Plain = dict[str, Any]
NOT_MEASURED = "not measured"
_TIGHTER = tuple({"size": size, "most": 40} for size in (9.2, 8.7, 8.2, 7.7, 7.2, 6.7, 6.2))


def write_ticket(
    folder: Path,
    case: Case,
    *,
    survey: SurveyResult,
    casting: CastingResult,
    seating: SeatingResult,
    scan_sha256: str,
    meta: Mapping[str, str],
    progress: Progress = quiet,
) -> tuple[Path, ...]:
    """Write ``results/work-ticket.pdf`` and ``results/work-ticket.json``.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    survey, casting, seating : the results of the three steps
    scan_sha256 : str
        Content hash of the scan; empty without one.
    meta : mapping of str to str
        Versions and hashes.
    progress : callable

    Returns
    -------
    tuple of Path
        The page, the machine file, then the figures.

    Raises
    ------
    ReportError
        If the page cannot be set.
    CaseError
        If the folder cannot be written.
    """
    results = folder / "results"
    with plainly(results):
        (results / "figures").mkdir(parents=True, exist_ok=True)
    progress("drawing the ticket", 0.0)
    ticket = machine_file(case, survey, casting, seating, scan_sha256, meta)
    with style.look():
        teeth = style.write(teeth_chart(case), results / "figures" / "ticket-teeth")
        pins = style.write(pin_plan(survey), results / "figures" / "ticket-pins")
    progress("setting the ticket", 0.6)
    pdf = set_within(
        "ticket.typ", tidy(page(ticket, case, survey, seating)), results, pages=1, tighter=_TIGHTER
    )
    text = json.dumps(ticket, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    atomic_write(results / "work-ticket.json", text.encode())
    atomic_write(results / "work-ticket.pdf", pdf)
    progress("setting the ticket", 1.0)
    return (results / "work-ticket.pdf", results / "work-ticket.json", *teeth, *pins)


def machine_file(
    case: Case,
    survey: SurveyResult,
    casting: CastingResult,
    seating: SeatingResult,
    scan_sha256: str,
    meta: Mapping[str, str],
) -> Plain:
    """Everything the ticket states, with its hash and the block that comes back.

    Parameters
    ----------
    as for :func:`write_ticket`

    Returns
    -------
    dict
        Plain JSON; what nobody measured is null, never 0.
    """
    stated: Plain = {
        "kind": "pinseat work ticket",
        "layout": 1,
        "case": {"number": case.number, "title": case.title},
        "teeth": {
            "missing": [_tooth(tooth) for tooth in case.missing],
            "retainers": [
                {**_tooth(a.tooth), **to_plain(a.model_dump(exclude={"tooth", "at"}))} for a in case.abutments
            ],
        },
        "materials": to_plain(case.chain.model_dump()),
        "draw": draw_words(survey),
        "pins": [_pin(case, survey, i) for i in range(len(survey.field.pins))],
        "not_seen": list(survey.blind),
        "fit_ledger": to_plain(casting.fit),
        "span": {"mm": casting.span_mm, "error_um": casting.span_error_um, "u_um": casting.u_span_error_um},
        "verdict": _verdict(seating),
        "scan_sha256": scan_sha256 or None,
        "versions": dict(meta),
    }
    plain: Plain = to_plain(stated)
    return {"hash": ticket_hash(plain), **plain, "returns": returns_block(survey, casting)}


def _tooth(tooth: int) -> Plain:
    return {"fdi": tooth, "universal": to_universal(tooth), "words": tooth_in_words(tooth)}


def draw_words(survey: SurveyResult) -> Plain:
    """The draw as a vector, two angles and an origin, in the scan's own axes."""
    draw = survey.window.centre
    feet = np.array([pin.foot for pin in survey.field.pins])
    first, last = survey.field.pins[0].name, survey.field.pins[-1].name
    return {
        "vector": draw.tolist(),
        "origin_mm": feet.mean(axis=0).tolist(),
        "origin_words": f"middle of the feet of all pins, {first} to {last}",
        "lean_to_x_deg": math.degrees(math.atan2(float(draw[0]), float(draw[2]))),
        "lean_to_y_deg": math.degrees(math.atan2(float(draw[1]), float(draw[2]))),
        "angles_words": "from the scan's z towards its x, and towards its y",
        "window_deg": survey.window.size_deg,
        "u_window_deg": survey.window.u_size_deg,
    }


def _pin(case: Case, survey: SurveyResult, i: int) -> Plain:
    pin = survey.field.pins[i]
    lean, u_lean = lean_size_deg(survey.field, survey.window.centre)
    two = lean_deg(survey.field, survey.window.centre)[i]
    hole = next(a for a in case.abutments if a.tooth == pin.tooth)
    return {
        "name": pin.name,
        **_tooth(pin.tooth),
        "foot_mm": pin.foot,
        "axis": pin.axis,
        "diameter_mm": pin.diameter_mm,
        "u_diameter_mm": pin.u_diameter_mm,
        "protrusion_mm": pin.protrusion_mm,
        "u_protrusion_mm": pin.u_protrusion_mm,
        "lean_deg": float(lean[i]),
        "u_lean_deg": float(u_lean[i]),
        "lean_two_ways_deg": two,
        "allowed_deg": survey.window.allowance_deg.get(pin.name),
        "hole_diameter_mm": hole.hole_diameter_mm,
        "hole_depth_mm": hole.hole_depth_mm,
        "cast_pin_diameter_mm": hole.cast_pin_diameter_mm,
    }


def _verdict(seating: SeatingResult) -> Plain:
    return {
        "word": seating.verdict,
        "why": seating.why,
        "chance": seating.chance.probability,
        "u_chance": seating.chance.standard_error,
        "limit_um": seating.limit_um,
        "wanted": seating.wanted_probability,
    }


def returns_block(survey: SurveyResult, casting: CastingResult) -> Plain:
    """The block that the laboratory fills in: null is not measured."""
    pins = survey.field.pins
    apart = [(a, b) for i, a in enumerate(pins) for b in pins[i + 1 :]]
    far = max(apart, key=lambda two: float(np.linalg.norm(two[0].foot - two[1].foot)), default=None)
    asked = [(f"depth of hole {pin.name} in the die", "mm") for pin in pins]
    if far is not None:
        words = f"feet of {far[0].name} and {far[1].name}, {casting.span_mm:.2f} mm on the scan"
        asked += [(f"distance on the die: {words}", "mm"), (f"distance on the casting: {words}", "mm")]
    asked += [("mass of the pattern with sprue", "g"), ("mass of the casting with sprue", "g")]
    return {
        "acknowledges": "",
        "by": "",
        "lots": dict.fromkeys(("rubber", "investment", "alloy", "plating solution"), ""),
        "readings": [
            {"what": what, "unit": unit, "value": None, "instrument": "", "calibrated": ""}
            for what, unit in asked
        ],
        "note": "",
    }


def page(ticket: Plain, case: Case, survey: SurveyResult, seating: SeatingResult) -> Plain:
    """The same in words for the page."""
    chain = case.chain
    return {
        "heading": f"Work ticket, case {case.number}",
        "footer": f"pinseat · case {case.number} · ticket {ticket['hash'][:12]} · not a medical device",
        "hash": ticket["hash"],
        "number": case.number,
        "title": case.title,
        "missing": ", ".join(both(tooth) for tooth in case.missing) or "none",
        "retainers": _retainers(case),
        "materials": f"{chain.impression}; {chain.die} die; {chain.pattern}; "
        f"{chain.investment} investment; {chain.alloy}",
        "verdict": seating.verdict,
        "chance": f"{chance(seating.chance, seating.trials)} within {fixed(seating.limit_um, 0)} µm, "
        f"{fixed(100.0 * seating.wanted_probability, 0)} % wanted",
        "why": "" if seating.verdict == "goes home" else seating.why,
        "draw": _draw_line(ticket["draw"]),
        "pins": _pin_rows(survey),
        "not_seen": list(survey.blind) or [],
        "scan": f"scan {str(ticket['scan_sha256'])[:12]}"
        if ticket["scan_sha256"]
        else f"scan: {NOT_MEASURED}, from callipers",
        "versions": [f"{key} {value[:16]}" for key, value in ticket["versions"].items()],
        "asked": [[one["what"], one["unit"]] for one in ticket["returns"]["readings"]],
        "lots": list(ticket["returns"]["lots"]),
        "teeth": {"file": "/figures/ticket-teeth.svg", "alt": _teeth_alt(case)},
        "plan": {
            "file": "/figures/ticket-pins.svg",
            "alt": "Plan of the pins along the draw, to scale, with the lean of each.",
        },
    }


def _retainers(case: Case) -> list[Plain]:
    return [
        {
            "tooth": both(a.tooth),
            "words": tooth_in_words(a.tooth),
            "pins": str(a.pins),
            "hole": f"{fixed(a.hole_diameter_mm, 2)} × {fixed(a.hole_depth_mm, 2)}",
            "cast": fixed(a.cast_pin_diameter_mm, 2),
            "relief": fixed(a.floor_relief_mm, 2),
        }
        for a in case.abutments
    ]


def _pin_rows(survey: SurveyResult) -> list[Plain]:
    pins, draw = survey.field.pins, survey.window.centre
    diameter = pairs([(p.diameter_mm, p.u_diameter_mm) for p in pins], 3)
    protrusion = pairs([(p.protrusion_mm, p.u_protrusion_mm) for p in pins], 2)
    lean, u_lean = lean_size_deg(survey.field, draw)
    leaning = pairs([(float(t), float(u)) for t, u in zip(lean, u_lean, strict=True)], 2)
    two = [column([fixed(float(x), 2) for x in side]) for side in lean_deg(survey.field, draw).T]
    return [
        {
            "tooth": both(pin.tooth),
            "name": pin.name,
            "diameter": diameter[i],
            "protrusion": protrusion[i],
            "lean": leaning[i],
            "to": [two[0][i], two[1][i]],
        }
        for i, pin in enumerate(pins)
    ]


def _draw_line(draw: Plain) -> str:
    origin = ", ".join(fixed(x, 2) for x in draw["origin_mm"])
    return (
        f"{fixed(draw['lean_to_x_deg'], 2)}° towards x and {fixed(draw['lean_to_y_deg'], 2)}° towards y, "
        f"from the scan's z. Origin ({origin}) mm: {draw['origin_words']}. "
        f"Window {with_u(draw['window_deg'], draw['u_window_deg'], 'deg')}."
    )


def _teeth_alt(case: Case) -> str:
    retainers = ", ".join(both(a.tooth) for a in case.abutments)
    missing = ", ".join(both(tooth) for tooth in case.missing)
    return f"Chart of the arch: retainers {retainers} filled, missing {missing} dashed."
