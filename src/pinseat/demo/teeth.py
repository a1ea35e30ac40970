"""Crowns of the upper teeth: a smooth section at every height, closed by an edge or by cusps and fissures.

A crown stands in its own frame: `x` away from the midline (distal), `y` towards lip or cheek, `z` from the
neck (0) to the edge or cusp tip (crown length). Sizes come from the reference table; proportions along the
height (where the contact is, how the lingual side hollows, where the cusps stand) are drawn after the usual
descriptions of the permanent teeth, from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.demo.solids import Profiles, cross
from pinseat.reference import value

Float = NDArray[np.float64]


@dataclass(frozen=True)
class Ridge:
    """A cusp (both ends the same) or a ridge of the biting face, in parts of the half crown.

    Attributes
    ----------
    start, end : (x, y, drop)
        Place as a part of half the mesiodistal and half the faciolingual size, and drop below the highest
        cusp, mm.
    slope : float
        Fall across the ridge.
    """

    start: tuple[float, float, float]
    end: tuple[float, float, float]
    slope: float = 0.85


@dataclass(frozen=True)
class Shape:
    """Proportions of one kind of tooth.

    Attributes
    ----------
    neck : (mesiodistal, faciolingual)
        Size at the neck as a part of the largest.
    heights : sequence of float
        Stations as parts of the crown length, from neck to edge.
    mesial, distal : sequence of float
        Half width at the stations as a part of half the mesiodistal size.
    facial, lingual : sequence of float
        Outline at the stations as a part of half the faciolingual size.
    squareness : (neck, edge)
        Exponent of the section: 2 is an ellipse, more is squarer.
    taper : float
        How much narrower the section is on the lingual side.
    ridges : tuple of Ridge
        Biting face of premolars and molars.
    """

    neck: tuple[float, float]
    heights: Sequence[float]
    mesial: Sequence[float]
    distal: Sequence[float]
    facial: Sequence[float]
    lingual: Sequence[float]
    squareness: tuple[float, float]
    taper: float
    ridges: tuple[Ridge, ...] = ()


_CENTRAL = Shape(
    neck=(0.82, 0.88),
    heights=(0.12, 0.25, 0.4, 0.55, 0.7, 0.82, 0.92, 1.0),
    mesial=(0.87, 0.92, 0.955, 0.98, 0.995, 1.0, 0.99, 0.97),
    distal=(0.88, 0.93, 0.97, 0.995, 1.0, 0.985, 0.95, 0.9),
    facial=(0.97, 1.0, 0.97, 0.88, 0.74, 0.6, 0.46, 0.33),
    lingual=(-0.98, -1.0, -0.76, -0.42, -0.2, -0.1, -0.04, 0.02),
    squareness=(2.1, 3.2),
    taper=0.10,
)
_LATERAL = Shape(
    neck=(0.77, 0.86),
    heights=(0.12, 0.25, 0.4, 0.55, 0.7, 0.82, 0.92, 1.0),
    mesial=(0.84, 0.91, 0.96, 0.99, 1.0, 0.985, 0.94, 0.88),
    distal=(0.85, 0.93, 0.985, 1.0, 0.985, 0.94, 0.86, 0.74),
    facial=(0.97, 1.0, 0.97, 0.88, 0.74, 0.6, 0.46, 0.33),
    lingual=(-0.98, -1.0, -0.76, -0.42, -0.2, -0.1, -0.04, 0.02),
    squareness=(2.1, 2.8),
    taper=0.12,
)
_CANINE = Shape(
    neck=(0.73, 0.87),
    heights=(0.12, 0.25, 0.4, 0.55, 0.7, 0.82, 0.92, 1.0),
    mesial=(0.8, 0.88, 0.95, 0.985, 1.0, 0.99, 0.95, 0.9),
    distal=(0.82, 0.92, 0.985, 1.0, 0.985, 0.94, 0.88, 0.8),
    facial=(0.91, 0.95, 0.95, 0.88, 0.76, 0.63, 0.48, 0.35),
    lingual=(-0.98, -1.0, -0.84, -0.56, -0.3, -0.16, -0.07, 0.0),
    squareness=(2.0, 2.3),
    taper=0.2,
)
_PREMOLAR = Shape(
    neck=(0.72, 0.88),
    heights=(0.12, 0.3, 0.5, 0.65, 0.8, 1.0),
    mesial=(0.78, 0.89, 0.975, 1.0, 0.985, 0.9),
    distal=(0.79, 0.9, 0.98, 1.0, 0.985, 0.9),
    facial=(0.94, 1.0, 0.97, 0.9, 0.8, 0.62),
    lingual=(-0.92, -0.99, -1.0, -0.96, -0.88, -0.7),
    squareness=(2.1, 2.4),
    taper=0.10,
    ridges=(
        Ridge((0.0, 0.58, 0.0), (0.0, 0.02, 2.1)),
        Ridge((0.0, 0.58, 0.0), (0.62, 0.5, 1.5)),
        Ridge((0.0, 0.58, 0.0), (-0.62, 0.5, 1.5)),
        Ridge((-0.1, -0.56, 0.7), (0.0, -0.04, 2.2)),
        Ridge((-0.1, -0.56, 0.7), (0.55, -0.42, 1.7)),
        Ridge((-0.1, -0.56, 0.7), (-0.6, -0.42, 1.7)),
        Ridge((0.86, 0.4, 1.7), (0.86, -0.4, 1.8)),
        Ridge((-0.86, 0.4, 1.8), (-0.86, -0.4, 1.9)),
    ),
)
_MOLAR = Shape(
    neck=(0.8, 0.88),
    heights=(0.12, 0.3, 0.5, 0.65, 0.8, 1.0),
    mesial=(0.85, 0.93, 0.985, 1.0, 0.985, 0.92),
    distal=(0.85, 0.94, 1.0, 1.0, 0.97, 0.88),
    facial=(0.95, 1.0, 0.97, 0.92, 0.84, 0.7),
    lingual=(-0.93, -0.99, -1.0, -0.97, -0.9, -0.76),
    squareness=(2.3, 3.0),
    taper=0.02,
    ridges=(
        Ridge((-0.5, 0.6, 0.2), (-0.12, 0.02, 2.3)),
        Ridge((-0.5, 0.6, 0.2), (-0.5, 0.6, 0.2)),
        Ridge((-0.5, 0.6, 0.2), (-0.72, 0.4, 1.2)),
        Ridge((0.42, 0.58, 0.4), (0.42, 0.58, 0.4)),
        Ridge((0.42, 0.58, 0.4), (0.74, 0.38, 1.4)),
        Ridge((-0.42, -0.58, 0.0), (-0.42, -0.58, 0.0)),
        Ridge((-0.42, -0.58, 0.0), (-0.24, -0.05, 2.0)),
        Ridge((-0.42, -0.58, 0.0), (-0.72, -0.3, 1.3)),
        Ridge((-0.42, -0.58, 0.0), (0.05, -0.05, 1.25)),
        Ridge((0.42, 0.58, 0.4), (0.05, -0.05, 1.25)),
        Ridge((0.52, -0.56, 1.0), (0.52, -0.56, 1.0)),
        Ridge((0.52, -0.56, 1.0), (0.45, -0.1, 2.2)),
        Ridge((0.9, 0.4, 1.7), (0.9, -0.4, 1.9)),
        Ridge((-0.9, 0.45, 1.5), (-0.9, -0.45, 1.5)),
    ),
)
_SHAPES = {1: _CENTRAL, 2: _LATERAL, 3: _CANINE, 4: _PREMOLAR, 5: _PREMOLAR, 6: _MOLAR, 7: _MOLAR}
ROOT_MM = 9.0
"""How far the root goes on below the neck, inside the gum."""


@dataclass(frozen=True, eq=False)
class Crown:
    """One crown with the start of its root.

    Attributes
    ----------
    tooth : int
        FDI two-digit number.
    length_mm, width_mm, depth_mm : float
        Crown length, mesiodistal and faciolingual size.
    shape : Shape
    sections : Profiles
        Mesial and distal half width, centre, half depth and squareness over the height.
    """

    tooth: int
    length_mm: float
    width_mm: float
    depth_mm: float
    shape: Shape
    sections: Profiles

    @property
    def place(self) -> int:
        """Place in the quadrant: 1 for a central incisor to 8."""
        return self.tooth % 10

    def body(self, q: Float) -> Float:
        """Distance to the sides of crown and root, without the biting edge.

        Parameters
        ----------
        q : (3, n) array
            Points in the crown's frame, mm.

        Returns
        -------
        (n,) array, mm
        """
        mesial, distal, centre, half, power = self.sections(q[2])
        x, y = q[0], (q[1] - centre) / half
        width = np.where(x < 0.0, mesial, distal) * self._narrowing(y)
        ax, ay = np.abs(x / width) + 1e-9, np.abs(y) + 1e-9
        px, py = ax**power, ay**power
        ratio = (px + py) ** (1.0 / power)
        slope = ratio / (px + py) * np.hypot(px / ax / width, py / ay / half)
        return (ratio - 1.0) / np.maximum(slope, 0.02)

    def _narrowing(self, y: Float) -> Float:
        """Width at a depth over the largest width: less towards the tongue."""
        taper = self.shape.taper
        return np.asarray((1.0 + taper * np.clip(y, -1.5, 1.5)) / (1.0 + 0.5 * taper * taper))

    def closed(self, q: Float, body: Float) -> Float:
        """Distance to the whole crown.

        Parameters
        ----------
        q : (3, n) array
            Points in the crown's frame, mm.
        body : (n,) array
            From :meth:`body`.

        Returns
        -------
        (n,) array, mm
        """
        if self.shape.ridges:
            return cross(body, 0.8 * (q[2] - self._biting_face(q)), 1.1)
        relief = self._relief(q)
        return cross(body - relief, q[2] - self.edge(q[0]), 0.7)

    def edge(self, x: Float) -> Float:
        """Height of the edge of an incisor or canine over the width, mm."""
        if self.place == 3:
            tip = np.where(x < 0.0, 0.42, 0.58)
            return self.length_mm - tip * (np.sqrt(x * x + 0.45) - 0.45**0.5)
        part = x / (0.5 * self.width_mm)
        return self.length_mm - 0.045 - 0.25 * part - 0.35 * part**2 - 0.45 * np.maximum(part, 0.0) ** 4

    def _relief(self, q: Float) -> Float:
        """Marginal ridges, hollow and lobes of a front tooth, outward, mm."""
        across, up = q[0] / (0.5 * self.width_mm), q[2] / self.length_mm
        lingual = np.clip(0.5 - (q[1] - 0.1 * self.depth_mm) / 0.6, 0.0, 1.0)
        lingual = lingual * lingual * (3.0 - 2.0 * lingual)
        edges = 0.35 * np.exp(-(((np.abs(across) - 0.72) / 0.17) ** 2))
        hollow = 0.25 * np.exp(-((across / 0.42) ** 2))
        high = np.exp(-(((up - 0.6) / 0.24) ** 2))
        ridge = 0.25 * np.exp(-((across / 0.16) ** 2)) * (self.place == 3)
        faces = 0.22 * np.exp(-((across / 0.3) ** 2)) * np.exp(-(((up - 0.5) / 0.5) ** 2)) * (self.place == 3)
        lobes = 0.05 * np.cos(3.0 * np.pi * across) * np.clip(up - 0.2, 0.0, 0.5) * (self.place < 3)
        return lingual * high * (edges - hollow + ridge) + (1.0 - lingual) * (faces + lobes)

    def _biting_face(self, q: Float) -> Float:
        scale = np.array([0.5 * self.width_mm, 0.5 * self.depth_mm])
        top = np.full(q.shape[1], -9.0)
        raised = 0.2 if self.place < 6 else 0.0
        for ridge in self.shape.ridges:
            a, b = np.asarray(ridge.start), np.asarray(ridge.end)
            run = (b[:2] - a[:2]) * scale
            long = float(run @ run)
            x, y = q[0] - a[0] * scale[0], q[1] - a[1] * scale[1]
            part = np.clip((x * run[0] + y * run[1]) / long, 0.0, 1.0) if long else np.zeros_like(x)
            fall = ridge.slope * (np.sqrt((x - part * run[0]) ** 2 + (y - part * run[1]) ** 2 + 0.16) - 0.4)
            height = self.length_mm + raised - (a[2] + part * (b[2] - a[2])) - fall
            top = cross(top, height, 0.1)
        return top


def crown(tooth: int) -> Crown:
    """The crown of an upper tooth, with the sizes of the reference table.

    Parameters
    ----------
    tooth : int
        FDI two-digit number, 11 to 17 or 21 to 27.

    Returns
    -------
    Crown

    Examples
    --------
    >>> crown(11).width_mm
    8.5
    """
    shape = _SHAPES[tooth % 10]
    length, width, depth = (
        value(f"crown.{tooth}.{name}").value for name in ("length_mm", "mesiodistal_mm", "faciolingual_mm")
    )
    w, d = 0.5 * width, 0.5 * depth
    neck_w, neck_d = shape.neck
    heights = np.array([-ROOT_MM, -0.4 * ROOT_MM, 0.0, *(length * h for h in shape.heights), length + 2.0])
    facial = d * np.array([0.5 * neck_d, 0.85 * neck_d, neck_d, *shape.facial, shape.facial[-1]])
    lingual = d * np.array([-0.5 * neck_d, -0.85 * neck_d, -neck_d, *shape.lingual, shape.lingual[-1]])
    sides = [
        w * np.array([0.5 * neck_w, 0.85 * neck_w, neck_w, *side, side[-1]])
        for side in (shape.mesial, shape.distal)
    ]
    power = np.interp(heights, [0.0, length], shape.squareness)
    sections = Profiles.through(heights, *sides, 0.5 * (facial + lingual), 0.5 * (facial - lingual), power)
    return Crown(tooth, length, width, depth, shape, sections)
