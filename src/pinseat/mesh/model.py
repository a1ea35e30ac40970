"""The one mesh type everything shares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Int = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Mesh:
    """A triangle mesh in millimetres.

    Attributes
    ----------
    vertices : (n, 3) float64 array, mm
    faces : (m, 3) int32 array
        Vertex indices, counter-clockwise seen from outside.
    """

    vertices: Float
    faces: Int
