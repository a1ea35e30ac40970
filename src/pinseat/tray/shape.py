"""What a tray will be, decided before anything is made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.tray.border import Border
from pinseat.tray.cast import Cast
from pinseat.tray.distance import Field, Grid
from pinseat.tray.stops import Steadiness, Stop

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Shape:
    """Everything that decides the body, before it is made.

    Attributes
    ----------
    cast : Cast
    grid : Grid
    border : Border
    inside : array
        See :func:`pinseat.tray.body.inside_field`.
    covered : (nx, ny) bool array
        Columns that the tray covers.
    pull : (2,) array, mm
    stops : tuple of Stop
    steady : Steadiness or None
        None with fewer than three stops.
    on_prepared : tuple of (int, int)
        Number of each stop that stands on a prepared tooth, and the tooth.
    in_pocket : tuple of (int, str)
        Number of each stop that stands in a pin's room, and the pin.
    """

    cast: Cast
    grid: Grid
    border: Border
    inside: Field
    covered: NDArray[np.bool_]
    pull: Float
    stops: tuple[Stop, ...]
    steady: Steadiness | None
    on_prepared: tuple[tuple[int, int], ...]
    in_pocket: tuple[tuple[int, str], ...]
