"""What ``pinseat run`` prints: the verdict and what stands behind it, in one screen."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from itertools import groupby
from typing import TYPE_CHECKING, Protocol

from rich.text import Text

from pinseat.case.model import Case
from pinseat.casting.model import CastingResult
from pinseat.ledger.findings import Finding
from pinseat.report.advice import all_findings, next_action, opening_words, sentence, why, worst_first
from pinseat.report.inputs import ScanPart
from pinseat.report.lean import lean_size_deg
from pinseat.report.rounding import chance, fixed, typeset, unit_mark, whole, with_u
from pinseat.report.teeth import both
from pinseat.seating.model import SeatingResult
from pinseat.survey.model import SurveyResult

if TYPE_CHECKING:
    from pinseat.survey.inspection import UndercutNote
    from pinseat.survey.measure import Measure


class Sheet(Protocol):
    """What is printed of a survey sheet."""

    @property
    def undercut(self) -> UndercutNote | None:
        """None without a scan."""

    @property
    def measures(self) -> tuple[Measure, ...]:
        """Each beside its limit."""


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
    title = f"Case {case.number}" + (f": {case.title}" if case.title else "")
    return screen(title, lines, findings, files)


def screen(
    title: str, lines: Iterable[tuple[str, str]], findings: Iterable[Finding], files: Iterable[str]
) -> Text:
    """The same under a title of its own; see :func:`step_summary`."""
    text = Text()
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


def survey_lines(survey: SurveyResult, sheet: Sheet) -> Iterable[tuple[str, str]]:
    """What ``pinseat survey`` prints: pins, draw, undercut, and each measure beside its limit.

    Parameters
    ----------
    survey : SurveyResult
    sheet : object
        With `undercut` (a note or None) and `measures`.

    Returns
    -------
    iterable of (head, words)
    """
    yield "pins", f"{len(survey.field.pins)}"
    yield from _leans(survey)
    yield "draw", window_line(survey)
    note = sheet.undercut
    if note is not None:
        yield "undercut", f"{fixed(note.area_mm2, 0)} mm² of the whole scan along this draw"
        yield (
            "",
            f"least of {whole(note.tried)} draws within {fixed(note.half_angle_deg, 0)}°: "
            f"{fixed(note.least_area_mm2, 0)} mm², leaning {fixed(note.least_lean_deg, 1)}° from it",
        )
        deepest = [f"{part.name} {fixed(1000.0 * part.deepest_mm, 0)} µm" for part in note.regions]
        if deepest:
            yield "", f"deepest in each region: {', '.join(deepest)}"
    for code in dict.fromkeys(measure.code for measure in sheet.measures):
        yield "measured", _measured([one for one in sheet.measures if one.code == code])


def _measured(measures: list[Measure]) -> str:
    """Measures of one kind in a line: ``usable height of the wall: wall of tooth 11 4.20 ± 0.07 mm; ...``."""
    first = measures[0]
    limit = ""
    if first.limit is not None:
        side = "least" if first.at_least else "most"
        limit = f"; at {side} {fixed(first.limit, 1)}{unit_mark(first.unit)} wanted"
    each = [f"{one.where} {with_u(one.value, one.u, one.unit)}" for one in measures]
    return f"{first.says}: {', '.join(each)}{limit}"


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
    for head, words in _leans(survey):
        _line(text, head, words)
    _line(text, "draw", window_line(survey))
    if survey.blind:
        more = f"; and {len(survey.blind) - 2} more" if len(survey.blind) > 2 else ""
        _line(text, "not seen", "; ".join(survey.blind[:2]) + more)


def _leans(survey: SurveyResult) -> Iterable[tuple[str, str]]:
    """How far each pin leans from the draw, a line a tooth."""
    lean, u_lean = lean_size_deg(survey.field, survey.window.centre)
    for tooth in dict.fromkeys(pin.tooth for pin in survey.field.pins):
        leans = [
            f"{pin.number}: {with_u(float(t), float(u), 'deg')}"
            for pin, t, u in zip(survey.field.pins, lean, u_lean, strict=True)
            if pin.tooth == tooth
        ]
        yield f"  {both(tooth)}", "lean from the draw, pin " + ", ".join(leans)


def window_line(survey: SurveyResult) -> str:
    """The size of the draw window, and what limits it, in words."""
    window = survey.window
    size = with_u(abs(window.size_deg), window.u_size_deg, "deg")
    limiting = f", limited by {_listed(window.limited_by)}" if window.limited_by else ""
    serves = "all pins" if not survey.regions else "all pins and walls"
    if window.size_deg >= 0.0:
        return f"one draw serves {serves}, {size} to spare{limiting}"
    return f"no draw serves {serves}, {size} short{limiting}"


def _listed(names: tuple[str, ...]) -> str:
    return " and ".join([*([", ".join(names[:-1])] if len(names) > 1 else []), names[-1]])


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
    if advise:
        groups = [list(alike) for _, alike in groupby(found, lambda f: (f.verdict, f.code, f.says, f.do))]
    else:
        groups = [[finding] for finding in found]
    for alike in groups[:most]:
        first = alike[0]
        each = "; ".join(word for finding in alike if (word := _place_and_number(finding)))
        _line(text, first.verdict, f"{first.says.rstrip('.')}{f' ({each})' if each else ''}")
        if advise and first.do:
            _line(text, "", sentence(first.do))
    found = tuple(finding for alike in groups[most:] for finding in alike)
    if found:
        _line(text, "", f"and {len(found)} more in the result files")


def _place_and_number(finding: Finding) -> str:
    number = "" if finding.value is None else with_u(finding.value, finding.uncertainty, finding.unit)
    return " ".join(word for word in (finding.where, number) if word)
