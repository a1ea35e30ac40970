"""Weights in the bench log: how much metal the balance says there is, and since when."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from pinseat.case.log import Entry
from pinseat.plating.charge import moment, reading
from pinseat.reference import value

BEFORE, AFTER = "weight before", "weight after"


@dataclass(frozen=True)
class Weighing:
    """Metal on one piece, or on all together, by the balance.

    Attributes
    ----------
    piece : str
        Empty for all together.
    gained_g, u_gained_g : float
    since, until : str
        ISO 8601, UTC: the first weighing and the last.
    """

    piece: str
    gained_g: float
    u_gained_g: float
    since: str
    until: str


def weighings(entries: Sequence[Entry]) -> tuple[Weighing, ...]:
    """What each piece gained from its first weight before to its last weight after.

    Parameters
    ----------
    entries : sequence of Entry
        In the order of the file.

    Returns
    -------
    tuple of Weighing
        By piece; a piece that was weighed once only is not there.
    """
    first: dict[str, tuple[float, datetime]] = {}
    last: dict[str, tuple[float, datetime]] = {}
    for entry in sorted(entries, key=moment):
        if (before := reading(entry, BEFORE)) is not None:
            first.setdefault(entry.piece, (before, moment(entry)))
        if (after := reading(entry, AFTER)) is not None:
            last[entry.piece] = (after, moment(entry))
    u = math.sqrt(2.0) * (value("plating.balance_g").uncertainty or 0.0)
    return tuple(
        Weighing(piece, last[piece][0] - grams, u, _iso(since), _iso(last[piece][1]))
        for piece, (grams, since) in sorted(first.items())
        if piece in last
    )


def together(found: Sequence[Weighing], pieces: Sequence[str]) -> Weighing | None:
    """All pieces as one: weighed together, or each on its own; None when some were not weighed.

    Parameters
    ----------
    found : sequence of Weighing
    pieces : sequence of str
        Names of all pieces.
    """
    by_name = {one.piece: one for one in found}
    each = [by_name[name] for name in pieces if name in by_name]
    if "" in by_name:
        return by_name[""]
    if not pieces or len(each) < len(pieces):
        return None
    return Weighing(
        piece="",
        gained_g=sum(one.gained_g for one in each),
        u_gained_g=math.sqrt(sum(one.u_gained_g**2 for one in each)),
        since=min(one.since for one in each),
        until=max(one.until for one in each),
    )


def _iso(when: datetime) -> str:
    return when.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
