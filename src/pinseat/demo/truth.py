"""What is known about an invented scan, in the scan's own coordinates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.faces import FaceKind

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class TruePin:
    """One pin as it stands; see :class:`pinseat.ledger.pins.Pin`."""

    tooth: int
    number: int
    foot: Float
    axis: Float
    diameter_mm: float
    protrusion_mm: float

    @property
    def name(self) -> str:
        """Tooth and number, ``11-2``."""
        return f"{self.tooth}-{self.number}"


@dataclass(frozen=True, eq=False)
class TrueFace:
    """A picked place with the true normal of the surface there; see :class:`pinseat.ledger.faces.Face`."""

    kind: FaceKind
    tooth: int
    point: Float
    normal: Float


@dataclass(frozen=True, eq=False)
class Truth:
    """Everything known about an invented scan.

    Attributes
    ----------
    pins : tuple of TruePin
    faces : tuple of TrueFace
    middles : dict of int to (3,) array
        A point on each prepared tooth.
    draw : (3,) array
        Unit vector along which the teeth were cut.
    holes : tuple of ((3,) array, float)
        Centre and radius of the places that were not captured, mm.
    edge_mm : float
        Edge length around the pins.
    noise_um : float
        Standard deviation along the normals.
    warp_um : float
        Largest displacement of the smooth warp.
    rotation : (3, 3) array
    shift : (3,) array
        Scan coordinates = rotation @ (model + warp) + shift.
    """

    pins: tuple[TruePin, ...]
    faces: tuple[TrueFace, ...]
    middles: dict[int, Float]
    draw: Float
    holes: tuple[tuple[Float, float], ...]
    edge_mm: float
    noise_um: float
    warp_um: float
    rotation: Float
    shift: Float
