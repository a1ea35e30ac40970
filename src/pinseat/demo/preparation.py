"""What the dentist cut: ledges, niches round pin holes, proximal slices, grooves; and the standing pins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.demo.solids import Profiles, cross, cut, cylinder, dot, join

Float = NDArray[np.float64]
FILLET_MM = 0.08
RIM_MM = 0.06
CHAMFER_WIDTH_MM = 0.6


@dataclass(frozen=True, eq=False)
class StandingPin:
    """An impression pin in its hole, in the crown's frame.

    Attributes
    ----------
    number : int
        1, 2, ... within the tooth.
    foot : (3,) array
        Centre of the hole's mouth, on the floor of its niche.
    axis : (3,) array
        Unit vector out of the hole.
    diameter_mm, protrusion_mm : float
    """

    number: int
    foot: Float
    axis: Float
    diameter_mm: float
    protrusion_mm: float


@dataclass(frozen=True, eq=False)
class Groove:
    """A half-round groove in a proximal face, in the crown's frame.

    Attributes
    ----------
    foot : (3,) array
        Centre of its floor.
    radius_mm : float
    """

    foot: Float
    radius_mm: float


@dataclass(frozen=True)
class Ledge:
    """A step across the lingual face between the pins near the edge, in the crown's frame.

    Attributes
    ----------
    height_mm : float
        Of its floor along the draw.
    wall_mm : float
        Place of its wall towards the lip.
    sides_mm : (float, float)
        Where it begins and ends across the tooth.
    """

    height_mm: float
    wall_mm: float
    sides_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Preparation:
    """A pin-ledge preparation, in the crown's frame.

    Attributes
    ----------
    draw : (3,) array
        Unit vector off the teeth, common to the whole bridge.
    pins : tuple of StandingPin
    niche_mm : float
        Radius of the flat ledge round each pin.
    ledge : Ledge
    finish_mm : float
        Height of the finishing line above the neck.
    reduction_mm : float
        How much was taken off the lingual face.
    slice_mm : float
        Depth of the slice on the mesial face; 0 for none.
    half_width_mm : float
        Half the mesiodistal size of the crown.
    middle : Profiles
        Place between lip and tongue over the height, along which the finishing line runs.
    edge : Profiles
        Height of the edge over the width, from which the bevel falls at 45 degrees.
    grooves : tuple of Groove
    bores_mm : tuple of float
        Depth of each hole, one a pin, with the pins left out: the tooth as the back of an impression shows it
        in which the pins stand. Empty while the pins stand in the tooth.
    """

    draw: Float
    pins: tuple[StandingPin, ...]
    niche_mm: float
    ledge: Ledge
    finish_mm: float
    reduction_mm: float
    slice_mm: float
    half_width_mm: float
    middle: Profiles
    edge: Profiles
    grooves: tuple[Groove, ...] = ()
    bores_mm: tuple[float, ...] = ()

    def apply(self, q: Float, crown: Float) -> Float:
        """Distance to the crown after cutting, with its pins.

        Parameters
        ----------
        q : (3, n) array
            Points in the crown's frame.
        crown : (n,) array
            Distance to the whole crown.

        Returns
        -------
        (n,) array, mm
        """
        depth = np.clip(-self.region(q) / CHAMFER_WIDTH_MM, 0.0, 1.0)
        tooth = crown + self.reduction_mm * depth
        bevel = (q[1] - self.bevel(q)) - (q[2] - self.edge(q[0])[0])
        tooth = cut(tooth, cross(0.707 * bevel, q[0] - 0.84 * self.half_width_mm, 0.3), FILLET_MM)
        tooth = cut(tooth, np.minimum.reduce(self._cutters(q)), FILLET_MM)
        for pin, bore_mm in zip(self.pins, self.bores_mm, strict=False):
            bar = cylinder(q, pin.foot, -pin.axis, 0.5 * pin.diameter_mm, RIM_MM, bore_mm)
            tooth = cut(tooth, bar, FILLET_MM)
        for pin in () if self.bores_mm else self.pins:
            bar = cylinder(q, pin.foot, pin.axis, 0.5 * pin.diameter_mm, RIM_MM, pin.protrusion_mm)
            tooth = join(tooth, bar, FILLET_MM)
        return tooth

    def region(self, q: Float) -> Float:
        """Negative where the lingual face was reduced: above the finishing line, behind the edge."""
        across = q[0] / self.half_width_mm
        front = q[1] - self._front(q)
        bottom = self.finish_mm + 1.2 * np.minimum(across * across, 1.2) - q[2]
        return cross(cross(front, bottom, 0.6), q[0] - 0.84 * self.half_width_mm, 0.6)

    def bevel(self, q: Float) -> Float:
        """Where the bevel of the edge ends towards the lip, mm."""
        across = q[0] / self.half_width_mm
        return np.asarray(self.middle(q[2])[0] + 0.35 - 0.2 * np.maximum(across, 0.0) ** 2)

    def _front(self, q: Float) -> Float:
        across = q[0] / self.half_width_mm
        return np.asarray(self.middle(q[2])[0] + 0.1 - 0.5 * np.maximum(across, 0.0) ** 2)

    def _cutters(self, q: Float) -> list[Float]:
        floor = self.ledge.height_mm - dot(self.draw, q)
        low, high = self.ledge.sides_mm
        sides = np.abs(q[0] - 0.5 * (low + high)) - 0.5 * (high - low)
        cutters = [cross(cross(floor, q[1] - self.ledge.wall_mm, 0.15), sides, 0.3)]
        for pin in self.pins:
            cutters.append(self._well(q, pin.foot, self.niche_mm))
        if self.slice_mm:
            out = np.array([-1.0, -0.1, (0.05 + self.draw[0] + 0.1 * self.draw[1]) / self.draw[2]])
            place = np.array([-self.half_width_mm + self.slice_mm, 0.0, 6.0])
            plane = -dot(out, q - place[:, None]) / np.linalg.norm(out)
            cutters.append(cross(plane, self.finish_mm + 1.0 - q[2], 0.6))
        cutters.extend(self._well(q, g.foot, g.radius_mm) for g in self.grooves)
        return cutters

    def _well(self, q: Float, foot: Float, radius_mm: float) -> Float:
        offset = q - foot[:, None]
        along = dot(self.draw, offset)
        across = np.sqrt(np.maximum(dot(offset, offset) - along * along, 0.0))
        return cross(across - radius_mm, -along, 0.1)
