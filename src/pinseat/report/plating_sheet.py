"""Write the plating programme: one page for the bench, its chart, and the steps for the supply."""

from __future__ import annotations

import math
from pathlib import Path

from pinseat.case.files import atomic_write, plainly
from pinseat.case.model import Case
from pinseat.ledger.handover import Progress, quiet
from pinseat.plating.hazards import cautions_of
from pinseat.plating.result import PlatingResult, ProgrammeResult
from pinseat.report.advice import sentence, worst_first
from pinseat.report.pages import Plain, case_words, finding_lists, tidy
from pinseat.report.plating_chart import thickness_chart
from pinseat.report.plating_picture import COLOURS
from pinseat.report.plating_words import (
    CHANGES,
    bath_words,
    charge_words,
    current_words,
    left_words,
    metal_words,
    spread_words,
    stop_words,
    suggestion_words,
    supply_words,
    thin_words,
    throw_words,
    voltage_words,
)
from pinseat.report.rounding import column, fixed
from pinseat.report.setting import set_within
from pinseat.report.style import look, write

_TIGHTER = tuple(
    {"size": size, "most": most, "high": high, "blank": blank}
    for size, most, high, blank in (
        (9.0, 1000, 62, 5),
        (8.6, 1000, 60, 4),
        (8.2, 1000, 58, 3),
        (7.8, 1000, 55, 2),
        (7.4, 12, 52, 1),
        (7.0, 8, 48, 0),
        (6.7, 5, 44, 0),
        (6.4, 3, 40, 0),
        (6.2, 2, 36, 0),
    )
)
"""Type size in points, longest list, height of the chart in mm, empty lines to write on."""


