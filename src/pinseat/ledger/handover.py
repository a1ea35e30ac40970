"""What earlier steps hand to a later one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.faces import Face, MarginLine
from pinseat.ledger.pins import PinField
from pinseat.ledger.rows import FitLedger, Row

Progress = Callable[[str, float], None]
"""Called with what is being done and the fraction done (0 to 1) of the running step."""


def quiet(doing: str, fraction: float) -> None:
    """Progress for callers who do not want any."""


@dataclass(frozen=True, eq=False)
class Handover:
    """The upstream of a step: each field is there once its step has run.

    Attributes
    ----------
    field : PinField or None
        From survey.
    faces : tuple of Face
        From survey.
    draw : (3,) array or None
        From survey: unit vector off the teeth.
    blind : tuple of str
        From survey: what the readings cannot see, in words; empty when they see everything needed.
    fit : FitLedger or None
        From casting.
    margins : tuple of MarginLine
        From survey.
    impression : Row or None
        From impression, where the case states anything of it; else the ledger assumes a row.
    """

    field: PinField | None = None
    faces: tuple[Face, ...] = ()
    draw: NDArray[np.float64] | None = None
    blind: tuple[str, ...] = ()
    margins: tuple[MarginLine, ...] = ()
    fit: FitLedger | None = None
    impression: Row | None = None
