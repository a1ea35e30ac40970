"""Letters and an arrow drawn with a round pen, for raising on a printed face: single strokes, our own."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

HEIGHT, WIDTH, ADVANCE = 6.0, 4.0, 5.8
"""Of a letter in its own units."""
_STROKES = {
    "0": ("1.2,0 2.8,0 3.7,1.4 3.7,4.6 2.8,6 1.2,6 0.3,4.6 0.3,1.4 1.2,0",),
    "1": ("0.6,4.6 2.2,6 2.2,0", "0.8,0 3.6,0"),
    "2": ("0,4.7 0.8,6 3.2,6 4,4.9 4,3.9 0,0 4,0",),
    "3": ("0,6 4,6 1.8,3.5 3,3.5 4,2.5 4,1 3,0 1,0 0,1",),
    "4": ("3,0 3,6 0,1.8 4,1.8",),
    "5": ("3.8,6 0.4,6 0.2,3.4 2.9,3.6 4,2.5 4,1.1 3,0 1,0 0,0.9",),
    "6": ("3.6,5.4 2.8,6 1.2,6 0,4.6 0,1.2 1,0 3,0 4,1.1 4,2.4 3,3.4 1,3.4 0,2.4",),
    "7": ("0,6 4,6 1.4,0",),
    "8": ("1,3.2 0.2,4 0.2,5.2 1,6 3,6 3.8,5.2 3.8,4 3,3.2 1,3.2 0,2.2 0,1 1,0 3,0 4,1 4,2.2 3,3.2",),
    "9": ("0.4,0.6 1.2,0 2.8,0 4,1.4 4,4.8 3,6 1,6 0,4.9 0,3.6 1,2.6 3,2.6 4,3.6",),
    "A": ("0,0 2,6 4,0", "0.8,2.2 3.2,2.2"),
    "B": ("0,3.2 2.8,3.2 3.8,4 3.8,5.2 3,6 0,6 0,0 3,0 4,1 4,2.2 2.8,3.2",),
    "C": ("4,4.9 3,6 1,6 0,4.8 0,1.2 1,0 3,0 4,1.1",),
    "D": ("0,0 0,6 2.4,6 4,4.4 4,1.6 2.4,0 0,0",),
    "E": ("4,6 0,6 0,0 4,0", "0,3.2 3,3.2"),
    "F": ("4,6 0,6 0,0", "0,3.2 3,3.2"),
    "G": ("4,4.9 3,6 1,6 0,4.8 0,1.2 1,0 3,0 4,1.1 4,2.8 2.2,2.8",),
    "H": ("0,0 0,6", "4,0 4,6", "0,3.2 4,3.2"),
    "I": ("1,0 3,0", "1,6 3,6", "2,0 2,6"),
    "J": ("1.4,6 4,6 4,1.2 3,0 1,0 0,1.2",),
    "K": ("0,0 0,6", "4,6 0,2.4", "1.2,3.5 4,0"),
    "L": ("0,6 0,0 4,0",),
    "M": ("0,0 0,6 2,2.6 4,6 4,0",),
    "N": ("0,0 0,6 4,0 4,6",),
    "O": ("1,0 3,0 4,1.2 4,4.8 3,6 1,6 0,4.8 0,1.2 1,0",),
    "P": ("0,0 0,6 3,6 4,5 4,3.7 3,2.7 0,2.7",),
    "Q": ("1,0 3,0 4,1.2 4,4.8 3,6 1,6 0,4.8 0,1.2 1,0", "2.4,1.8 4.2,-0.4"),
    "R": ("0,0 0,6 3,6 4,5 4,3.7 3,2.7 0,2.7", "2,2.7 4,0"),
    "S": ("4,5 3,6 1,6 0,5 0,4.1 1,3.3 3,2.8 4,1.9 4,1 3,0 1,0 0,1",),
    "T": ("0,6 4,6", "2,6 2,0"),
    "U": ("0,6 0,1.2 1,0 3,0 4,1.2 4,6",),
    "V": ("0,6 2,0 4,6",),
    "W": ("0,6 1,0 2,3.6 3,0 4,6",),
    "X": ("0,0 4,6", "0,6 4,0"),
    "Y": ("0,6 2,3 4,6", "2,3 2,0"),
    "Z": ("0,6 4,6 0,0 4,0",),
    "-": ("0.8,3 3.2,3",),
    "_": ("0,0 4,0",),
    ".": ("2,0.1 2,0",),
    "/": ("0,-0.4 4,6.4",),
}


def drawable(text: str) -> str:
    """A text in the letters that can be raised: capitals; what is not there becomes a hyphen.

    Examples
    --------
    >>> drawable("f-0107 ä")
    'F-0107 -'
    """
    return "".join(x if x in _STROKES or x == " " else "-" for x in text.upper())


def strokes(text: str, height_mm: float) -> Float:
    """Segments of a line of text, its middle at the origin.

    Parameters
    ----------
    text : str
        Of :func:`drawable`.
    height_mm : float
        Of a capital.

    Returns
    -------
    (n, 2, 2) array, mm
        Ends of each segment: to the right, and up.
    """
    found: list[list[Float]] = []
    for i, letter in enumerate(text):
        for stroke in _STROKES.get(letter, ()):
            points = np.array([[float(x) for x in pair.split(",")] for pair in stroke.split()])
            points[:, 0] += i * ADVANCE
            found += [[a, b] for a, b in pairwise(points)]
    if not found:
        return np.zeros((0, 2, 2))
    middle = np.array([0.5 * ((len(text) - 1) * ADVANCE + WIDTH), 0.5 * HEIGHT])
    return np.asarray((np.array(found) - middle) * (height_mm / HEIGHT))


def arrow(height_mm: float) -> Float:
    """Segments of an arrow that points up, its middle at the origin; shape (n, 2, 2), mm."""
    half, head = 0.5 * height_mm, 0.34 * height_mm
    tip = np.array([0.0, half])
    return np.array([[[0.0, -half], tip], [[-head, half - head], tip], [[head, half - head], tip]])


def text_width_mm(length: int, height_mm: float) -> float:
    """Width of a line of so many letters, mm."""
    return ((length - 1) * ADVANCE + WIDTH) * height_mm / HEIGHT if length else 0.0


def pen_distance(points: Float, segments: Float) -> Float:
    """Distance of points from the nearest segment; shape (n,).

    Parameters
    ----------
    points : (n, 2) array
    segments : (k, 2, 2) array

    Examples
    --------
    >>> pen_distance(np.array([[0.0, 3.0], [2.0, 0.0]]), arrow(4.0)).round(3).tolist()
    [1.0, 0.905]
    """
    best = np.full(len(points), np.inf)
    for a, b in segments:
        way = b - a
        share = np.clip(((points - a) @ way) / max(float(way @ way), 1e-12), 0.0, 1.0)
        np.minimum(best, np.linalg.norm(points - a - share[:, None] * way, axis=1), out=best)
    return best
