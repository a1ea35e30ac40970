"""What casting gives."""

from __future__ import annotations

from dataclasses import dataclass

from pinseat.ledger.findings import Finding
from pinseat.ledger.rows import FitLedger


@dataclass(frozen=True)
class CastingResult:
    """The chain of copies for this case.

    Attributes
    ----------
    fit : FitLedger
    span_mm : float
        Largest distance between two pin feet.
    span_error_um, u_span_error_um : float
        What the net scale does over that span.
    findings : tuple of Finding
    """

    fit: FitLedger
    span_mm: float
    span_error_um: float
    u_span_error_um: float
    findings: tuple[Finding, ...]
