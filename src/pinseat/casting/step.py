"""Casting: the fit ledger of this case, and what its scale does to the spans."""

from __future__ import annotations

from pinseat.case.model import Case
from pinseat.casting.checks import compensation_finding, investment_finding, span_finding
from pinseat.casting.compensation import with_law
from pinseat.casting.copies import ledger_rows
from pinseat.casting.hazards import hazards
from pinseat.casting.model import CastingResult
from pinseat.casting.scale import net_scale, span_error_um
from pinseat.casting.span import spans
from pinseat.errors import CastingError
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.ledger.rows import FitLedger


def run(case: Case, upstream: Handover, progress: Progress = quiet) -> CastingResult:
    """Put the ledger of copies together and check it against the spans of this case.

    Parameters
    ----------
    case : Case
    upstream : Handover
        Needs the pins of survey.
    progress : callable

    Returns
    -------
    CastingResult

    Raises
    ------
    CastingError
        Without surveyed pins, or when the readings of the case contradict each other.
    """
    if upstream.field is None:
        raise CastingError("the pins have not been surveyed yet", do="run survey first")
    progress("adding up the copies", 0.0)
    rows = with_law(case, ledger_rows(case, upstream.impression))
    net = net_scale(rows)
    pairs = spans(case, upstream.field)
    longest = max((pair.length_mm for pair in pairs), default=0.0)
    about_span = span_finding(rows, pairs)
    found = (about_span, compensation_finding(about_span, rows), investment_finding(rows))
    progress("adding up the copies", 1.0)
    return CastingResult(
        fit=FitLedger(rows=rows, net_scale=net),
        span_mm=longest,
        span_error_um=span_error_um(net.mean, longest),
        u_span_error_um=span_error_um(net.u, longest),
        findings=(*(finding for finding in found if finding is not None), *hazards(case.chain)),
    )
