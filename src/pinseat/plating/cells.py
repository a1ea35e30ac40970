"""From what stands in the bath to cut cells, and to the elements of wall that carry current."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from pinseat.errors import PlatingError
from pinseat.numerics import octree
from pinseat.numerics.cutcell import NEAR, Corners, Cut, corners, cut, pieces
from pinseat.numerics.octree import Bool, Faces, Octree
from pinseat.plating.bodies import nearest
from pinseat.plating.model import RUBBER, Float, Geometry, Int

SHARP = 0.06
"""A wall is looked at more closely in a cell where it strays from a plane by more than this, in edges."""
_FINER = 8
LEAST_WALL = 1e-3
"""Less wall than this, in faces of the cell, is left out."""
_SPREAD = np.array([[i, j] for i in (-1.0, 0.0, 1.0) for j in (-1.0, 0.0, 1.0)]) / 3.0


@dataclass(frozen=True, eq=False)
class Cells:
    """The bath in cells.

    Attributes
    ----------
    geometry : Geometry
    tree : Octree
        Without the cells that are solid for good.
    faces : Faces
    corners : Corners
    centre_mm, corner_mm : (n,) and (u,) arrays
        Signed distances, positive in the liquid.
    edges : Edges or None
        Cells in which the wall has an edge, looked at closely.
    grown : Grown or None
        What to call metal once the surface has moved.
    """

    geometry: Geometry
    tree: Octree
    faces: Faces
    corners: Corners
    centre_mm: Float
    corner_mm: Float
    edges: Edges | None = None
    grown: Grown | None = None


@dataclass(frozen=True, eq=False)
class Edges:
    """How much metal of each electrode there is in cells in which the wall has an edge.

    The faces of a cell cut an edge off; so does their sum, and a floor would lose a few hundredths.

    Attributes
    ----------
    cell, electrode : (m,) int arrays
    area_mm2 : (m,) array
    """

    cell: Int
    electrode: Int
    area_mm2: Float


@dataclass(frozen=True, eq=False)
class Grown:
    """Wall where the metal stands before every body is metal: of the electrode nearest at the beginning.

    Attributes
    ----------
    tree : KDTree
        Of the metal at the beginning.
    electrode : (m,) int array
    ahead_mm : (u,) array
        How far the metal stands before the bodies, at the corners; negative where it is not yet.
    """

    tree: KDTree
    electrode: Int
    ahead_mm: Float

    def label(self, cells: Cells, cell: Int, points: Float) -> Int:
        """Electrode of points on the wall of cells: the metal's where it stands before the bodies."""
        found = np.full(len(points), RUBBER, np.int64)
        moved = cells.corners.row[cell] >= 0
        moved[moved] = at_points(cells, cell[moved], points[moved], self.ahead_mm) > 0.0
        if moved.any():
            found[moved] = self.electrode[self.tree.query(points[moved], workers=-1)[1]]
        found[~moved] = electrode_at(cells.geometry, points[~moved])
        return found


@dataclass(frozen=True, eq=False)
class Elements:
    """Wall and border that is metal.

    Attributes
    ----------
    cell, electrode : (m,) int arrays
    area_mm2, gap_mm : (m,) arrays
        `gap_mm` is from the wall to the centre of the cell; negative when that lies behind the wall.
    point, normal : (m, 3) arrays
        The normal points into the liquid.
    on_wall : (m,) bool array
        False on the borders of the box.
    """

    cell: Int
    electrode: Int
    area_mm2: Float
    gap_mm: Float
    point: Float
    normal: Float
    on_wall: Bool

    def only(self, chosen: Bool) -> Elements:
        """Some of them."""
        return Elements(**{name: column[chosen] for name, column in vars(self).items()})


