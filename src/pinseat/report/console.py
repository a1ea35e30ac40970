"""What ``pinseat run`` prints: the verdict and what stands behind it, in one screen."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from rich.text import Text

from pinseat.case.model import Case
from pinseat.casting.model import CastingResult
from pinseat.ledger.findings import Finding
from pinseat.report.advice import all_findings, next_action, opening_words, sentence, why, worst_first
from pinseat.report.inputs import ScanPart
from pinseat.report.lean import tilt_deg
from pinseat.report.rounding import chance, fixed, typeset, whole, with_u
from pinseat.report.teeth import both
from pinseat.seating.model import SeatingResult
from pinseat.survey.model import SurveyResult

WIDTH = 92
_INDENT = 17


def summary(
    case: Case,
    scan: ScanPart | None,
    survey: SurveyResult | None,
    casting: CastingResult | None,
    seating: SeatingResult | None,
    *,
    report: str = "",
) -> Text:
    """The result of a case in one screen of text, readable without colour.

    Parameters
    ----------
    case : Case
    scan : ScanPart or None
    survey, casting, seating : results of the steps
        None for a step that was not run; the screen then ends where the work did.
    report : str
        Where the report is; left out when empty.

    Returns
    -------
    rich.text.Text
        Lines of at most 92 columns; ``.plain`` is the same without weight.
    """
    text = Text()
    title = f"Case {case.number}" + (f": {case.title}" if case.title else "")
    text.append(textwrap.shorten(title, WIDTH, placeholder="…") + "\n\n")
    if survey and casting and seating:
        _verdict(text, seating)
        _line(text, "do next", next_action(survey, casting, seating))
        text.append("\n")
    if scan:
        _line(text, "scan", f"{scan.file}, {scan.format}, {scan.unit}, {whole(scan.triangles)} triangles")
    if survey:
        _pins(text, survey)
    if casting:
        _scale(text, casting)
    if seating:
        text.append("\n")
        _changes(text, seating)
    _findings(text, all_findings(survey, casting, seating))
    if report:
        text.append("\n")
        _line(text, "report", report)
    return text


def step_summary(
    case: Case, lines: Iterable[tuple[str, str]], findings: Iterable[Finding], files: Iterable[str]
) -> Text:
    """The result of one step in one screen of text.

    Parameters
    ----------
    case : Case
    lines : iterable of (head, words)
        What it found, a short head each.
    findings : iterable of Finding
        Of this step; the clear ones are counted, the others shown with what to do.
    files : iterable of str
        What it wrote.

    Returns
    -------
    rich.text.Text
    """
    text = Text()
    title = f"Case {case.number}" + (f": {case.title}" if case.title else "")
    text.append(textwrap.shorten(title, WIDTH, placeholder="…") + "\n\n")
    for head, words in lines:
        _line(text, head, words)
    found = worst_first(findings)
    _findings(text, found, most=8, advise=True)
    clear = sum(finding.verdict == "clear" for finding in found)
    if clear:
        _line(
            text, "clear", f"{clear} of {len(found)} checks" if clear < len(found) else f"all {clear} checks"
        )
    written = list(files)
    if written:
        text.append("\n")
    for i, name in enumerate(written):
        _line(text, "wrote" if i == 0 else "", name)
    return text


def _line(text: Text, head: str, words: str, *, style: str = "dim") -> None:
    """One entry: a short head, then wrapped words."""
    text.append(f"  {head:<{_INDENT - 2}}", style=style)
    wrapped = textwrap.wrap(typeset(words), WIDTH - _INDENT, break_on_hyphens=False)
    text.append(("\n" + " " * _INDENT).join(wrapped).replace("\u00a0", " ") + "\n")


def _verdict(text: Text, seating: SeatingResult) -> None:
    _line(text, seating.verdict.upper(), why(seating), style="bold")
    text.append("\n")
    wanted = fixed(100.0 * seating.wanted_probability, 0)
    within = f"within {fixed(seating.limit_um, 0)} µm"
    tight = f"within {fixed(seating.tight_limit_um, 0)} µm"
    _line(
        text,
        "chance",
        f"{chance(seating.chance, seating.trials)} {within}, wanted {wanted} %; "
        f"{chance(seating.chance_tight, seating.trials)} {tight}; ± is that of counting bridges, "
        "not of what was assumed",
    )
    cannot = chance(seating.entry_failures, seating.trials)
    _line(text, "opening", f"{opening_words(seating)}; {cannot} cannot enter")


def _pins(text: Text, survey: SurveyResult) -> None:
    source = "fitted to the scan" if survey.field.basis == "scan" else "from calliper readings"
    _line(text, "pins", f"{len(survey.field.pins)}, {source}")
    tilt, u_tilt = tilt_deg(survey.field, survey.window.centre)
    for tooth in dict.fromkeys(pin.tooth for pin in survey.field.pins):
        leans = [
            f"{pin.number}: {with_u(float(t), float(u), 'deg')}"
            for pin, t, u in zip(survey.field.pins, tilt, u_tilt, strict=True)
            if pin.tooth == tooth
        ]
        _line(text, f"  {both(tooth)}", "lean from the draw, pin " + ", ".join(leans))
    window = survey.window
    size = with_u(abs(window.size_deg), window.u_size_deg, "deg")
    limiting = f", limited by {' and '.join(window.limited_by)}" if window.limited_by else ""
    common = f"one draw serves all pins, {size} to spare{limiting}"
    _line(
        text, "draw", common if window.size_deg >= 0.0 else f"no draw serves all pins, {size} short{limiting}"
    )
    if survey.blind:
        more = f"; and {len(survey.blind) - 2} more" if len(survey.blind) > 2 else ""
        _line(text, "not seen", "; ".join(survey.blind[:2]) + more)


def _scale(text: Text, casting: CastingResult) -> None:
    net = casting.fit.net_scale
    span = with_u(casting.span_error_um, casting.u_span_error_um, "um", 0)
    _line(
        text,
        "net scale",
        f"{with_u(net.mean, net.u, '%')}, which is {span} over the {fixed(casting.span_mm, 1)} mm span",
    )


def _changes(text: Text, seating: SeatingResult) -> None:
    losing = "; ".join(f"{s.group} {with_u(s.total_index, s.standard_error, '')}" for s in seating.shares[:3])
    _line(text, "loses the fit", losing or "nothing stands out")
    for i, lever in enumerate(seating.levers[:3], 1):
        gain = with_u(100.0 * lever.gain, 100.0 * lever.u_gain, "", 1)
        less = fixed(lever.gain_lacking_um, 0)
        caution = f"; {lever.caution}" if lever.caution else ""
        _line(
            text, f"change {i}", f"{lever.change}: chance up {gain} points, {less} µm more clearance{caution}"
        )


def _findings(text: Text, found: tuple[Finding, ...], most: int = 4, *, advise: bool = False) -> None:
    found = tuple(f for f in found if f.verdict != "clear")
    if found:
        text.append("\n")
    for finding in found[:most]:
        number = "" if finding.value is None else with_u(finding.value, finding.uncertainty, finding.unit)
        where = f"{finding.where}: " if finding.where else ""
        _line(text, finding.verdict, f"{where}{finding.says.rstrip('.')}{f' ({number})' if number else ''}")
        if advise and finding.do:
            _line(text, "", sentence(finding.do))
    if len(found) > most:
        _line(text, "", f"and {len(found) - most} more in the result files")
