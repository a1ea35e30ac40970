"""What stands in the bath: blocks with cups, pins, rods, plates, shields, as signed distances.

Positive in the liquid, negative in the solid, millimetres.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numba import njit

from pinseat.plating.model import RUBBER, Body, Float, Geometry, Int, Zone


@dataclass(frozen=True, eq=False)
class Solid:
    """A body whose whole surface is one electrode, or none.

    Attributes
    ----------
    shape : callable
        Signed distance of points (n, 3).
    metal : int
        Its electrode.
    """

    shape: Callable[[Float], Float]
    metal: int = RUBBER

    def distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        return self.shape(points)

    def electrode(self, points: Float) -> Int:
        """See :class:`pinseat.plating.model.Body`."""
        return np.full(len(points), self.metal, np.int64)

    def metal_distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        return np.abs(self.shape(points)) if self.metal != RUBBER else np.full(len(points), np.inf)


@dataclass(frozen=True, eq=False)
class Bar:
    """A round bar with flat ends: a pin, a wire, a rod that is bare at its end.

    Attributes
    ----------
    foot : (3,) array
    axis : (3,) array
        Unit vector from the foot to the other end.
    length_mm, diameter_mm : float
    metal : int
        Electrode of the bare part; :data:`RUBBER` for a bar that is no metal.
    bare_from_mm : float
        How far from the foot the bare part begins; 0 for a bar that is bare all over.
    """

    foot: Float
    axis: Float
    length_mm: float
    diameter_mm: float
    metal: int = RUBBER
    bare_from_mm: float = 0.0

    def distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        along, across = self._place(points)
        return _outside(across - 0.5 * self.diameter_mm, np.maximum(-along, along - self.length_mm))

    def electrode(self, points: Float) -> Int:
        """See :class:`pinseat.plating.model.Body`."""
        along, _ = self._place(points)
        return np.where(along >= self.bare_from_mm, self.metal, RUBBER).astype(np.int64)

    def metal_distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        if self.metal == RUBBER:
            return np.full(len(points), np.inf)
        along, across = self._place(points)
        ends = np.maximum(self.bare_from_mm - along, along - self.length_mm)
        return np.abs(_outside(across - 0.5 * self.diameter_mm, ends))

    def _place(self, points: Float) -> tuple[Float, Float]:
        offset = points - self.foot
        along = offset @ self.axis
        return along, np.sqrt(np.maximum(np.einsum("ij,ij->i", offset, offset) - along * along, 0.0))


@dataclass(frozen=True, eq=False)
class Shield:
    """An insulating plate square to z with a round hole.

    Attributes
    ----------
    centre : (3,) array
        Of the hole, in the middle of the plate.
    hole_mm : float
        Diameter of the hole.
    width_mm : float
        Diameter of the plate.
    thickness_mm : float
        More than a cell, or the liquid sees through it.
    """

    centre: Float
    hole_mm: float
    width_mm: float
    thickness_mm: float

    def distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        offset = points - self.centre
        across = np.hypot(offset[:, 0], offset[:, 1])
        ring = np.maximum(0.5 * self.hole_mm - across, across - 0.5 * self.width_mm)
        return _outside(ring, np.abs(offset[:, 2]) - 0.5 * self.thickness_mm)

    def electrode(self, points: Float) -> Int:
        """See :class:`pinseat.plating.model.Body`."""
        return np.full(len(points), RUBBER, np.int64)

    def metal_distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        return np.full(len(points), np.inf)


@dataclass(frozen=True)
class Ring:
    """A ring of round wire, square to z: the shape of a :class:`Solid`.

    Attributes
    ----------
    centre : tuple of 3 float
    radius_mm : float
        To the middle of the wire.
    wire_mm : float
        Diameter of the wire.
    """

    centre: tuple[float, float, float]
    radius_mm: float
    wire_mm: float

    def __call__(self, points: Float) -> Float:
        """Signed distance of points (n, 3), mm."""
        x, y, z = (points - np.asarray(self.centre)).T
        return np.asarray(np.hypot(np.hypot(x, y) - self.radius_mm, z) - 0.5 * self.wire_mm)


@dataclass(frozen=True, eq=False)
class Waxed:
    """A body whose pieces are covered along the wax edge by a further band.

    Attributes
    ----------
    body : Body
    zone : Zone
        Tells how far a place is from the wax edge.
    wax_mm : float
        Width of the band.
    """

    body: Body
    zone: Zone
    wax_mm: float

    def distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        return self.body.distance(points)

    def electrode(self, points: Float) -> Int:
        """See :class:`pinseat.plating.model.Body`."""
        return np.where(self.zone.from_edge_mm(points) < self.wax_mm, RUBBER, self.body.electrode(points))

    def metal_distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        return self.body.metal_distance(points)


def waxed(geometry: Geometry, wax_mm: float) -> Geometry:
    """The same with a further band of the impression covered along the wax edge; its shape is as before."""
    if wax_mm <= 0.0 or geometry.zone is None:
        return geometry
    first, *others = geometry.bodies
    bare = first.body if isinstance(first, Waxed) else first
    return replace(geometry, bodies=(Waxed(bare, geometry.zone, wax_mm), *others))


def nearest(bodies: tuple[Body, ...], points: Float) -> tuple[Float, Int]:
    """Signed distance to whatever is nearest, mm, and which body that is; both (n,).

    Points outside every body are in the liquid.
    """
    best, which = np.full(len(points), np.inf), np.zeros(len(points), np.int64)
    for number, body in enumerate(bodies):
        far = body.distance(points)
        closer = far < best
        best[closer], which[closer] = far[closer], number
    return best, which


def outline_distance(outline: Float, points: Float) -> Float:
    """Signed distance in the plane to a closed polygon, positive inside.

    Parameters
    ----------
    outline : (k, 2) array, mm
        Corners, either way round.
    points : (n, 2) array, mm

    Returns
    -------
    (n,) array, mm

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> outline_distance(square, np.array([[1.0, 0.5], [3.0, 1.0]])).tolist()
    [0.5, -1.0]
    """
    return _outline(np.ascontiguousarray(outline, float), np.ascontiguousarray(points, float))


@njit(cache=True, nogil=True)
def _outline(outline: Float, points: Float) -> Float:
    found = np.empty(len(points))
    for n in range(len(points)):
        x, y = points[n, 0], points[n, 1]
        best, inside = np.inf, False
        for a in range(len(outline)):
            b = (a + 1) % len(outline)
            ax, ay = outline[a, 0], outline[a, 1]
            ex, ey = outline[b, 0] - ax, outline[b, 1] - ay
            part = ((x - ax) * ex + (y - ay) * ey) / max(ex * ex + ey * ey, 1e-30)
            part = min(max(part, 0.0), 1.0)
            gap = (x - ax - part * ex) ** 2 + (y - ay - part * ey) ** 2
            best = min(best, gap)
            if (ay > y) != (ay + ey > y) and x < ax + (y - ay) / ey * ex:
                inside = not inside
        found[n] = np.sqrt(best) if inside else -np.sqrt(best)
    return found


def _outside(side: Float, end: Float) -> Float:
    """Distance to where two conditions both hold (both negative)."""
    out = np.hypot(np.maximum(side, 0.0), np.maximum(end, 0.0))
    return np.asarray(out + np.minimum(np.maximum(side, end), 0.0))