def prepare(geometry: Geometry, reach_mm: float = 0.0) -> Cells:
    """Cut the box into cells.

    Parameters
    ----------
    geometry : Geometry
    reach_mm : float
        How far the surface may come to grow.

    Returns
    -------
    Cells

    Raises
    ------
    PlatingError
        When there would be far too many cells.
    """
    g = geometry
    halvings = max(0, int(np.ceil(np.log2(g.bath_mm / min(g.metal_mm, g.rubber_mm)) - 1e-9)))

    def refine(points: Float, edge: float) -> Bool:
        wall, _ = nearest(g.bodies, points)
        metal = np.min([body.metal_distance(points) for body in g.bodies], axis=0)
        reach = np.maximum(g.grading * edge, NEAR * edge + g.band_mm)
        near_metal = (metal < reach) & (edge > 1.001 * g.metal_mm)
        near_wall = (np.abs(wall) < g.grading * edge) & (edge > 1.001 * g.rubber_mm)
        return np.asarray((near_metal | near_wall) & (wall > -NEAR * edge))

    try:
        tree = octree.grow(g.low, g.high, g.bath_mm, halvings, refine)
    except ValueError as error:
        do = "take larger cells, or check the unit of the scan"
        raise PlatingError("the bath is too large for such fine cells", value=str(error), do=do) from None
    tree, found, centre_mm = _without_solid(tree, nearest(g.bodies, tree.centre)[0])
    at = corners(tree, centre_mm, reach_mm)
    corner_mm = nearest(g.bodies, at.point)[0]
    edges = _edges(g, tree, at, centre_mm, corner_mm) if g.sharp else None
    return Cells(g, tree, found, at, centre_mm, corner_mm, edges)


def _edges(g: Geometry, tree: Octree, at: Corners, centre_mm: Float, corner_mm: Float) -> Edges:
    """Look at the cells with edges on a lattice eight times as fine, and on one four times as fine.

    What a lattice cuts off is in proportion to its step: twice the finer area less the coarser has it back.
    """
    near = np.flatnonzero(at.row >= 0)
    value, edge = corner_mm[at.index], tree.edge_mm[near]
    rise = np.stack([value[:, [4, 5, 6, 7]], value[:, [2, 3, 6, 7]], value[:, [1, 3, 5, 7]]]).mean(axis=2)
    rise = 2.0 * (rise - value.mean(axis=1))
    side = np.array([[i >> 2 & 1, i >> 1 & 1, i & 1] for i in range(8)]) - 0.5
    stray = np.abs(value - value.mean(axis=1)[:, None] - (side @ rise).T).max(axis=1)
    crossed = (value.min(axis=1) <= 0.0) & (value.max(axis=1) > 0.0)
    cell = near[crossed & (np.maximum(stray, np.abs(value.mean(axis=1) - centre_mm[near])) > SHARP * edge)]
    metal = np.min([body.metal_distance(tree.centre[cell]) for body in g.bodies], axis=0)
    cell = cell[metal < tree.edge_mm[cell]]
    step = tree.edge_mm[cell] / _FINER
    lattice = np.stack(np.meshgrid(*[np.arange(_FINER + 1)] * 3, indexing="ij"), axis=-1)
    corner = tree.low + tree.corner[cell] * tree.step_mm
    points = corner[:, None, None, None, :] + lattice * step[:, None, None, None, None]
    far = nearest(g.bodies, points.reshape(-1, 3))[0].reshape(points.shape[:-1])
    totals = np.zeros((len(cell), len(g.electrodes)))
    for skip, weight in ((1, 2.0), (2, -1.0)):
        area = pieces(far[:, ::skip, ::skip, ::skip], skip * step)
        row, *place = np.nonzero(area)
        middle = corner[row] + (np.column_stack(place) + 0.5) * (skip * step[row])[:, None]
        electrode = electrode_at(g, middle)
        on = electrode != RUBBER
        np.add.at(totals, (row[on], electrode[on]), weight * area[(row, *place)][on])
    row, electrode = np.nonzero(totals > 0.0)
    return Edges(cell[row], electrode.astype(np.int64), totals[row, electrode])


def _without_solid(tree: Octree, centre_mm: Float) -> tuple[Octree, Faces, Float]:
    """Leave out cells that are wholly solid; what they shared with others is wall."""
    found = octree.faces(tree)
    keep = centre_mm > -NEAR * tree.edge_mm
    index = np.cumsum(keep) - 1
    inner, border = keep[found.first] & keep[found.second], keep[found.border]
    kept = Faces(
        index[found.first[inner]],
        index[found.second[inner]],
        found.side[inner],
        found.coarse[inner],
        index[found.border[border]],
        found.border_side[border],
    )
    smaller = replace(tree, corner=tree.corner[keep], width=tree.width[keep], code=tree.code[keep])
    return smaller, kept, centre_mm[keep]


