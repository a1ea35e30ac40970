"""The upper arch: crowns side by side on a curve, gum with papillae, and a ridge where teeth are missing.

World frame of the model: `X` towards the patient's left, `Y` forward, `Z` off the teeth; the edges of the
central incisors lie at ``Z = 0``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from pinseat.demo.preparation import Preparation
from pinseat.demo.solids import Profiles, cross, join, turn
from pinseat.demo.teeth import Crown, crown

Float = NDArray[np.float64]

UPPER = (17, 16, 15, 14, 13, 12, 11, 21, 22, 23, 24, 25, 26, 27)
HALF_WIDTH_MM, LENGTH_MM = 27.0, 45.0
_LEAN_DEG = {1: 14.0, 2: 11.0, 3: 4.0, 4: -4.0, 5: -5.0, 6: -7.0, 7: -8.0}
_TIP_DEG = {1: 1.5, 2: 2.5, 3: 5.0, 4: 2.0, 5: 2.0, 6: 0.0, 7: 0.0}
_LEVEL_MM = {1: 0.0, 2: -0.7, 3: 0.1, 4: -0.3, 5: -0.4, 6: -0.5, 7: -0.4}
_INWARD_MM = {1: 0.0, 2: 0.2, 3: -0.1, 4: 1.3, 5: 1.5, 6: 2.0, 7: 2.0}
_CONTACT = {1: 0.76, 2: 0.65, 3: 0.62, 4: 0.68, 5: 0.68, 6: 0.66, 7: 0.66}


class Curve:
    """The arch curve, half an ellipse, with length along it and distance out of it.

    Parameters
    ----------
    half_width_mm, length_mm : float
        Half axes.
    """

    def __init__(self, half_width_mm: float, length_mm: float) -> None:
        angle = np.linspace(-0.56 * np.pi, 0.56 * np.pi, 4001)
        line = np.stack([half_width_mm * np.sin(angle), length_mm * (np.cos(angle) - 1.0)], axis=1)
        steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
        length = np.concatenate([[0.0], np.cumsum(steps)])
        self._spline = make_interp_spline(length - 0.5 * length[-1], line, k=3)
        self._cell = 0.5
        self._low = np.array([-half_width_mm - 14.0, -length_mm * 1.3 - 6.0])
        count = np.ceil((np.array([half_width_mm + 14.0, 16.0]) - self._low) / self._cell).astype(int) + 1
        grid = np.stack(np.meshgrid(*(np.arange(c) for c in count), indexing="ij"), axis=-1).reshape(-1, 2)
        where = self._low + self._cell * grid
        near = cKDTree(line).query(where)[1]
        tangent = self.tangent(length[near] - 0.5 * length[-1])
        offset = where - line[near]
        along = length[near] - 0.5 * length[-1] + np.einsum("ij,ij->i", offset, tangent)
        out = offset[:, 1] * tangent[:, 0] - offset[:, 0] * tangent[:, 1]
        self._maps = [along.reshape(count), out.reshape(count)]

    def at(self, along_mm: Float) -> Float:
        """Points of the curve; length counts from the midline towards the patient's left."""
        return np.asarray(self._spline(along_mm))

    def tangent(self, along_mm: Float) -> Float:
        """Unit tangents towards the patient's left."""
        t = np.asarray(self._spline.derivative()(along_mm))
        return t / np.linalg.norm(t, axis=-1, keepdims=True)

    def coordinates(self, xy: Float) -> tuple[Float, Float]:
        """Length along the curve and distance outward of it, mm.

        Parameters
        ----------
        xy : (2 or 3, n) array
            World; heights are not looked at.

        Returns
        -------
        along, out : (n,) arrays
        """
        place = (xy[:2] - self._low[:, None]) / self._cell
        along, out = (map_coordinates(m, place, order=1, mode="nearest") for m in self._maps)
        return along, out

    def contacts(self, widths_mm: Sequence[float], middle: int) -> Float:
        """Lengths of the contact points of teeth that stand side by side.

        Parameters
        ----------
        widths_mm : sequence of float
            Straight distance between the two contacts of each tooth.
        middle : int
            How many teeth stand right of the midline.

        Returns
        -------
        (n + 1,) array
        """

        def walk(widths: Sequence[float], sign: float) -> list[float]:
            places = [0.0]
            for width in widths:
                low, high = places[-1], places[-1] + sign * width * 1.3
                for _ in range(50):
                    half = 0.5 * (low + high)
                    gap = np.linalg.norm(self.at(np.array(half)) - self.at(np.array(places[-1])))
                    low, high = (half, high) if gap < width else (low, half)
                places.append(0.5 * (low + high))
            return places

        right = walk(list(widths_mm[:middle])[::-1], -1.0)
        left = walk(widths_mm[middle:], 1.0)
        return np.array([*right[::-1], *left[1:]])


