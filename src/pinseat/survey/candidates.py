"""What stands up from the surface: the places where a pin might be.

A top-hat of the height field (the field less its opening by a disc) keeps what is narrower than the disc, so
a pin stands out even on a steep tooth. It only proposes; the cylinder decides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pinseat.mesh.model import Mesh
from pinseat.mesh.raster import height_field

Float = NDArray[np.float64]

PIXEL_MM = 0.15


@dataclass(frozen=True, eq=False)
class Candidate:
    """Something narrow that stands up.

    Attributes
    ----------
    view : (3,) array
        Unit vector towards the eye that saw it.
    top : (3,) array, mm
        Its highest place.
    rise_mm : float
        Its height over what is around it, along the view.
    group : int
        Candidates of one group stand on one narrow ridge.
    at_rim : bool
        The ridge reaches the edge of the scan, whose ragged tongues are narrow and high too.
    """

    view: Float
    top: Float
    rise_mm: float
    group: int
    at_rim: bool


def candidates(mesh: Mesh, view: Float, widest_mm: float, lowest_mm: float) -> list[Candidate]:
    """Find what is narrow and stands up.

    Parameters
    ----------
    mesh : Mesh
    view : (3,) array
        Unit vector off the teeth.
    widest_mm : float
        Anything wider is part of the tooth.
    lowest_mm : float
        Anything lower is not looked at.

    Returns
    -------
    list of Candidate
        Tallest first.
    """
    field = height_field(mesh, view, PIXEL_MM)
    height = field.height
    rise = np.where(np.isnan(height), 0.0, np.nan_to_num(height) - _opening(height, widest_mm / 2.0))
    high = rise > lowest_mm
    groups, _ = ndimage.label(high, structure=np.ones((3, 3)))
    peak = high & (rise >= ndimage.maximum_filter(rise, footprint=_disc(0.6 / PIXEL_MM), mode="nearest"))
    rows, columns = np.nonzero(peak)
    order = np.lexsort((columns, rows, -rise[rows, columns]))
    rows, columns = rows[order], columns[order]
    rim = np.unique(groups[ndimage.binary_dilation(np.isnan(height))])
    places = zip(
        field.to_world(rows, columns),
        rise[rows, columns].tolist(),
        groups[rows, columns].tolist(),
        np.isin(groups[rows, columns], rim).tolist(),
        strict=True,
    )
    return [Candidate(view, *place) for place in places]


def _disc(radius_px: float) -> NDArray[np.bool_]:
    r = int(radius_px)
    y, x = np.ogrid[-r : r + 1, -r : r + 1]
    return np.asarray(x * x + y * y <= radius_px * radius_px)


def _opening(height: Float, radius_mm: float) -> Float:
    """Grey opening by a disc; empty places neither lower nor raise their neighbours."""
    disc = _disc(radius_mm / PIXEL_MM)
    empty = np.isnan(height)
    low = ndimage.minimum_filter(
        np.where(empty, np.inf, height), footprint=disc, mode="constant", cval=np.inf
    )
    low = np.where(empty, -np.inf, low)
    return np.asarray(ndimage.maximum_filter(low, footprint=disc, mode="constant", cval=-np.inf))
