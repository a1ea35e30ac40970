"""Conduction between the cells of a cut octree: a symmetric matrix of conductances."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, csr_array

from pinseat.numerics.cutcell import Cut
from pinseat.numerics.octree import Bool, Faces, Float, Int, Octree


def conduction(tree: Octree, found: Faces, cells: Cut, conductivity: float) -> csr_array:
    """Matrix whose product with the potentials of the cells is the current out of each.

    Between equal cells the current is ``conductivity A (u_i - u_j) / h``. A cell beside four half as wide has
    one current through that side, driven by its own potential and the mean of theirs weighted with open area,
    over the distance of the centres; it is shared among the four by open area. Four separate currents would
    not converge: their centres lie aside of its centre.

    Parameters
    ----------
    tree : Octree
    found : Faces
    cells : Cut
    conductivity : float
        Per mm, in the unit that the matrix is wanted in.

    Returns
    -------
    (n, n) csr_array
        Symmetric, rows add up to zero; every diagonal entry is stored.
    """
    open_ = cells.open_mm2 > 0.0
    even = open_ & ~found.coarse
    i, j = found.first[even], found.second[even]
    g = conductivity * cells.open_mm2[even] / tree.edge_mm[i]
    group, weight, area = _groups(found, cells, open_ & found.coarse)
    across = 0.75 * tree.edge_mm[group[:, 0]]
    row = np.repeat(group, 5, axis=1).ravel()
    column = np.tile(group, (1, 5)).ravel()
    share = (weight[:, :, None] * weight[:, None, :] * (conductivity * area / across)[:, None, None]).ravel()
    used = share != 0.0
    size = len(tree.width)
    every = np.arange(size)
    matrix = coo_array(
        (
            np.concatenate((g, g, -g, -g, share[used], np.zeros(size))),
            (
                np.concatenate((i, j, i, j, row[used], every)),
                np.concatenate((i, j, j, i, column[used], every)),
            ),
        ),
        shape=(size, size),
    ).tocsr()
    matrix.sort_indices()
    return matrix


def _groups(found: Faces, cells: Cut, chosen: Bool) -> tuple[Int, Float, Float]:
    """For each side of a cell that has finer neighbours: the cell and up to four of them, their weights
    (1 and minus the shares of open area), and the open area.
    """
    fine, side = found.first[chosen], found.side[chosen]
    area = cells.open_mm2[chosen]
    key = found.second[chosen] * 6 + side
    order = np.argsort(key, kind="stable")
    key, fine, area = key[order], fine[order], area[order]
    first = (
        np.flatnonzero(np.concatenate(([True], key[1:] != key[:-1]))) if len(key) else np.empty(0, np.int64)
    )
    which = np.cumsum(np.concatenate(([True], key[1:] != key[:-1]))) - 1 if len(key) else first
    place = np.arange(len(key)) - first[which]
    coarse = key[first] // 6
    total = np.bincount(which, area, minlength=len(first))
    group = np.repeat(coarse[:, None], 5, axis=1)
    weight = np.zeros((len(first), 5))
    weight[:, 0] = 1.0
    group[which, 1 + place] = fine
    weight[which, 1 + place] = -area / total[which]
    return np.asarray(group), weight, np.asarray(total, float)
