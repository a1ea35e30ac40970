"""The fit ledger: one row a copy, and what each copy does to scale, position, tilt and depth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Basis = Literal["measured here", "published", "common practice", "from memory", "assumed"]


@dataclass(frozen=True)
class Entry:
    """One error of one copy: mean and standard uncertainty, with where they come from.

    Attributes
    ----------
    mean, u : float
        In `unit`. For position and tilt the mean is 0 and `u` is the standard deviation of each of the two
        components across the pin axis.
    unit : {"%", "um", "deg"}
    basis : str
    source : str
        Reference, or the reading that replaced it.
    """

    mean: float
    u: float
    unit: Literal["%", "um", "deg"]
    basis: Basis
    source: str


@dataclass(frozen=True)
class Row:
    """One copy: impression, die, pattern, investment, alloy.

    Attributes
    ----------
    copy : str
        Name of the copy.
    route : str
        What was chosen for it: ``polyether``, ``silver plated``.
    scale : Entry
        Linear change from the thing copied to the copy, in %; positive = larger. Common to all pins.
    position : Entry
        Error of each pin across its axis, in um; independent from pin to pin.
    tilt : Entry
        Error of each pin's direction, in deg; independent from pin to pin.
    depth : Entry
        Error of each pin along its axis, in um; positive = pin stands too far out of the impression =
        the hole in the die, and so the cast pin, too long.
    """

    copy: str
    route: str
    scale: Entry
    position: Entry
    tilt: Entry
    depth: Entry


@dataclass(frozen=True)
class FitLedger:
    """All copies from tooth to casting.

    Attributes
    ----------
    rows : tuple of Row
        In the order of the work.
    net_scale : Entry
        Product of the factors (1 + s), minus 1, in %; uncertainty by the law of propagation (JCGM 100).
    """

    rows: tuple[Row, ...]
    net_scale: Entry