def cut_open(cells: Cells) -> tuple[Cut, Elements, Bool]:
    """Cut the cells, and close off pockets of liquid that do not hang together with an anode.

    Returns
    -------
    Cut
    Elements
    (n,) bool array
        Cells in closed pockets.
    """
    whole = cut(cells.tree, cells.faces, cells.corners, cells.centre_mm, cells.corner_mm)
    found = elements(cells, whole)
    f, size = cells.faces, len(cells.tree.width)
    used = whole.open_mm2 > 0.0
    ones = np.ones(int(used.sum()), np.int8)
    graph = coo_array((ones, (f.first[used], f.second[used])), shape=(size, size)).tocsr()
    part = connected_components(graph, directed=False)[1]
    anode = np.array([e.role == "anode" for e in cells.geometry.electrodes])[found.electrode]
    lit = np.isin(part, part[found.cell[anode]])
    open_mm2 = np.where(lit[f.first], whole.open_mm2, 0.0)
    border_mm2 = np.where(lit[f.border], whole.border_mm2, 0.0)
    wall = np.where(lit[:, None], whole.wall, 0.0)
    now = replace(whole, open_mm2=open_mm2, border_mm2=border_mm2, wall=wall)
    return now, found.only(lit[found.cell]), ~lit & (whole.volume_mm3 > 0.0)


def elements(cells: Cells, now: Cut) -> Elements:
    """The wall that is metal.

    A cell in which the wall is metal in part counts with that part, told at nine places spread over its wall.

    Parameters
    ----------
    cells : Cells
    now : Cut

    Returns
    -------
    Elements
    """
    area = np.linalg.norm(now.wall, axis=1)
    edge = cells.tree.edge_mm
    walled = np.flatnonzero(area > LEAST_WALL * edge**2)
    normal = now.wall[walled] / area[walled, None]
    point = cells.tree.centre[walled] - now.distance_mm[walled, None] * normal
    electrode, share = _labels(cells, walled, point, normal, np.sqrt(area[walled]))
    size = area[walled] * share
    if cells.edges is not None:
        walled, normal, point, electrode, size = _with_edges(
            cells.edges, walled, normal, point, electrode, size
        )
    metal = electrode != RUBBER
    walled, normal, point = walled[metal], normal[metal], point[metal]
    border, border_metal, inward = _borders(cells, now)
    place = cells.tree.centre[border] - 0.5 * edge[border, None] * inward
    return Elements(
        np.concatenate((walled, border)),
        np.concatenate((electrode[metal], border_metal)),
        np.concatenate((size[metal], now.border_mm2[_border_rows(cells, now)])),
        np.concatenate((now.distance_mm[walled], 0.5 * edge[border])),
        np.concatenate((point, place)),
        np.concatenate((normal, inward)),
        np.arange(len(walled) + len(border)) < len(walled),
    )


def _with_edges(
    edges: Edges, cell: Int, normal: Float, point: Float, electrode: Int, size: Float
) -> tuple[Int, Float, Float, Int, Float]:
    """Replace what was taken for the wall in the cells with edges."""
    plain = ~np.isin(cell, edges.cell)
    row = np.searchsorted(cell, edges.cell)
    there = (row < len(cell)) & (cell[np.minimum(row, len(cell) - 1)] == edges.cell)
    row = row[there]
    return (
        np.concatenate((cell[plain], edges.cell[there])),
        np.concatenate((normal[plain], normal[row])),
        np.concatenate((point[plain], point[row])),
        np.concatenate((electrode[plain], edges.electrode[there])),
        np.concatenate((size[plain], edges.area_mm2[there])),
    )


