"""The front of the metal as it moves into the liquid, and the books that it is held to.

Two signed distances are kept at the centres and corners of the cells: that of the bodies, which stays, and
that of the metal, which falls as metal grows; the liquid is where both are positive. So the cells are cut
anew while the octree stays, and at a wax edge the metal creeps over as far as it is thick.

The bare metal at the beginning is parted into *sites*, and each cell belongs to the nearest. Metal is booked
on a site by the charge that its cells take. A distance sampled at corners is steeper or flatter than one on
rough or bent walls and at wax edges, so a front moved by density alone would sweep a few hundredths more or
less than is booked; it is held to the books in three rounds, each over a wider field: a small shift near each
site, the whole step about each site, and the whole step over all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import KDTree

from pinseat.numerics.cutcell import cut
from pinseat.numerics.octree import Bool
from pinseat.plating.bodies import waxed
from pinseat.plating.cells import Cells, Grown, electrode_at
from pinseat.plating.field import Solved
from pinseat.plating.model import RUBBER, Float, Int

CLOSURE = 1e-3
"""Metal by geometry and metal by charge may differ by this share."""
_NEAREST = 4
_NEAR, _ABOUT = 64, 512
"""Sites held to their books together: by a small shift, where each cell sweeps what is booked in it; and by
the whole step, which sweeps cells of other sites too."""
_SHIFT = 0.01
"""The small shift, at the fastest place, in half cells."""
_MOST_STRETCHES, _MOST_STRETCH = 10, 2.0


@dataclass(frozen=True, eq=False)
class Near:
    """The nearest few of a set of places to each of some points.

    Attributes
    ----------
    which : (n, k) int array
        The nearest first.
    weight : (n, k) array
        Adding up to 1.
    """

    which: Int
    weight: Float

    def of(self, value: Float) -> Float:
        """What has a value at each place of the set, at the points."""
        return np.asarray(np.einsum("ij,ij->i", self.weight, value[self.which]))


def near(tree: KDTree, points: Float, size: Float, room_mm: float) -> Near:
    """The nearest four places to points (n, 3), weighted with size over the square of the distance."""
    far, which = (np.asarray(x) for x in tree.query(points, k=min(_NEAREST, tree.n), workers=-1))
    far, which = far.reshape(len(points), -1), which.reshape(len(points), -1).astype(np.int64)
    weight = size[which] / (far**2 + room_mm**2)
    return Near(which, weight / weight.sum(axis=1, keepdims=True))


@dataclass(frozen=True, eq=False)
class Facets:
    """Wall on which metal grows, at one moment.

    Attributes
    ----------
    tree : KDTree
        Of their middles.
    cell : (m,) int array
    normal : (m, 3) array
    area_mm2, mm_per_h : (m,) arrays
    room_mm : float
        Distance below which places count as equally near.
    """

    tree: KDTree
    cell: Int
    normal: Float
    area_mm2: Float
    mm_per_h: Float
    room_mm: float

    def about(self, points: Float) -> Near:
        """Those nearest to points (n, 3)."""
        return near(self.tree, points, self.area_mm2, self.room_mm)


def facets_of(cells: Cells, solved: Solved, mm_per_h: float) -> Facets:
    """The cathodes among the elements; wax and rubber stand still.

    Parameters
    ----------
    cells : Cells
    solved : Solved
    mm_per_h : float
        Growth at 1 A/m2.

    Returns
    -------
    Facets
        None dissolves: what gives current instead of taking it stands still.
    """
    found = solved.elements
    on = found.on_wall & cathodes(cells)[found.electrode]
    rate = mm_per_h * np.maximum(solved.field.density_A_m2[on], 0.0)
    room = 0.5 * cells.geometry.metal_mm
    return Facets(KDTree(found.point[on]), found.cell[on], found.normal[on], found.area_mm2[on], rate, room)


def cathodes(cells: Cells) -> Bool:
    """Whether each electrode is one, (e,) bool."""
    return np.array([e.role == "cathode" for e in cells.geometry.electrodes])


class Front:
    """The metal in the cells.

    Parameters
    ----------
    cells : Cells
    solved : Solved
        On them, before anything has grown.

    Attributes
    ----------
    cells : Cells
        As they are cut now.
    points : (n, 3) array
        Centres of the cells that the front may reach, then their corners.
    booked_mm3, swept_mm3 : (s,) arrays
        On each site so far: by charge, and by geometry.
    covered : (s,) bool array
        Sites under wax that has been put on since; they stand still.
    """

    def __init__(self, cells: Cells, solved: Solved) -> None:
        geometry, found = cells.geometry, solved.elements
        self._reached = np.flatnonzero(cells.corners.row >= 0)
        self.points = np.concatenate((cells.tree.centre[self._reached], cells.corners.point))
        wall_mm2 = np.linalg.norm(solved.cut.wall[found.cell], axis=1)
        site = np.flatnonzero(cathodes(cells)[found.electrode] & (found.area_mm2 > 0.5 * wall_mm2))
        tree = self._tree = KDTree(found.point[site])
        self.electrode = found.electrode[site]
        self._room_mm = 0.5 * geometry.metal_mm
        self._sites = self.sites(self.points)
        self._near, self._about = _around(tree, _NEAR), _around(tree, _ABOUT)
        self._site_of = np.asarray(tree.query(cells.tree.centre, workers=-1)[1], np.int64)
        self._body = np.concatenate((cells.centre_mm[self._reached], cells.corner_mm))
        self._metal = self._at_first(cells, tree)
        grown = Grown(tree, self.electrode, self._ahead(self._metal))
        self.cells = replace(cells, grown=grown, edges=None)
        self._begin = self._volume = _volume(self.cells)
        self.booked_mm3, self.swept_mm3 = np.zeros(len(site)), np.zeros(len(site))
        self.covered, self.wax_mm = np.zeros(len(site), bool), 0.0

    def _at_first(self, cells: Cells, tree: KDTree) -> Float:
        """Distance of the metal: that of the bodies over metal, else that of its edge along the wall."""
        above = electrode_at(cells.geometry, self.points)
        own = (above != RUBBER) & np.isin(above, self.electrode)
        edge = np.asarray(tree.query(self.points, workers=-1)[0]) - self._room_mm
        return np.where(own, self._body, np.maximum(edge, self._body))

    def sites(self, points: Float) -> Near:
        """The sites nearest to points (n, 3)."""
        return near(self._tree, points, np.ones(self._tree.n), self._room_mm)

    def cover(self, wax_mm: float) -> None:
        """Put wax on a band of the pieces, so wide from their wax edge."""
        zone, grown = self.cells.geometry.zone, self.cells.grown
        assert zone is not None
        assert grown is not None
        self.wax_mm = wax_mm
        self.covered = zone.from_edge_mm(np.asarray(self._tree.data)) < wax_mm
        electrode = np.where(self.covered, RUBBER, self.electrode)
        geometry = waxed(self.cells.geometry, wax_mm)
        self.cells = replace(self.cells, geometry=geometry, grown=replace(grown, electrode=electrode))

    def on_sites(self, facets: Facets, value: Float) -> Float:
        """What facets have in all on each site."""
        return _sums(self._site_of[facets.cell], value, len(self.electrode))

    def about(self, value: Float) -> Float:
        """Sum over the sites about each site, the nearest counting most."""
        return np.asarray(self._about @ value)

    @staticmethod
    def _ratio(about: csr_array, due: Float, swept: Float) -> Float:
        """By how much more is due about each site than has been swept."""
        due, swept = about @ due, about @ swept
        ratio = np.divide(due, swept, out=np.ones(len(due)), where=swept > 1e-9 * due.max())
        ratio = np.clip(ratio, 1.0 / _MOST_STRETCH, _MOST_STRETCH)
        return np.asarray(about @ ratio / about.sum(axis=1))

    def advance(self, facets: Facets, hours: float, metal_mm3: Float, ahead: Float) -> tuple[Float, float]:
        """Grow for a step.

        Parameters
        ----------
        facets : Facets
        hours : float
        metal_mm3 : (s,) array
            To be booked on each site.
        ahead : (s,) array
            How much faster than now metal should grow near each site in the middle of the step.

        Returns
        -------
        (s,) array
            How much faster than by the density now metal has grown near each site.
        float
            What is booked over what would have been swept without being held to the books, less 1.
        """
        by_mm = hours * facets.about(self.points).of(facets.mm_per_h) * self._sites.of(ahead)
        by_mm[self.covered[self._sites.which[:, 0]]] = 0.0
        self.booked_mm3 = self.booked_mm3 + metal_mm3
        shift = _SHIFT * self._room_mm / float(by_mm.max())
        factor = self._ratio(self._near, metal_mm3, self._swept(self._moved(shift * by_mm)[0])[0] / shift)
        swept = self._swept(self._moved(by_mm)[0])[0]
        first = float(metal_mm3.sum() / swept.sum()) - 1.0
        swept = self._swept(self._moved(by_mm * self._sites.of(factor))[0])[0]
        factor = factor * self._ratio(self._about, metal_mm3, swept)
        return ahead * factor * self._stretched(by_mm * self._sites.of(factor)), first

    def grown_mm3(self) -> float:
        """Liquid that the metal has displaced, from how the cells are cut now."""
        return float(self._begin.sum() - _volume(self.cells).sum())

    def grown_by_mm3(self) -> dict[str, float]:
        """The same near each cathode."""
        electrodes = self.cells.geometry.electrodes
        swept = _sums(self.electrode, self.swept_mm3, len(electrodes))
        return {e.name: float(v) for e, v in zip(electrodes, swept, strict=True) if e.role == "cathode"}

    def _stretched(self, by_mm: Float) -> float:
        """Move as far as that, stretched until all that is swept is all that is booked."""
        wanted, stretch = float(self.booked_mm3.sum() - self.swept_mm3.sum()), 1.0
        for _ in range(_MOST_STRETCHES):
            moved, metal = self._moved(stretch * by_mm)
            swept, volume = self._swept(moved)
            grown = float(swept.sum())
            if abs(grown - wanted) <= 0.05 * CLOSURE * wanted or not grown > 0.0:
                break
            stretch = float(np.clip(stretch * wanted / grown, 1.0 / _MOST_STRETCH, _MOST_STRETCH))
        assert moved.grown is not None
        self.cells = replace(moved, grown=replace(moved.grown, ahead_mm=self._ahead(metal)))
        self._metal, self._volume, self.swept_mm3 = metal, volume, self.swept_mm3 + swept
        return stretch

    def _moved(self, by_mm: Float) -> tuple[Cells, Float]:
        """The cells with the metal moved, and its distance."""
        split, metal = len(self._reached), self._metal - by_mm
        now = np.minimum(self._body, metal)
        centre = self.cells.centre_mm.copy()
        centre[self._reached] = now[:split]
        return replace(self.cells, centre_mm=centre, corner_mm=now[split:]), metal

    def _swept(self, moved: Cells) -> tuple[Float, Float]:
        """Liquid lost near each site against now, and liquid in each cell, mm3."""
        volume = _volume(moved)
        return _sums(self._site_of, self._volume - volume, len(self.electrode)), volume

    def _ahead(self, metal: Float) -> Float:
        """How far the metal stands before the bodies, at the corners."""
        return np.asarray((self._body - metal)[len(self._reached) :])


def _around(tree: KDTree, count: int) -> csr_array:
    """Weights of the sites about each site: ``(1 - (d/R)^2)^2`` out to the last of so many nearest."""
    points = np.asarray(tree.data)
    count = min(count, tree.n)
    far, which = (np.asarray(x).reshape(tree.n, count) for x in tree.query(points, k=count, workers=-1))
    weight = (1.0 - (far / np.maximum(far[:, -1:], 1e-12)) ** 2) ** 2
    weight[:, 0] = np.maximum(weight[:, 0], 1.0)
    start = count * np.arange(tree.n + 1)
    return csr_array((weight.ravel(), which.ravel(), start), shape=(tree.n, tree.n))


def _sums(row: Int, value: Float, size: int) -> Float:
    return np.asarray(np.bincount(row, value, minlength=size), float)


def _volume(cells: Cells) -> Float:
    return cut(cells.tree, cells.faces, cells.corners, cells.centre_mm, cells.corner_mm).volume_mm3