@dataclass(frozen=True, eq=False)
class Placed:
    """A crown in the arch.

    Attributes
    ----------
    crown : Crown
    origin : (3,) array
        Centre of the neck, world.
    axes : (3, 3) array
        Rows: distal, facial and occlusal direction of the crown, world.
    papilla : (mesial, distal)
        Height of the gum beside the tooth above its neck, mm.
    preparation : Preparation or None
    """

    crown: Crown
    origin: Float
    axes: Float
    papilla: tuple[float, float]
    preparation: Preparation | None = None

    def local(self, points: Float) -> Float:
        """World points, (3, n), in the crown's frame."""
        return turn(self.axes, points - self.origin[:, None])

    def world(self, q: Float) -> Float:
        """Points of the crown's frame, (3, n), in the world."""
        return turn(self.axes.T, q) + self.origin[:, None]

    def fields(self, points: Float) -> tuple[Float, Float]:
        """Distance to the tooth as it stands prepared, and to its collar of gum.

        Parameters
        ----------
        points : (3, n) array
            World.

        Returns
        -------
        tooth, collar : (n,) arrays, mm
            Well away from the crown the first is only a lower bound.
        """
        q = self.local(points)
        body = self.crown.body(q)
        tooth = body.copy()
        close = np.flatnonzero(body < 1.6)
        q_close = q[:, close]
        closed = self.crown.closed(q_close, body[close])
        if self.preparation is not None:
            closed = self.preparation.apply(q_close, closed)
        tooth[close] = closed
        return tooth, self._collar(q, body)

    def _collar(self, q: Float, body: Float) -> Float:
        part = np.clip(q[0] / (0.5 * self.crown.width_mm), -1.3, 1.3)
        beside = np.where(part < 0.0, *self.papilla)
        margin = 0.7 + (beside - 0.7) * np.abs(part) ** 2.4
        depth = np.clip(margin - q[2], 0.0, 6.0)
        beside_tooth = np.minimum(np.abs(part), 1.0) ** 3
        thick = 0.3 + 0.15 * depth + beside_tooth * (0.2 * np.minimum(depth, 1.2) - 0.2)
        return cross(body - thick, 0.8 * (q[2] - margin), 0.7)


@dataclass(frozen=True, eq=False)
class Arch:
    """Everything a scanner would see, as one signed distance.

    Attributes
    ----------
    teeth : tuple of Placed
    curve : Curve
    gum : Profiles
        Over the length along the curve: height of the ridge, its half width, its centre, and the height of
        the necks of the teeth.
    ends_mm : (float, float)
        Where the scan begins and stops along the curve.
    middles : tuple of float
        Where each tooth stands along the curve.
    """

    teeth: tuple[Placed, ...]
    curve: Curve
    gum: Profiles
    ends_mm: tuple[float, float]
    middles: tuple[float, ...]

    def placed(self, tooth: int) -> Placed:
        """The tooth of this number."""
        return next(t for t in self.teeth if t.crown.tooth == tooth)

    def prepared(self, preparations: Mapping[int, Preparation]) -> Arch:
        """The same arch with some of its teeth prepared.

        Parameters
        ----------
        preparations : mapping of FDI number to Preparation

        Returns
        -------
        Arch
        """
        teeth = (replace(t, preparation=preparations.get(t.crown.tooth)) for t in self.teeth)
        return replace(self, teeth=tuple(teeth))

    def distance(self, points: Float) -> Float:
        """Signed distance to teeth, pins and gum.

        Parameters
        ----------
        points : (n, 3) array
            World, mm.

        Returns
        -------
        (n,) array, mm
        """
        p = np.ascontiguousarray(points.T)
        along, out = self.curve.coordinates(p)
        gum = self._ridge(along, out, p[2])
        teeth = np.full(len(points), 9.0)
        for placed, middle in zip(self.teeth, self.middles, strict=True):
            near = np.flatnonzero(np.abs(along - middle) < 0.5 * placed.crown.width_mm + 2.6)
            tooth, collar = placed.fields(p[:, near])
            teeth[near] = join(teeth[near], tooth, 0.8)
            gum[near] = join(gum[near], collar, 2.0)
        return join(teeth, gum, 0.3)

    def rim(self, points: Float) -> Float:
        """How far a point lies inside the scanned strip; negative outside, mm."""
        along, out = self.curve.coordinates(points.T)
        _, _, centre, neck = self.gum(along)
        height = points[:, 2] - neck + np.where(out > centre, 4.1, 4.9)
        ends = np.minimum(along - self.ends_mm[0], self.ends_mm[1] - along)
        return np.minimum(np.minimum(height, ends), 12.0 - np.abs(out - centre))

    def box(self) -> tuple[Float, Float]:
        """Two corners that hold the scanned strip."""
        along = np.linspace(*self.ends_mm, 300)
        line, neck = self.curve.at(along), self.gum(along)[3]
        low, high = line.min(axis=0) - 10.0, line.max(axis=0) + 8.0
        return np.array([*low, neck.min() - 6.0]), np.array([*high, 4.5])

    def _ridge(self, along: Float, out: Float, height: Float) -> Float:
        top, half, centre, neck = self.gum(along)
        below = neck - 0.6 - height
        outer = (out - centre - half - 0.25 * below) * 0.97
        inner = (centre - out - half - 1.0 * below) * 0.707
        return cross(cross(outer, inner, 1.5), height - top, 3.0)