def write_plating_sheet(
    folder: Path,
    case: Case,
    plated: PlatingResult,
    planned: ProgrammeResult,
    meta: dict[str, str],
    progress: Progress = quiet,
) -> tuple[Path, ...]:
    """Write ``results/plating-programme.pdf`` and ``.csv``, and the chart.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    plated : PlatingResult
    planned : ProgrammeResult
    meta : dict of str to str
        Label and value of each version and hash to print.
    progress : callable

    Returns
    -------
    tuple of Path
        The PDF, the CSV, the changes as lines for the case, then the chart as PNG and SVG.

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
    progress("drawing the programme", 0.2)
    with look():
        chart = write(thickness_chart(plated, planned), results / "figures" / "plating")
    plain = sheet_words(case, plated, planned, meta)
    progress("setting the programme", 0.6)
    pdf = set_within("plating_sheet.typ", tidy(plain), results, pages=1, tighter=_TIGHTER)
    atomic_write(results / "plating-programme.pdf", pdf)
    atomic_write(results / "plating-programme.csv", supply_csv(planned).encode())
    atomic_write(results / CHANGES, changes_toml(plated).encode())
    progress("setting the programme", 1.0)
    return (results / "plating-programme.pdf", results / "plating-programme.csv", results / CHANGES, *chart)


def changes_toml(plated: PlatingResult) -> str:
    """Each change as lines for ``case.toml``, in the order of the sheet.

    Parameters
    ----------
    plated : PlatingResult

    Returns
    -------
    str
    """
    blocks = ["# Changes to the plating: copy the lines of one of them into case.toml, then plate again.\n"]
    blocks += [
        f"# Change {i}: {suggestion_words(one)}\n{one.toml}" for i, one in enumerate(plated.suggestions, 1)
    ]
    return "\n".join(blocks)


def supply_csv(planned: ProgrammeResult) -> str:
    """The steps of the supply as comma-separated values, points as decimal marks (RFC 4180).

    Looks and the stop are not lines of their own: a supply pauses after each step, and the person looks.

    Parameters
    ----------
    planned : ProgrammeResult

    Returns
    -------
    str
        ``step,what,from_h,duration_h,current_mA,charge_mAh``; times to 0.001 h, currents to 0.01 mA.
    """
    lines = ["step,what,from_h,duration_h,current_mA,charge_mAh"]
    steps = [row for row in planned.rows if row.current_mA > 0.0]
    for i, row in enumerate(steps, 1):
        numbers = f"{row.from_h:.3f},{row.hours:.3f},{row.current_mA:.2f},{row.charge_mAh:.2f}"
        lines.append(f"{i},{row.what},{numbers}")
    return "\r\n".join(lines) + "\r\n"


def sheet_words(case: Case, plated: PlatingResult, planned: ProgrammeResult, meta: dict[str, str]) -> Plain:
    """Everything the sheet says, without its chart.

    Parameters
    ----------
    case : Case
    plated : PlatingResult
    planned : ProgrammeResult
    meta : dict of str to str

    Returns
    -------
    dict
    """
    findings = (*planned.findings, *plated.findings)
    worst = next(
        (v for v in ("stop", "cannot tell", "caution") if any(f.verdict == v for f in findings)), "clear"
    )
    main = [row for row in planned.rows if row.current_mA > 0.0][-1]
    head, stop_at = _stop(planned)
    return {
        "heading": f"Plating programme, case {case.number}",
        "footer": f"pinseat · case {case.number} · plating · not a medical device",
        "case": case_words(case),
        "set": {
            "current": current_words(main.current_mA),
            "head": head,
            "stop_at": stop_at,
            "stop": sentence(f"stop {stop_words(plated, planned)}"),
            "metal": f"{fixed(plated.pool.mass_g, 2)} g {plated.bath.metal}",
        },
        "worst": worst,
        "next": next_words(plated, planned),
        "rows": [
            {
                "at": f"{fixed(row.from_h, 1)} h",
                "what": row.what,
                "current": f"{fixed(row.current_mA, 1)} mA" if row.current_mA > 0.0 else "",
                "hours": f"{fixed(row.hours, 1)} h" if row.hours > 0.0 else "",
                "do": row.do,
            }
            for row in planned.rows
        ],
        "chart": {
            "file": "/figures/plating.svg",
            "alt": "Thickness against hours: thinnest spot, mean and rim, with minimum and stop.",
        },
        "picture": {
            "file": "/figures/thickness.svg",
            "alt": f"Thickness map of the pieces. {COLOURS}",
            "caption": f"{COLOURS} Minimum {fixed(plated.aim.minimum_mm, 2)} mm, at the end of the map.",
        },
        "thin": sentence(thin_words(plated, planned)) if plated.map else "",
        "spread": sentence(spread_words(plated)) if plated.map else "",
        "pieces": _pieces(plated),
        "changes": [sentence(suggestion_words(one)) for one in plated.suggestions],
        "log": _log(plated, planned),
        "findings": finding_lists(tuple(worst_first(findings))),
        "cautions": list(cautions_of(plated.bath)),
        "made": [
            ["bath", bath_words(plated)],
            *_throw(plated),
            *_field(plated),
            *[[k, v] for k, v in meta.items()],
        ],
    }


def _stop(planned: ProgrammeResult) -> tuple[str, str]:
    """When to stop, in large type: by the log, by the clock, or after so many hours."""
    if planned.ends:
        first, last = (end[11:] for end in (planned.ends[0], planned.ends[-1]))
        return "stop, by the log", first if first == last else f"{first}–{last}"
    if planned.log.entries:
        low, high = planned.remaining_h
        return "still to go", f"{fixed(0.5 * (low + high), 1)} h"
    if planned.finish is not None:
        return "stop, by the clock", planned.finish.end[11:]
    return "stop after", f"{fixed(planned.hours, 1)} h"


def next_words(plated: PlatingResult, planned: ProgrammeResult) -> str:
    """The one thing to do next: what stops the work, what the log asks, or the next line of the programme."""
    stops = [f for f in (*planned.findings, *plated.findings) if f.verdict == "stop"]
    asked = [f for f in planned.findings if f.verdict == "cannot tell"]
    for finding in (*stops, *asked):
        if finding.do:
            return sentence(finding.do)
    state, first = planned.log, planned.rows[0]
    if state.entries and planned.remaining_h[1] <= 0.05:
        return "Switch off, log it, rinse, dry, weigh, and measure at the thinnest spots."
    if state.entries and not state.running:
        return "The supply is off. Switch on again and log the current, or weigh and log it."
    if state.entries:
        ahead = [row for row in planned.rows if not row.current_mA and row.from_h > state.charge.hours_on]
        row = ahead[0] if ahead else planned.rows[-1]
        return f"In {fixed(max(row.from_h - state.charge.hours_on, 0.0), 1)} h. {row.do}"
    return f"Set {current_words(first.current_mA)} for {fixed(first.hours, 1)} h, then look. Log it."


def _pieces(plated: PlatingResult) -> Plain:
    """A row a piece: by areas, and by the field where there is one."""
    mapped = {piece.name: piece for piece in plated.map.pieces} if plated.map else {}
    shares = plated.shares

    def of(name: str, what: str) -> str:
        number = getattr(mapped[name], what) if name in mapped else math.nan
        return fixed(number, 2) if math.isfinite(number) else "–"

    columns = {
        "area": column([fixed(s.area_mm2, 0) for s in shares]),
        "even": column([fixed(s.even_mA, 1) for s in shares]),
        "density": column([fixed(s.density_A_m2 / 100.0, 2) for s in shares]),
        "equal": column([fixed(s.mean_mm, 2) for s in shares]),
        "alone": column([fixed(s.hours_alone, 1) for s in shares]),
    }
    rows = [
        {
            "name": share.name,
            **{key: cells[i] for key, cells in columns.items()},
            **{what: of(share.name, f"{what}_mm") for what in ("mean", "minimum", "floor", "rim")},
            "taken": of(share.name, "current_mA") if share.name in mapped else "–",
            "dense": fixed(mapped[share.name].density_A_m2 / 100.0, 2) if share.name in mapped else "–",
        }
        for i, share in enumerate(shares)
    ]
    basis = "; ".join(dict.fromkeys(f"{s.basis}" for s in shares))
    note = (
        f"Areas: {basis}. “By area” shares the current so that all are done together. “Equal” and “alone” "
        f"are what {fixed(plated.pool.current_mA / len(shares), 1)} mA each gives: mean when all together "
        f"have {fixed(plated.pool.mean_mm, 2)} mm, and hours to it alone. Means by Faraday; floors and edges "
        "have less."
    )
    if mapped:
        note += " “Takes” to “rim”: by the field, all on one supply, at the end of the map."
    return {"rows": rows, "mapped": bool(mapped), "note": note}


def _log(plated: PlatingResult, planned: ProgrammeResult) -> list[list[str]]:
    if not planned.log.entries:
        return []
    return [
        ["supply", supply_words(planned.log)],
        ["charge", charge_words(planned.log.charge)],
        ["metal", metal_words(plated, planned)],
        ["to go", left_words(planned)],
    ]


def _throw(plated: PlatingResult) -> list[list[str]]:
    said = throw_words(plated)
    return [["throwing power", said]] if said else []


def _field(plated: PlatingResult) -> list[list[str]]:
    found = plated.map
    if found is None:
        return [["field", "not solved: means by areas alone"]]
    said = (
        f"{found.cells} cells; current left over {found.residual:.1e}; metal by geometry over metal by "
        f"charge less one {fixed(100 * found.closure, 3)} %"
    )
    return [
        ["field", said],
        ["voltage", voltage_words(found)],
        *([["note", "; ".join(found.notes)]] if found.notes else []),
    ]
