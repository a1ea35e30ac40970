"""The five copies from tooth to casting, one ledger row each, from reference values or readings."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Literal

from pinseat.case.model import Case, Measured
from pinseat.errors import CastingError
from pinseat.ledger.copies import UNIT, Error, reference_row
from pinseat.ledger.rows import Entry, Row

Copy = Literal["impression", "die", "pattern", "investment", "alloy"]
COPIES: tuple[Copy, ...] = ("impression", "die", "pattern", "investment", "alloy")
LARGEST_SCALE_PERCENT = 10.0
"""More than twice the largest change of length of any material in the chain."""


def ledger_rows(case: Case, impression: Row | None = None) -> tuple[Row, ...]:
    """One row a copy, in the order of the work.

    Parameters
    ----------
    case : Case
        Its `chain` names the routes; each of its `measured` readings replaces one entry.
    impression : Row, optional
        As computed for this case; assumed when left out.

    Returns
    -------
    tuple of Row

    Raises
    ------
    CastingError
        If two readings claim the same entry.
    """
    readings = _readings(case)
    rows = []
    for copy in COPIES:
        measured: dict[str, Any] = {e: measured_entry(r) for (of, e), r in readings.items() if of == copy}
        computed = impression if copy == "impression" else None
        rows.append(replace(computed or reference_row(copy, getattr(case.chain, copy)), **measured))
    return tuple(rows)


def measured_entry(reading: Measured) -> Entry:
    """The entry a reading puts in place of the reference value.

    For position and tilt a reading has a size but no direction: a mean `m` then counts as ``m / sqrt(2)`` in
    each of the two directions, beside its uncertainty.

    Raises
    ------
    CastingError
        If a scale is larger than any copy can have: a slipped decimal point, or a factor for a percentage.

    Examples
    --------
    >>> reading = Measured(copy="die", error="position", mean=12.0, u=5.0, how="measuring microscope")
    >>> entry = measured_entry(reading)
    >>> entry.mean, round(entry.u, 2), entry.basis
    (0.0, 9.85, 'measured here')
    """
    mean, u = reading.mean, reading.u
    if reading.error == "scale" and abs(mean) > LARGEST_SCALE_PERCENT:
        raise CastingError(
            f"no {reading.copy_} changes size by so much",
            where="case.toml, [[measured]]",
            value=f"{mean:g} %",
            limit=f"at most {LARGEST_SCALE_PERCENT:g} % either way",
            do="give the change of length in %, such as 1.65",
        )
    if reading.error in ("position", "tilt"):
        mean, u = 0.0, math.hypot(reading.u, reading.mean / math.sqrt(2.0))
    return Entry(mean, u, UNIT[reading.error], "measured here", reading.how)


def _readings(case: Case) -> dict[tuple[Copy, Error], Measured]:
    found: dict[tuple[Copy, Error], Measured] = {}
    for reading in case.measured:
        key = (reading.copy_, reading.error)
        if key in found:
            raise CastingError(
                f"the {reading.error} of the {reading.copy_} is measured twice",
                where="case.toml, [[measured]]",
                value=f"{found[key].mean:g} and {reading.mean:g} {UNIT[reading.error]}",
                do="keep one reading: their mean with its uncertainty, or the better of them",
            )
        found[key] = reading
    return found
