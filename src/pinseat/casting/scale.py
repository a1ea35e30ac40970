"""How scale errors add up: factors multiply, they are not added.

A copy with scale ``s`` multiplies every length by ``1 + s``. An investment that expands by ``e`` gives
``1 + e``; an alloy that shrinks by ``s`` gives ``1 - s``, so the expansion that just makes up for it is
``1/(1 - s) - 1``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from scipy.special import ndtr

from pinseat.ledger.rows import Basis, Entry, Row

WEAKEST_LAST: tuple[Basis, ...] = ("measured here", "published", "common practice", "from memory", "assumed")


def net_scale(rows: Sequence[Row]) -> Entry:
    """Scale from the first thing copied to the last copy.

    ``1 + S = product of (1 + s_i)``; first-order propagation for independent factors (JCGM 100, 5.1.2):
    ``u(S) = (1 + S) sqrt(sum of (u_i / (1 + s_i))^2)``.

    Parameters
    ----------
    rows : sequence of Row

    Returns
    -------
    Entry
        In %; its basis is the weakest among the rows.

    Notes
    -----
    Good to 0.1 % of `u` for scales of a few per cent: the neglected terms are products of two such numbers.
    """
    factor = math.prod(1.0 + row.scale.mean / 100.0 for row in rows)
    relative = math.hypot(*(row.scale.u / (100.0 + row.scale.mean) for row in rows))
    basis = max((row.scale.basis for row in rows), key=WEAKEST_LAST.index)
    return Entry(
        mean=100.0 * (factor - 1.0),
        u=100.0 * factor * relative,
        unit="%",
        basis=basis,
        source="product of the copies; uncertainty by JCGM 100, 5.1.2",
    )


def wanted_scale(rows: Sequence[Row], copy: str) -> float:
    """Scale of one copy that would bring the net scale to zero, the others unchanged.

    Parameters
    ----------
    rows : sequence of Row
    copy : str
        For example ``"investment"``.

    Returns
    -------
    float
        In %.

    Examples
    --------
    >>> from pinseat.ledger.rows import Entry, Row
    >>> none, shrinks = Entry(0.0, 0.0, "%", "assumed", ""), Entry(-1.42, 0.0, "%", "assumed", "")
    >>> alloy = Row("alloy", "gold type 3", shrinks, none, none, none)
    >>> round(wanted_scale([alloy], "investment"), 4)
    1.4405
    """
    others = math.prod(1.0 + row.scale.mean / 100.0 for row in rows if row.copy != copy)
    return 100.0 * (1.0 / others - 1.0)


def u_wanted_scale(rows: Sequence[Row], copy: str) -> float:
    """Standard uncertainty of :func:`wanted_scale`, in %: first order, that of the other copies' product.

    Examples
    --------
    >>> from pinseat.ledger.rows import Entry, Row
    >>> none, shrinks = Entry(0.0, 0.0, "%", "assumed", ""), Entry(-1.42, 0.05, "%", "assumed", "")
    >>> round(u_wanted_scale([Row("alloy", "gold type 3", shrinks, none, none, none)], "investment"), 4)
    0.0515
    """
    left = [row.scale for row in rows if row.copy != copy]
    relative = math.hypot(*(entry.u / (100.0 + entry.mean) for entry in left))
    return (100.0 + wanted_scale(rows, copy)) * relative


def doubt_shares(rows: Sequence[Row]) -> dict[str, float]:
    """Part of the variance of the net scale that each copy brings.

    Parameters
    ----------
    rows : sequence of Row

    Returns
    -------
    dict of str to float
        From copy to its part, together 1; all 0 when nothing is in doubt.
    """
    parts = {row.copy: (row.scale.u / (100.0 + row.scale.mean)) ** 2 for row in rows}
    whole = math.fsum(parts.values())
    return {copy: part / whole if whole > 0.0 else 0.0 for copy, part in parts.items()}


def span_error_um(scale_percent: float, span_mm: float) -> float:
    """Change of a span by a scale error.

    Examples
    --------
    >>> round(span_error_um(0.2, 20.0), 6)
    40.0
    """
    return 10.0 * scale_percent * span_mm


def probability_within(mean: float, u: float, limit: float) -> float:
    """Probability that a normal quantity lies between ``-limit`` and ``+limit``.

    Parameters
    ----------
    mean, u, limit : float
        Same unit; `u` is one standard uncertainty and may be 0.

    Returns
    -------
    float
    """
    if limit <= 0.0:
        return 0.0
    if u == 0.0:
        return float(abs(mean) <= limit)
    return float(ndtr((limit - mean) / u) - ndtr((-limit - mean) / u))
