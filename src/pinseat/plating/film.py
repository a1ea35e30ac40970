"""The metallising film while it is bare: current has to run along it to the lead (the terminal effect)."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.spatial import KDTree

from pinseat.numerics.cutcell import Cut
from pinseat.plating.cells import Cells, Elements
from pinseat.plating.model import Float, Int

CONTACT_MM = 0.5
"""The lead touches all film within this of its contact."""
_SAME_MM = 1e-6


def with_films(
    matrix: csr_array, cells: Cells, now: Cut, found: Elements
) -> tuple[csr_array, Int, Int, Int, Float]:
    """Give each element of a resistive film a potential of its own.

    Between elements in cells that share a face the film conducts ``l / (R_s d)``: `l` is the length of the
    line in which it crosses the face, `d` the distance of their middles, `R_s` its resistance per square.

    Parameters
    ----------
    matrix : (n, n) csr_array
        Conduction in the liquid.
    cells : Cells
    now : Cut
    found : Elements

    Returns
    -------
    (n + f, n + f) csr_array
        With the films, and room for the branches between liquid and film.
    (m,) int array
        Row of the film of each element; -1 for good metal.
    (k,) int arrays
        Rows of the films that touch a lead, and their electrodes.
    (k,) array
        Conductance of each touch, 1/ohm.
    """
    electrodes = cells.geometry.electrodes
    sheet = np.array([e.sheet_ohm for e in electrodes])[found.electrode]
    filmed = np.flatnonzero((sheet > 0.0) & found.on_wall)
    size = int(matrix.shape[0])
    row = np.full(len(found.cell), -1, np.int64)
    row[filmed] = size + np.arange(len(filmed))
    of_cell = np.full(size, -1, np.int64)
    of_cell[found.cell[filmed]] = filmed
    a, b = of_cell[cells.faces.first], of_cell[cells.faces.second]
    joined = (a >= 0) & (b >= 0) & (now.trace_mm > 0.0)
    a, b, line = a[joined], b[joined], now.trace_mm[joined]
    same = found.electrode[a] == found.electrode[b]
    a, b, line = a[same], b[same], line[same]
    apart = np.maximum(np.linalg.norm(found.point[a] - found.point[b], axis=1), 0.2 * line)
    g = line / (sheet[a] * apart)
    i, j = row[a], row[b]
    cell, film = found.cell[filmed], row[filmed]
    none = np.zeros(len(filmed))
    before = matrix.tocoo()
    rows = np.concatenate((before.row, i, j, i, j, cell, film, film))
    columns = np.concatenate((before.col, i, j, j, i, film, cell, film))
    values = np.concatenate((before.data, g, g, -g, -g, none, none, none))
    whole = coo_array((values, (rows, columns)), shape=(size + len(filmed),) * 2).tocsr()
    whole.sort_indices()
    touch, at = _touching(cells, found, filmed)
    return whole, row, row[touch], at, 10.0 / sheet[touch]


def _touching(cells: Cells, found: Elements, filmed: Int) -> tuple[Int, Int]:
    """Elements of film at the contacts of their electrodes, the nearest at least, and under metal; all of it
    without a contact."""
    touch = []
    for number, electrode in enumerate(cells.geometry.electrodes):
        mine = filmed[found.electrode[filmed] == number]
        if not len(mine):
            continue
        if electrode.contact is None:
            touch.append(mine)
            continue
        far = KDTree(np.asarray(electrode.contact, float)[None]).query(found.point[mine])[0]
        near = far <= max(CONTACT_MM, float(np.min(far)))
        if electrode.covered is not None and len(electrode.covered):
            near |= KDTree(electrode.covered).query(found.point[mine])[0] < _SAME_MM
        touch.append(mine[near])
    every = np.concatenate(touch) if touch else np.empty(0, np.int64)
    return every, found.electrode[every]
