"""Places besides the pins where the casting can touch the tooth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FaceKind = Literal["margin", "ledge", "wall", "groove"]


@dataclass(frozen=True, eq=False)
class Face:
    """A small patch of tooth surface that the casting meets: a half-space in the contact problem.

    Margins and ledges count for the opening; walls and grooves only stop the casting.

    Attributes
    ----------
    kind : {"margin", "ledge", "wall", "groove"}
    tooth : int
    point : (3,) array, mm
    normal : (3,) array
        Unit vector out of the tooth, towards the casting.
    basis : str
        ``"picked on the scan"``, ``"stated"`` or ``"assumed from crown size"``.
    """

    kind: FaceKind
    tooth: int
    point: NDArray[np.float64]
    normal: NDArray[np.float64]
    basis: str


@dataclass(frozen=True, eq=False)
class MarginLine:
    """The margin of one tooth.

    Attributes
    ----------
    tooth : int
    points : (k, 3) array, mm
        Point by point on the scan.
    closed : bool
        Whether it runs all the way round; first and last point are the same then.
    """

    tooth: int
    points: NDArray[np.float64]
    closed: bool
