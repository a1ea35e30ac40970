"""The ledger row of a copy as the reference values have it, before any reading."""

from __future__ import annotations

from typing import Literal

from pinseat.errors import ReferenceValueError
from pinseat.ledger.rows import Entry, Row
from pinseat.reference import value

Error = Literal["scale", "position", "tilt", "depth"]
UNIT: dict[Error, Literal["%", "um", "deg"]] = {"scale": "%", "position": "um", "tilt": "deg", "depth": "um"}
_NAME_UNIT = {"%": "percent", "um": "um", "deg": "deg"}


def reference_row(copy: str, route: str) -> Row:
    """One copy by one route, from values named like ``ledger.die.silver_plated.scale_percent``.

    Parameters
    ----------
    copy : str
        ``impression``, ``die``, ``pattern``, ``investment`` or ``alloy``.
    route : str
        As in the case: ``silver plated``.

    Returns
    -------
    Row

    Raises
    ------
    ReferenceValueError
        If a value is missing or has no uncertainty.

    Examples
    --------
    >>> entry = reference_row("die", "silver plated").scale
    >>> entry.mean, round(entry.u, 3), entry.unit, entry.basis
    (0.0, 0.115, '%', 'assumed')
    """
    entries = {error: _entry(copy, route, error) for error in UNIT}
    return Row(copy=copy, route=route, **entries)


def _entry(copy: str, route: str, error: Error) -> Entry:
    unit = UNIT[error]
    found = value(f"ledger.{copy}.{route.replace(' ', '_')}.{error}_{_NAME_UNIT[unit]}")
    if found.uncertainty is None:
        raise ReferenceValueError(
            "the fit ledger needs an uncertainty here", where=f"{found.file}, {found.name}", value="none"
        )
    return Entry(found.value, found.uncertainty, unit, found.basis, found.reference)
