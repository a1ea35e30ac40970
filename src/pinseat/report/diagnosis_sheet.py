"""The page at the chair when a bridge does not seat: causes, the next check, the remedy, and never force."""

from __future__ import annotations

from pathlib import Path

from pinseat.case.model import Case
from pinseat.report.advice import sentence, worst_first
from pinseat.report.pages import Plain, case_words, meta_words
from pinseat.report.rounding import fixed, with_u
from pinseat.report.seat_charts import causes_chart
from pinseat.report.seat_words import cause_words
from pinseat.report.setting import write_page
from pinseat.seating.diagnosis import Diagnosis
from pinseat.seating.model import COSTS

_TIGHTER = tuple(
    {"size": size, "most": most}
    for size, most in ((10.0, 9), (9.6, 9), (9.2, 8), (8.8, 7), (8.4, 6), (8.0, 5))
)


def write_diagnosis_sheet(
    folder: Path, case: Case, diagnosis: Diagnosis, meta: dict[str, str]
) -> tuple[Path, ...]:
    """Write ``results/diagnosis.pdf`` and its chart into a case folder.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    diagnosis : Diagnosis
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
    words = diagnosis_words(case, diagnosis, meta)
    return write_page(
        folder, "diagnosis", words, {"causes": lambda: causes_chart(diagnosis)}, tighter=_TIGHTER
    )


def diagnosis_words(case: Case, diagnosis: Diagnosis, meta: dict[str, str]) -> Plain:
    """Everything the page says, without its chart.

    Parameters
    ----------
    case : Case
    diagnosis : Diagnosis
    meta : dict of str to str
    """
    told, top, first = case_words(case), diagnosis.causes[0], diagnosis.first
    force = next((f for f in diagnosis.findings if f.code == "diagnosis.force"), None)
    return {
        "heading": f"Why it does not seat, case {case.number}",
        "footer": f"pinseat · case {case.number} · why it does not seat · not a medical device",
        "number": told["number"],
        "title": case.title,
        "bridge": told["bridge"],
        "force": "" if force is None else f"{sentence(force.says)} {sentence(force.do)}",
        "answer": sentence(top.words)
        if diagnosis.told_apart
        else sentence(f"not told apart yet: {top.words}, or {diagnosis.causes[1].words}"),
        "sure": f"{fixed(100.0 * top.probability, 0)} %",
        "causes": [sentence(cause_words(cause)) for cause in diagnosis.causes[:3]],
        "next": sentence(diagnosis.checks[0].words) if diagnosis.checks else "",
        "checks": [
            {"words": sentence(c.words), "bits": fixed(c.bits, 2), "minutes": fixed(c.minutes, 0)}
            for c in diagnosis.checks
        ],
        "first": "" if first is None else sentence(first.in_full),
        "chart": "/figures/causes.svg",
        "remedies": [
            {
                "words": sentence(r.words),
                "caution": sentence(r.caution),
                "home": with_u(100.0 * r.probability, 100.0 * r.u_probability, "%", 0),
                "cost": COSTS[r.cost],
                "first": "yes" if r == first else "",
            }
            for r in diagnosis.remedies
        ],
        "findings": [
            {"verdict": f.verdict, "says": sentence(f.says), "do": sentence(f.do)}
            for f in worst_first(diagnosis.findings)
            if f.code in ("diagnosis.unlike", "diagnosis.home")
        ],
        "made": f"{diagnosis.seen} things seen. Every cause was taken as equally probable before (assumed). "
        f"{fixed(diagnosis.effective_bridges, 0)} simulated bridges in effect look like this one. "
        + meta_words(meta),
    }
