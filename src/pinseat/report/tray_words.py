"""What is said of a tray, in words and rounded numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pinseat.case.model import Case
from pinseat.ledger.cautions import PULL
from pinseat.ledger.findings import Finding
from pinseat.report.advice import sentence, worst_first
from pinseat.report.pages import case_words, finding_lists
from pinseat.report.rounding import fixed
from pinseat.tray.model import HandPlan, Pile, TrayResult

Plain = dict[str, Any]

CAUTIONS = (
    f"{sentence(PULL)} The arrow shows it. A pull aslant bends pins, and its torque can crack a tooth round "
    "its hole.",
    "Try the tray in dry before rubber goes in. Where a pin is felt, stop: nothing is pressed.",
    "Count the pins before and after: a loose one can be swallowed or inhaled.",
    "Uncured resin and tray adhesive: gloves, and air; set, wash and harden by the makers' sheets, and look "
    "at the finished print against this sheet.",
)


def console_lines(result: TrayResult) -> Iterator[tuple[str, str]]:
    """Head and words of each line for the command line."""
    asked = result.asked
    yield (
        "tray",
        f"made; relief {asked.relief_mm:.1f} mm, wall {asked.wall_mm:.1f} mm, border {result.border}"
        if result.made
        else result.why_not,
    )
    if result.pins:
        rest, swept = min(p.rest_mm for p in result.pins), min(p.swept_mm for p in result.pins)
        u = max(p.u_mm for p in result.pins)
        yield (
            "pins",
            f"{len(result.pins)}; clearance at least {rest:.2f} mm at rest, {swept:.2f} ± {u:.2f} mm on the "
            f"way with {asked.wobble_deg:g}° and {asked.wobble_mm:g} mm of wobble; wanted "
            f"{asked.pin_gap_mm:.1f} mm",
        )
    for gap in result.gaps:
        low, middle, high = gap.percentiles_mm
        where = "gap, teeth" if gap.zone == "teeth" else "gap, pins"
        yield (
            where,
            f"{middle:.2f} mm (1st and 99th percentile {low:.2f}, {high:.2f}), asked {gap.asked_mm:.2f}",
        )
    if result.sound:
        yield (
            "mesh",
            f"{result.sound.triangles} triangles, {result.sound.second_opinion}; thinnest wall "
            f"{result.sound.thinnest_mm:.2f} mm; {result.sound.collisions} collisions along the draw",
        )
        yield "handle", result.handle
    if result.doses:
        doses = result.doses
        more = 1.0 + doses.waste_share
        yield (
            "doses",
            f"light body {doses.light_cm3 * more:.1f} cm³, heavy body {doses.heavy_cm3 * more:.1f} cm³, "
            f"{100 * doses.waste_share:.0f} % of waste in them; adhesive on {doses.adhesive_cm2:.0f} cm²",
        )
    yield "by hand", hand_words(result.hand)


def hand_words(plan: HandPlan) -> str:
    """The sheets of a tray made by hand, in one sentence."""
    most = max((pile.sheets for pile in plan.piles), default=0)
    return (
        f"{_sheets(plan.sheets)} of {plan.sheet_mm:g} mm ({plan.stock}) over the teeth, {most} in all over "
        "the pins"
    )


def _sheets(number: int) -> str:
    return "1 sheet" if number == 1 else f"{number} sheets"


def verdict_words(result: TrayResult, findings: Sequence[Finding]) -> Plain:
    """Verdict, reason and next action."""
    worst = next(iter(worst_first(findings)), None)
    word = worst.verdict if worst else "clear"
    if not result.made:
        why = result.why_not
    elif worst is None or word == "clear":
        why = "The tray is clear of every pin at rest and on its way, comes off along the draw, stands firm."
    else:
        why = sentence(f"{worst.where}: {worst.says}" if worst.where else worst.says)
    do = next((f.do for f in worst_first(findings) if f.do), "")
    return {
        "word": word,
        "why": why,
        "next": sentence(do) if do else "Print results/tray.stl and try it in dry.",
    }


def sheet_words(case: Case, result: TrayResult, meta: dict[str, str]) -> Plain:
    """Everything the tray sheet says, without its pictures.

    Parameters
    ----------
    case : Case
    result : TrayResult
    meta : dict of str to str
        Label and value of each version and hash to print.
    """
    asked = result.asked
    return {
        "heading": f"Tray sheet, case {case.number}",
        "footer": f"pinseat · case {case.number} · tray sheet · not a medical device",
        "case": case_words(case),
        "verdict": verdict_words(result, result.findings),
        "pins": [
            [
                p.name,
                fixed(p.sweep_mm, 2),
                _with(p.rest_mm, p.u_mm),
                _with(p.swept_mm, p.u_mm),
                fixed(asked.pin_gap_mm, 1),
            ]
            for p in result.pins
        ],
        "pins_note": f"“On the way”: along the draw with {asked.wobble_deg:g}° and {asked.wobble_mm:g} mm "
        "of wobble at the pin's foot. ±: one standard uncertainty of the pin."
        if result.pins
        else "Nothing was measured: there is no body to measure.",
        "gaps": [
            [f"over the {g.zone}" if g.zone == "teeth" else "round the pins", fixed(g.asked_mm, 2)]
            + [fixed(x, 2) for x in g.percentiles_mm]
            for g in result.gaps
        ],
        "doses": _doses(result),
        "doses_note": f"Rubber with {100 * asked.waste_share:.0f} % for waste; weight where density is known."
        if result.doses
        else "",
        "stops": [
            [str(i), s.kind, "–" if s.gap_mm is None else fixed(s.gap_mm, 3)]
            for i, s in enumerate(result.stops, start=1)
        ],
        "body": _body(result),
        "findings": finding_lists(worst_first(result.findings)),
        "cautions": list(CAUTIONS),
        "made": "; ".join(f"{label} {value}" for label, value in meta.items()),
    }


def _with(value: float, u: float) -> str:
    return f"{fixed(value, 2)} ± {fixed(u, 2)}"


def _doses(result: TrayResult) -> list[list[str]]:
    doses = result.doses
    if doses is None:
        return []
    more = 1.0 + doses.waste_share
    return [
        ["light body, round the prepared teeth", f"{fixed(doses.light_cm3 * more, 1)} cm³", "by volume"],
        ["heavy body, the rest of the gap", f"{fixed(doses.heavy_cm3 * more, 1)} cm³", "by volume"],
        ["tray resin, without supports", f"{fixed(doses.tray_cm3, 1)} cm³", f"{fixed(doses.tray_g, 0)} g"],
        ["adhesive, one thin coat", f"{fixed(doses.adhesive_cm2, 0)} cm²", "–"],
    ]


def _body(result: TrayResult) -> list[list[str]]:
    asked, sound = result.asked, result.sound
    rows = [
        [
            "relief",
            f"{fixed(asked.relief_mm, 1)} mm; {fixed(asked.pin_relief_mm, 1)} mm round what a pin can reach",
        ],
        ["border", result.border],
        ["handle", result.handle],
    ]
    if result.block_out_cm3 is not None and result.deepest_block_out_mm is not None:
        deep = f"deepest {fixed(result.deepest_block_out_mm, 1)} mm, across the draw"
        rows.append(["block-out", f"{fixed(result.block_out_cm3, 2)} cm³, {deep}"])
    if sound is not None:
        rows.append(
            ["wall", f"{fixed(sound.thinnest_mm, 2)} mm at its thinnest; {fixed(asked.wall_mm, 1)} mm asked"]
        )
        rows.append(["mesh", f"{sound.triangles} triangles; boolean library: {sound.second_opinion}"])
    rows.append(["by hand", hand_words(result.hand)])
    return rows


def plan_words(case: Case, result: TrayResult, meta: dict[str, str]) -> Plain:
    """Everything the plan for a tray made by hand says, without its drawing."""
    plan = result.hand
    filler = (
        "not known without a scan"
        if plan.filler_cm3 is None
        else f"{fixed(plan.filler_cm3, 2)} cm³ of wax or clay, to fill undercuts before any sheet goes on"
    )
    area = f"{fixed(plan.sheet_area_cm2, 0)} cm² of sheet in all" + (
        "" if plan.outline else ", over the pins alone"
    )
    found = [f for f in result.findings if f.code == "tray.sheets"]
    worst = next(iter(worst_first(found)), None)
    u = f" ± {fixed(plan.u_sheet_mm, 2)}" if plan.u_sheet_mm else ""
    return {
        "heading": f"Plan for a tray made by hand, case {case.number}",
        "footer": f"pinseat · case {case.number} · plan for a tray made by hand · not a medical device",
        "case": case_words(case),
        "verdict": {
            "word": worst.verdict if worst else "clear",
            "why": sentence(f"{worst.where}: {worst.says}")
            if worst and worst.verdict != "clear"
            else "The sheets clear every pin by the gap wanted.",
            "next": sentence(worst.do)
            if worst and worst.do
            else "Prove the print scale on the next page, then cut.",
        },
        "stock": f"{plan.stock}, {plan.sheet_mm:g}{u} mm a sheet",
        "zones": [["teeth and gum", _sheets(plan.sheets), f"{fixed(plan.sheets * plan.sheet_mm, 1)} mm"]]
        + [
            [f"patch {chr(65 + i)}, over pins", f"{_sheets(n)} in all", f"{fixed(n * plan.sheet_mm, 1)} mm"]
            for i, n in enumerate(plan.patch_sheets)
        ]
        + [["stops", "none: cut through", "0 mm"]],
        "piles": [_pile_row(pile, result.asked.pin_gap_mm) for pile in plan.piles],
        "filler": filler,
        "area": area,
        "outline": "" if plan.outline else "Without a scan the outline is not known: draw it on the cast.",
        "stops": "Stops where the plan has small circles: cut them through every sheet."
        if plan.openings
        else "Choose three stops on teeth that are not prepared, not in line, round the prepared teeth; "
        "never on a prepared surface, a margin or a pin. Cut them through every sheet.",
        "wobble": ("" if plan.outline else _GUIDES)
        + f"Reckoned with {result.asked.wobble_deg:g}° and {result.asked.wobble_mm:g} mm of wobble "
        "at the foot of each pin.",
        "cautions": [
            "No asbestos, ever: wax sheet, or ceramic or wet cellulose liner.",
            *CAUTIONS[:3],
        ],
        "made": "; ".join(f"{label} {value}" for label, value in meta.items()),
    }


_GUIDES = (
    "Without a scan a pin stands out as far as its guide pin did, unless impression_pin_length_mm is stated. "
)


def _pile_row(pile: Pile, wanted_mm: float) -> list[str]:
    return [
        pile.name,
        f"{fixed(pile.projection_mm, 2)} ± {fixed(pile.u_projection_mm, 2)}",
        str(pile.sheets),
        f"{fixed(pile.gap_mm, 2)}",
        fixed(wanted_mm, 1),
        str(pile.sheets_needed),
        fixed(pile.sweep_mm, 2),
        fixed(pile.side_mm, 1),
    ]
