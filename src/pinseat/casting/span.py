"""Spans between pins, and the play their holes leave."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from pinseat.case.model import Case
from pinseat.errors import CastingError
from pinseat.ledger.pins import PinField


@dataclass(frozen=True)
class Span:
    """Two pins, the distance of their feet, and the clearance that a pitch error between them may use up.

    Attributes
    ----------
    pins : tuple of str
        ``("13-1", "23-2")``.
    length_mm : float
    clearance_um : float
        Mean of the two diametral clearances: each pin can give half of its own.
    """

    pins: tuple[str, str]
    length_mm: float
    clearance_um: float


def spans(case: Case, field: PinField) -> tuple[Span, ...]:
    """Every pair of pins, in the order of the field.

    Parameters
    ----------
    case : Case
    field : PinField

    Returns
    -------
    tuple of Span
        Empty with fewer than two pins.

    Raises
    ------
    CastingError
        If a pin stands in a tooth that is not among the abutments.
    """
    play = {a.tooth: round(1000.0 * (a.hole_diameter_mm - a.cast_pin_diameter_mm), 6) for a in case.abutments}
    for pin in field.pins:
        if pin.tooth not in play:
            raise CastingError(
                "this pin's tooth is not among the abutments",
                where=f"pin {pin.name}",
                limit=", ".join(map(str, play)),
                do="add the tooth under [[abutments]] or reject the pin",
            )
    return tuple(
        Span(
            pins=(first.name, second.name),
            length_mm=float(np.linalg.norm(first.foot - second.foot)),
            clearance_um=(play[first.tooth] + play[second.tooth]) / 2.0,
        )
        for first, second in combinations(field.pins, 2)
    )