def _labels(cells: Cells, cell: Int, point: Float, normal: Float, width: Float) -> tuple[Int, Float]:
    """Electrode of each piece of wall, and the share of it that is."""
    best, share = _label(cells, cell, point), np.ones(len(point))
    mixed = _beside_another(point, width, best)
    normal, width = normal[mixed], width[mixed]
    helper = np.eye(3)[np.argmin(np.abs(normal), axis=1)]
    u = np.cross(normal, helper)
    u /= np.maximum(np.linalg.norm(u, axis=1, keepdims=True), 1e-12)
    v = np.cross(normal, u)
    seen = np.empty((len(_SPREAD), len(mixed)), np.int64)
    for row, (a, b) in enumerate(_SPREAD):
        seen[row] = _label(
            cells, cell[mixed], point[mixed] + (a * width)[:, None] * u + (b * width)[:, None] * v
        )
    best[mixed], share[mixed] = RUBBER, 0.0
    for number in range(len(cells.geometry.electrodes)):
        part = (seen == number).mean(axis=0)
        more = mixed[part > share[mixed]]
        best[more], share[more] = number, part[part > share[mixed]]
    return best, share


def _label(cells: Cells, cell: Int, points: Float) -> Int:
    if cells.grown is None:
        return electrode_at(cells.geometry, points)
    return cells.grown.label(cells, cell, points)


def at_points(cells: Cells, cell: Int, points: Float, corner: Float) -> Float:
    """What has values at the corners, at points (n, 3) in cells: linear along each edge."""
    tree = cells.tree
    part = (points - tree.low) / tree.step_mm - tree.corner[cell]
    part = np.clip(part / tree.width[cell, None], 0.0, 1.0)
    x, y, z = part.T
    value = corner[cells.corners.index[cells.corners.row[cell]]]
    weight = (
        np.stack([1.0 - x, x], axis=1)[:, :, None, None] * np.stack([1.0 - y, y], axis=1)[:, None, :, None]
    )
    weight = weight * np.stack([1.0 - z, z], axis=1)[:, None, None, :]
    return np.asarray((weight.reshape(-1, 8) * value).sum(axis=1))


def _beside_another(point: Float, width: Float, electrode: Int) -> Int:
    """Pieces of wall with another electrode among their nearest eight."""
    count = min(9, len(point))
    if count < 2:
        return np.arange(len(point))
    around = KDTree(point).query(point, k=count, workers=-1)[1]
    return np.flatnonzero((electrode[around] != electrode[:, None]).any(axis=1))


def electrode_at(geometry: Geometry, points: Float) -> Int:
    """Electrode that the surface is at points (n, 3) close to it."""
    _, which = nearest(geometry.bodies, points)
    found = np.full(len(points), RUBBER, np.int64)
    for number, body in enumerate(geometry.bodies):
        mine = which == number
        if mine.any():
            found[mine] = body.electrode(points[mine])
    return found


def _border_rows(cells: Cells, now: Cut) -> Int:
    electrode = np.array(cells.geometry.borders)[cells.faces.border_side]
    chosen = (electrode != RUBBER) & (now.border_mm2 > 0.0)
    if cells.geometry.window is not None:
        low, high = cells.geometry.window
        centre = cells.tree.centre[cells.faces.border]
        chosen &= ((centre >= low) & (centre <= high)).all(axis=1)
    return np.flatnonzero(chosen)


def _borders(cells: Cells, now: Cut) -> tuple[Int, Int, Float]:
    row = _border_rows(cells, now)
    side = cells.faces.border_side[row].astype(np.int64)
    inward = np.zeros((len(row), 3))
    inward[np.arange(len(row)), side // 2] = np.where(side % 2 == 1, -1.0, 1.0)
    return cells.faces.border[row], np.array(cells.geometry.borders, np.int64)[side], inward


def check_open(cells: Cells, pocket: Bool, found: Elements) -> None:
    """Refuse pieces that the bath does not reach.

    Raises
    ------
    PlatingError
        Naming the piece and why.
    """
    g = cells.geometry
    area = np.bincount(found.electrode, found.area_mm2, minlength=len(g.electrodes))
    for number, electrode in enumerate(g.electrodes):
        if area[number] > 0.0 or (electrode.role == "cathode" and not electrode.piece):
            continue  # a flange or a tail may be covered
        shut = cells.tree.centre[pocket]
        closed = len(shut) and bool((electrode_at(g, shut) == number).any())
        raise PlatingError(
            "the cup is not open to the bath" if closed else "no bare metal is left in the bath",
            where=electrode.name,
            value="0 mm² reached by the liquid",
            do="open the cup on the gum side" if closed else "take some of the mask away",
        )
