"""A row of the fit ledger put together from parts that act on the same copy."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pinseat.ledger.copies import UNIT, Error
from pinseat.ledger.rows import Basis, Entry, Row

WEAKEST_LAST: tuple[Basis, ...] = ("measured here", "published", "common practice", "from memory", "assumed")


def nothing(error: Error) -> Entry:
    """An entry of a part that does not act on this error."""
    return Entry(0.0, 0.0, UNIT[error], "measured here", "")


def joined(copy: str, route: str, parts: Sequence[Row]) -> Row:
    """One row from independent parts: means add, uncertainties in quadrature (JCGM 100, 5.1.2).

    Scales are added too, not multiplied: the parts are below 1 %, so their products are below 0.01 %.

    Parameters
    ----------
    copy, route : str
        Of the row to make.
    parts : sequence of Row
        Each with its own name as `route`.

    Returns
    -------
    Row
        Each entry has the weakest basis among the parts that act on it.

    Examples
    --------
    >>> none = nothing("tilt")
    >>> def part(u):
    ...     return Row("impression", "a", nothing("scale"), Entry(0.0, u, "um", "published", "p"), none, none)
    >>> entry = joined("impression", "polyether", [part(3.0), part(4.0)]).position
    >>> entry.u, entry.basis, entry.source
    (5.0, 'published', 'p')
    """
    return Row(copy, route, *(_joined(error, [getattr(part, error) for part in parts]) for error in UNIT))


def _joined(error: Error, entries: Sequence[Entry]) -> Entry:
    acting = [entry for entry in entries if entry.mean or entry.u]
    return Entry(
        mean=math.fsum(entry.mean for entry in acting),
        u=math.hypot(0.0, *(entry.u for entry in acting)),
        unit=UNIT[error],
        basis=max((entry.basis for entry in acting), key=WEAKEST_LAST.index, default="measured here"),
        source="; ".join(dict.fromkeys(entry.source for entry in acting)),
    )
