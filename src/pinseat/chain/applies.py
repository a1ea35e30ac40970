"""Which steps have a meaning for a case, told from what is stated alone."""

from __future__ import annotations

from pinseat.case.impression import ImpressionWork
from pinseat.case.model import Case


def has_scan(case: Case) -> bool:
    """Whether a case was scanned; the other way in is callipers."""
    return case.scan is not None


def has_pins(case: Case) -> bool:
    """Whether there is a pin to take an impression of."""
    return any(abutment.pins for abutment in case.abutments)


def has_layout(case: Case) -> bool:
    """Whether pins are measured with callipers, so that readings can be planned."""
    return case.callipers is not None


def impression_if_stated(case: Case) -> tuple[str, ...]:
    """The impression counts in the ledger as computed where a person states anything of it.

    Otherwise the ledger assumes a row: what is known then is the rubber alone.
    """
    return ("impression",) if has_pins(case) and case.impression != ImpressionWork() else ()
