"""The five copies from tooth to casting, one ledger row each, from reference values or readings."""

from __future__ import annotations

import math
from typing import Literal

from pinseat.case.model import Case, Measured
from pinseat.errors import CastingError, ReferenceValueError
from pinseat.ledger.rows import Entry, Row
from pinseat.reference import value

Copy = Literal["impression", "die", "pattern", "investment", "alloy"]
COPIES: tuple[Copy, ...] = ("impression", "die", "pattern", "investment", "alloy")
Error = Literal["scale", "position", "tilt", "depth"]
UNIT: dict[Error, Literal["%", "um", "deg"]] = {"scale": "%", "position": "um", "tilt": "deg", "depth": "um"}
NAME_UNIT = {"%": "percent", "um": "um", "deg": "deg"}
LARGEST_SCALE_PERCENT = 10.0
"""More than twice the largest change of length of any material in the chain."""


def ledger_rows(case: Case) -> tuple[Row, ...]:
    """One row a copy, in the order of the work.

    Parameters
    ----------
    case : Case
        Its `chain` names the routes; each of its `measured` readings replaces one entry.

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
        route: str = getattr(case.chain, copy)
        entries = {
            error: measured_entry(reading)
            if (reading := readings.get((copy, error)))
            else reference_entry(copy, route, error)
            for error in UNIT
        }
        rows.append(Row(copy=copy, route=route, **entries))
    return tuple(rows)


def reference_entry(copy: Copy, route: str, error: Error) -> Entry:
    """The reference value for one error of one copy, named like ``ledger.die.silver_plated.scale_percent``.

    Examples
    --------
    >>> entry = reference_entry("die", "silver plated", "scale")
    >>> entry.mean, round(entry.u, 3), entry.unit, entry.basis
    (0.0, 0.115, '%', 'assumed')
    """
    unit = UNIT[error]
    found = value(f"ledger.{copy}.{route.replace(' ', '_')}.{error}_{NAME_UNIT[unit]}")
    if found.uncertainty is None:
        raise ReferenceValueError(
            "the fit ledger needs an uncertainty here", where=f"{found.file}, {found.name}", value="none"
        )
    return Entry(found.value, found.uncertainty, unit, found.basis, found.reference)


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
