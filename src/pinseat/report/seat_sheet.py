"""The page on what to change: every lever, the best pairs, and hold against seating."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pinseat.case.model import Case
from pinseat.reference import value
from pinseat.report.advice import sentence, worst_first
from pinseat.report.cautions import ALWAYS
from pinseat.report.pages import Plain, case_words, meta_words
from pinseat.report.rounding import chance, fixed, with_u
from pinseat.report.seat_charts import tradeoff_chart
from pinseat.report.setting import write_page
from pinseat.seating.model import COSTS, Lever
from pinseat.seating.plan import SeatPlan

_TIGHTER = tuple(
    {"size": size, "most": most}
    for size, most in ((9.6, 30), (9.2, 30), (8.8, 30), (8.4, 26), (8.0, 22), (7.6, 18))
)


def write_seat_sheet(folder: Path, case: Case, plan: SeatPlan, meta: dict[str, str]) -> tuple[Path, ...]:
    """Write ``results/seat.pdf`` and its chart into a case folder.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    plan : SeatPlan
    meta : dict of str to str
        Label and value of each version and hash to print.

    Returns
    -------
    tuple of Path
        The PDF, then the chart.

    Raises
    ------
    ReportError
        If the page cannot be set.
    CaseError
        If the folder cannot be written.
    """
    words = seat_words(case, plan, meta)
    charts = {"tradeoff": lambda: tradeoff_chart(plan)}
    return write_page(folder, "seat", words, charts, pages=2, tighter=_TIGHTER)


def seat_words(case: Case, plan: SeatPlan, meta: dict[str, str]) -> Plain:
    """Everything the page says, without its chart.

    Parameters
    ----------
    case : Case
    plan : SeatPlan
    meta : dict of str to str
    """
    told = case_words(case)
    hold = value("cement.pin_shear_MPa")
    return {
        "heading": f"What to change, case {case.number}",
        "footer": f"pinseat · case {case.number} · what to change · not a medical device",
        "number": told["number"],
        "title": case.title,
        "bridge": told["bridge"],
        "now": chance(plan.now, plan.trials),
        "wanted": f"{fixed(100.0 * plan.wanted, 0)} %",
        "limit": fixed(case.seat.limit_um, 0),
        "levers": [_lever(lever, plan) for lever in plan.levers],
        "pairs": [_lever(lever, plan) for lever in plan.pairs],
        "chart": "/figures/tradeoff.svg",
        "options": [
            {
                "n": str(i),
                "words": option.words,
                "role": _role(option, plan),
                "hold": with_u(option.hold_N, option.u_hold_N, "N", 0),
                "home": chance(option.chance, plan.trials),
            }
            for i, option in enumerate(plan.options, 1)
            if option.planned or option in plan.choose
        ],
        "hold": f"Hold: area of all pins in their holes times {fixed(hold.value, 0)} ± "
        f"{fixed(hold.uncertainty or 0.0, 1)} MPa ({hold.cited}). Its error is common to "
        "all options, so they compare better than their newtons say.",
        "stages": "; then ".join(f"{', '.join(s.pins)} at {fixed(s.lift_mm, 2)} mm" for s in plan.stages),
        "pivot": f"about the mouth {chance(plan.pivot_mouth, plan.trials)}, about the middle of the pin "
        f"{chance(plan.pivot_middle, plan.trials)}",
        "rigid": "" if plan.rigid is None else chance(plan.rigid, plan.trials),
        "findings": [
            {"verdict": f.verdict, "says": sentence(f.says), "do": sentence(f.do)}
            for f in worst_first(plan.findings)
        ],
        "caution": ALWAYS[1],
        "made": f"{fixed(plan.trials, 0)} virtual bridges each, the same for all; seed {plan.seed}; "
        + meta_words(meta),
    }


def _role(option: Any, plan: SeatPlan) -> str:
    roles = ["as it stands"] * option.planned
    if option in plan.choose:
        firm = len(plan.choose) == 2 and option == plan.choose[0]
        both = len(plan.choose) == 1 and option.chance.probability >= plan.wanted
        roles.append("holds most of those that go home" if firm or both else "goes home most often")
    return ", ".join(roles)


def _lever(lever: Lever, plan: SeatPlan) -> Plain:
    return {
        "change": sentence(lever.change),
        "caution": sentence(lever.caution),
        "after": f"{fixed(100.0 * lever.after.probability, 1)} %",
        "gain": with_u(100.0 * lever.gain, 100.0 * lever.u_gain, "", 1),
        "less": fixed(lever.gain_lacking_um, 0),
        "cost": COSTS[lever.cost] if lever.cost else "",
        "loses": "yes" if lever.gain < 0.0 else "",
    }
