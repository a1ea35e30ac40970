"""The sheet for the bench: which calliper readings to take, with boxes to write them in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from pinseat.case.model import Case, Layout
from pinseat.case.teeth import arch_position
from pinseat.reference import value
from pinseat.report import style
from pinseat.report.pages import meta_words
from pinseat.report.plan import level, name_pins, tooth_outline
from pinseat.report.rounding import fixed
from pinseat.report.setting import write_page
from pinseat.report.teeth import both
from pinseat.survey.plan import ReadingPlan, Step

_FIRST_PAGE, _NEXT_PAGE = 18, 30
"""Readings that fit on a page, with boxes large enough to write in."""
_TIGHTER = tuple(
    {"size": size, "most": most}
    for size, most in ((10.0, 6), (9.4, 4), (9.4, 2), (8.8, 1), (8.2, 1), (7.6, 1))
)
_GROUPS = {
    "base": ("Between feet", "As low on both guide pins as the jaws go."),
    "tip": ("Between free ends", "At the very ends of both guide pins."),
    "tip to base": ("From a free end to a foot", "The end of the first pin, the foot of the second."),
}


def write_readings_sheet(folder: Path, case: Case, plan: ReadingPlan, meta: dict[str, str]) -> Path:
    """Write ``results/readings.pdf`` and its sketch of the pins into a case folder.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    plan : ReadingPlan
    meta : dict of str to str
        Label and value of each version and hash to print, such as ``{"input hash": "3fa9..."}``.

    Returns
    -------
    Path
        The PDF.

    Raises
    ------
    ReportError
        If the page cannot be set.
    CaseError
        If the folder cannot be written.
    """
    words = sheet_words(case, plan, meta) | {"sketch": "/figures/readings.svg"}
    pages = 1 + max(0, math.ceil((len(plan.steps) - _FIRST_PAGE) / _NEXT_PAGE))
    sketch = {"readings": lambda: pin_sketch(plan.layout)}
    page, *_ = write_page(
        folder, "readings", words, sketch, template="readings.typ", pages=pages, tighter=_TIGHTER
    )
    return page


def sheet_words(case: Case, plan: ReadingPlan, meta: dict[str, str]) -> dict[str, Any]:
    """Everything the sheet says, without its sketch.

    Parameters
    ----------
    case : Case
    plan : ReadingPlan
    meta : dict of str to str
        Label and value of each version or hash to print.

    Returns
    -------
    dict
    """
    readings = f"{len(plan.steps)} readings" if len(plan.steps) != 1 else "one reading"
    differ = math.sqrt(2.0) * value("survey.repeat_spread_ratio").value * plan.u_mm
    times = {2: "twice"}.get(plan.repeats, f"{plan.repeats} times")
    return {
        "heading": f"Calliper readings, case {case.number}",
        "footer": f"pinseat · case {case.number} · calliper readings · not a medical device",
        "number": f"case {case.number}",
        "title": case.title,
        "task": f"{readings}, each {times}, in any order" if plan.steps else "nothing more to read",
        "reckoned": f"Reckoned with ± {fixed(plan.u_mm, 3).rstrip('0')} mm (one standard uncertainty) for "
        "one reading. “Without” and “with”: one standard uncertainty of the splay named, without this "
        "reading and with it.",
        "groups": _groups(plan.steps),
        "note": plan.note,
        "seen": _seen(plan),
        "again": f"A reading far from what is expected, or two that differ by more than {fixed(differ, 2)} "
        "mm: take it again.",
        "unseen": [{"words": one.words, "why": one.why, "do": one.do} for one in plan.unseen],
        "lengths": _lengths(plan.layout),
        "teeth": ", ".join(both(tooth) for tooth in dict.fromkeys(pin.tooth for pin in plan.layout)),
        "made": meta_words(meta),
    }


def _groups(steps: Sequence[Step]) -> list[dict[str, Any]]:
    """Readings of one kind together, numbered through."""
    number, groups = 0, []
    for kind, (head, how) in _GROUPS.items():
        rows = []
        for step in (one for one in steps if one.kind == kind):
            number += 1
            rows.append(
                {
                    "number": str(number),
                    "pins": " to ".join(step.pins) if kind == "tip to base" else " and ".join(step.pins),
                    "expected": f"{fixed(step.expected_mm, 1)} ± {fixed(step.u_expected_mm, 1)}",
                    "shows": step.shows.replace("the line of pins ", "").replace(" and ", ", "),
                    "without": fixed(step.u_before_deg, 2),
                    "with": fixed(step.u_after_deg, 2),
                }
            )
        if rows:
            why = {step.why for step in steps if step.kind == kind}
            told = why.pop() if len(why) == 1 else "Each shows the lean of its first pin by itself."
            groups.append({"head": head, "how": how, "why": told, "kind": kind, "rows": rows})
    return groups


def _seen(plan: ReadingPlan) -> str:
    seen = sum(one.seen for one in plan.outlook)
    if seen == len(plan.outlook):
        return "These readings tell every splay that matters from none."
    return f"These readings tell {seen} of {len(plan.outlook)} possible splays from none."


def _lengths(layout: Sequence[Layout]) -> str:
    lengths = {pin.guide_length_mm for pin in layout}
    if len(lengths) == 1:
        return f"All guide pins stand out {layout[0].guide_length_mm:g} mm."
    each = ", ".join(f"{pin.tooth}-{pin.number} {pin.guide_length_mm:g} mm" for pin in layout)
    return f"Guide pins stand out: {each}."


def pin_sketch(layout: Sequence[Layout]) -> Figure:
    """The pins from above with their numbers, the patient's right on the left.

    Parameters
    ----------
    layout : sequence of Layout
    """
    figure = style.sheet(100, 50)
    axes = style.plain_axes(figure, (0.01, 0.01, 0.98, 0.98))
    feet = np.array([[pin.x_mm, pin.y_mm] for pin in layout])
    feet, _ = level(feet, np.zeros_like(feet), [arch_position(pin.tooth) for pin in layout])
    for tooth in dict.fromkeys(pin.tooth for pin in layout):
        tooth_outline(axes, feet[[pin.tooth == tooth for pin in layout]])
    for x, y in feet:
        axes.add_patch(Circle((x, y), 0.35, facecolor=style.INK, edgecolor="none", zorder=3))
    name_pins(axes, [f"{pin.tooth}-{pin.number}" for pin in layout], feet)
    axes.set_aspect("equal")
    axes.set_axis_off()
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    figure.set_figheight(min(max((top - bottom) / (right - left) * 100.0, 26.0), 52.0) * style.MM)
    return figure
