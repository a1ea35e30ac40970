"""Colours for numbers on a surface: even to the eye, safe for colour-blind eyes, tied to a decision limit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pinseat.mesh.model import Float

Colours = NDArray[np.uint8]

PLASTER = (244, 233, 215)
"""Colour of plaster (sRGB): the value is zero."""
NOT_MEASURED = (150, 150, 150)
"""Colour where there is no number."""
_AT_LIMIT = (160, 190, 219)
_BEYOND = (66, 116, 170)
_TWICE = (14, 26, 66)
_LOW_AT_LIMIT = (226, 178, 130)
_LOW_BEYOND = (178, 98, 34)
_LOW_TWICE = (70, 26, 6)

_TO_CONES = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
_FROM_CONES, _FROM_LAB = np.linalg.inv(_TO_CONES), np.linalg.inv(_TO_LAB)


def ramp(values: ArrayLike, limit: float) -> Colours:
    """Colour of each value, by its share of a decision limit.

    Plaster at zero and below; a pale blue up to the limit; there a step, so that the decision is seen; then
    a dark blue down to twice the limit and beyond. In both halves equal steps of the value look equally
    large, and it gets darker all the way, so that a print in grey tells the same.

    Parameters
    ----------
    values : (n,) array
        Not a number becomes grey: not measured.
    limit : float
        In the same unit, larger than 0. A value equal to the limit is within it.

    Returns
    -------
    (n, 3) uint8 array, sRGB

    Examples
    --------
    >>> ramp([0.0, 0.1, 0.1001, 9.0, np.nan], 0.1).tolist()
    [[244, 233, 215], [160, 190, 219], [66, 116, 170], [14, 26, 66], [150, 150, 150]]
    """
    value = np.asarray(values, np.float64)
    return _stepped(value, limit, (PLASTER, _AT_LIMIT, _BEYOND, _TWICE))


def two_way(values: ArrayLike, limit: float) -> Colours:
    """Colour of each value with a sign, by its share of a decision limit.

    As :func:`ramp` above zero, in blue; below it the same in brown, equally dark for equally much.

    Parameters
    ----------
    values : (n,) array
        Not a number becomes grey: not measured.
    limit : float
        In the same unit, larger than 0; of either sign.

    Returns
    -------
    (n, 3) uint8 array, sRGB

    Examples
    --------
    >>> two_way([-0.2, -0.1, 0.0, 0.1], 0.1).tolist()
    [[70, 26, 6], [226, 178, 130], [244, 233, 215], [160, 190, 219]]
    """
    value = np.asarray(values, np.float64)
    below = _stepped(-value, limit, (PLASTER, _LOW_AT_LIMIT, _LOW_BEYOND, _LOW_TWICE))
    return np.where(value[:, None] < 0.0, below, ramp(value, limit))


def _stepped(value: Float, limit: float, shades: Sequence[tuple[int, int, int]]) -> Colours:
    """Colours at 0, up to the limit, just beyond it, and at twice the limit and more."""
    ends = oklab(np.array(shades, np.uint8))
    share = np.clip(np.nan_to_num(value / limit, nan=0.0, posinf=2.0), 0.0, 2.0)[:, None]
    within = ends[0] + share * (ends[1] - ends[0])
    beyond = ends[2] + (share - 1.0) * (ends[3] - ends[2])
    colours = srgb(np.where(value[:, None] <= limit, within, beyond))
    colours[np.isnan(value)] = NOT_MEASURED
    return colours


def ticks(limit: float) -> tuple[tuple[float, str], ...]:
    """Values to write beside a :func:`ramp`, from 0 to twice the limit, and what each stands for.

    Examples
    --------
    >>> ticks(0.1)
    ((0.0, ''), (0.1, 'limit'), (0.2, 'or more'))
    """
    return (0.0, ""), (limit, "limit"), (2.0 * limit, "or more")


def blend(colours: Colours, other: tuple[int, int, int], share: float) -> Colours:
    """Colours moved a share of the way towards another one, as the eye sees it.

    Parameters
    ----------
    colours : (n, 3) uint8 array, sRGB
    other : tuple of int
    share : float
        0 leaves them, 1 replaces them.

    Returns
    -------
    (n, 3) uint8 array, sRGB
    """
    start = oklab(colours)
    return srgb(start + share * (oklab(np.array([other], np.uint8)) - start))


def linear(colours: Colours) -> Float:
    """Light of sRGB colours, each channel from 0 to 1 (IEC 61966-2-1); same shape.

    Examples
    --------
    >>> linear(np.array([[0, 128, 255]], np.uint8)).round(4).tolist()
    [[0.0, 0.2159, 1.0]]
    """
    level = colours / 255.0
    return np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)


def oklab(colours: Colours) -> Float:
    """Lightness and the two colour axes of Oklab, in which equal distances look about equal; shape (n, 3).

    References
    ----------
    B. Ottosson, A perceptual color space for image processing, 2020; CSS Color Module Level 4, section 9.
    """
    return np.asarray(np.cbrt(linear(colours) @ _TO_CONES.T) @ _TO_LAB.T)


def srgb(lab: Float) -> Colours:
    """The nearest 8-bit sRGB colours of Oklab values; shape (n, 3)."""
    light = np.clip((lab @ _FROM_LAB.T) ** 3 @ _FROM_CONES.T, 0.0, 1.0)
    level = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1.0 / 2.4) - 0.055)
    return np.asarray(np.rint(255.0 * level), np.uint8)