def arch(teeth: Sequence[int], missing: Sequence[int]) -> Arch:
    """Set up an upper arch, or a stretch of one.

    Parameters
    ----------
    teeth : sequence of int
        FDI numbers, a stretch of :data:`UPPER` in its order, with the missing ones; the scan of a stretch
        begins and ends in the middle of its outer teeth.
    missing : sequence of int
        Those of them that are not there: a ridge takes their place.

    Returns
    -------
    Arch
    """
    curve = Curve(HALF_WIDTH_MM, LENGTH_MM)
    crowns = [crown(t) for t in UPPER]
    lengths = curve.contacts([c.width_mm for c in crowns], middle=7)
    placed = [_place(c, curve, lengths[i : i + 2]) for i, c in enumerate(crowns)]
    gum = _gum(placed, lengths, curve, set(missing))
    first, last = UPPER.index(teeth[0]), UPPER.index(teeth[-1])
    ends = (
        float(lengths[0] - 2.0 if first == 0 else 0.5 * (lengths[first] + lengths[first + 1])),
        float(lengths[-1] + 2.0 if last == 13 else 0.5 * (lengths[last] + lengths[last + 1])),
    )
    standing = [
        _beside_neighbours(p, i, set(teeth) - set(missing))
        for i, p in enumerate(placed)
        if p.crown.tooth in teeth and p.crown.tooth not in missing
    ]
    middles = tuple(
        float(0.5 * (lengths[i] + lengths[i + 1])) for i in (UPPER.index(p.crown.tooth) for p in standing)
    )
    return Arch(tuple(standing), curve, gum, ends, middles)


def _place(c: Crown, curve: Curve, lengths: Float) -> Placed:
    right, left = curve.at(lengths)
    across = (left - right) / np.linalg.norm(left - right)
    side = 1.0 if c.tooth // 10 == 2 else -1.0
    distal = np.array([*(side * across), 0.0])
    facial = np.array([-across[1], across[0], 0.0])
    up = np.array([0.0, 0.0, 1.0])
    tip, lean = np.radians(_TIP_DEG[c.place]), np.radians(_LEAN_DEG[c.place])
    z = np.cos(tip) * up - np.sin(tip) * distal
    x = np.cos(tip) * distal + np.sin(tip) * up
    z, y = np.cos(lean) * z + np.sin(lean) * facial, np.cos(lean) * facial - np.sin(lean) * z
    axes = np.stack([x, y, z])
    height = _CONTACT[c.place] * c.length_mm
    centre = float(c.sections(np.array([height]))[2, 0])
    pivot = np.array([*(0.5 * (right + left)), 0.0]) - _INWARD_MM[c.place] * facial
    origin = pivot - axes.T @ np.array([0.0, centre, height])
    edge = float((origin + c.length_mm * axes[2])[2])
    origin[2] += _LEVEL_MM[c.place] - edge
    beside = 0.48 * c.length_mm
    return Placed(c, origin, axes, (beside, beside))


def _beside_neighbours(p: Placed, index: int, standing: set[int]) -> Placed:
    """The tooth with low gum where no neighbour stands."""
    mesial, distal = p.papilla
    for side, step in (("left", 1), ("right", -1)):
        beyond = UPPER[index + step] if 0 <= index + step < len(UPPER) else None
        if beyond in standing:
            continue
        is_distal = (side == "left") == (p.crown.tooth // 10 == 2)
        mesial, distal = (mesial, 1.4) if is_distal else (1.4, distal)
    return replace(p, papilla=(mesial, distal))


def _gum(placed: Sequence[Placed], lengths: Float, curve: Curve, missing: set[int]) -> Profiles:
    along = 0.5 * (lengths[1:] + lengths[:-1])
    _, out = curve.coordinates(np.array([p.origin for p in placed]).T)
    gone = np.array([p.crown.tooth in missing for p in placed])
    neck = np.array([p.origin[2] for p in placed])
    top = neck - 0.6 + np.where(gone, 1.0, 0.0)
    half = np.array([0.42 * p.crown.depth_mm for p in placed]) + np.where(gone, 0.3, 0.6)
    centre = out - np.where(gone, 0.6, 0.0)
    curves = np.stack([top, half, centre, neck])
    between = 0.5 * (curves[:, 1:] + curves[:, :-1])
    septum = ~(gone[1:] | gone[:-1])
    between[0] += np.where(septum, 2.4, 0.0)
    between[1] -= np.where(septum, 0.4, 0.0)
    values = np.zeros((4, 2 * len(placed) + 1))
    values[:, 1:-1:2], values[:, 2:-2:2] = curves, between
    values[:, 0], values[:, -1] = curves[:, 0], curves[:, -1]
    places = np.zeros(2 * len(placed) + 1)
    places[1:-1:2], places[2:-2:2] = along, lengths[1:-1]
    places[0], places[-1] = along[0] - 9.0, along[-1] + 9.0
    return Profiles.through(places, *values)
