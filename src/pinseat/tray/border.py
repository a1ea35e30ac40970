"""Where the tray ends: a stated distance past the gum line, or along a drawn line; never off the scan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator
from scipy.ndimage import distance_transform_edt, gaussian_filter, maximum_filter
from scipy.spatial import cKDTree

from pinseat.errors import TrayError
from pinseat.mesh.model import Mesh
from pinseat.mesh.smoothing import smoothed_normals
from pinseat.mesh.topology import Edges, edges
from pinseat.reference import value
from pinseat.tray.cast import Cast
from pinseat.tray.distance import Grid

Float = NDArray[np.float64]

ON_SCAN_MM = 1.0
"""A point of a drawn border may lie this far off the scan."""
SHORT_OF_RIM_MM = 0.5
"""The border keeps this far inside the rim of the scan."""
_HOLLOW_PER_MM = -0.25
"""A groove rounder than a ball of 4 mm is no crease (assumed): such are the flanks between cusps."""
_SIDEWAYS = 0.85
"""Cosine of 32 deg between normal and draw: at the gum the wall of a tooth slopes by more, a fissure's floor
by less (assumed).
"""
_BELOW_TOP_MM = (3.5, 14.0)
"""Half the shortest crown of the reference data (7.0 mm): what is hollow above that belongs to the crown; the
longest one (11.0 mm) and 3 mm of receded gum (assumed).
"""
_AROUND_MM = 6.0
"""Half a molar and some more (reference data: at most 10 to 11 mm): the top of a crease's own tooth."""
_TOLD_MM = 0.5
_LEAST = 200
_RAGGED_MM, _BESIDE_MM = 1.5, 8.0


@dataclass(frozen=True, eq=False)
class Border:
    """The tray is kept above this surface.

    Attributes
    ----------
    height : (nx, ny) array, mm
        Along the draw, over each column of the grid.
    source : str
        Where it comes from, in words.
    shortened_mm : float
        By how much the scan's rim raises it, where it does: the middle of all places.
    shortened_share : float
        Part of the rim along which it does, from 0 to 1.
    """

    height: Float
    source: str
    shortened_mm: float
    shortened_share: float


@dataclass(frozen=True, eq=False)
class GumLine:
    """A smooth surface through the creases between teeth and gum.

    Attributes
    ----------
    coefficients : (6,) array
        Of 1, x, y, x², xy, y², mm.
    spread_mm : float
        Robust standard deviation of the creases about it.
    seen : bool
        False when too few creases were seen and the mean length of crowns stands in.
    """

    coefficients: Float
    spread_mm: float
    seen: bool

    def at(self, xy: Float) -> Float:
        """Height at places, mm; shape (n,)."""
        return np.asarray(_terms(xy) @ self.coefficients)


def gum_line(cast: Cast) -> GumLine:
    """Find the gum line of a scan.

    Where the surface is hollow (mean of the normal curvatures along the edges below -0.25 per mm), looks
    sideways and lies 3.5 to 14 mm below the highest place around, there is the crease where teeth rise out of
    the gum, or the gap between two teeth. A surface of second order through these places, with outliers
    weighted down (Tukey), passes the gaps by.

    Parameters
    ----------
    cast : Cast

    Returns
    -------
    GumLine
    """
    surface = Mesh(cast.mesh.vertices, cast.mesh.faces[cast.bare])
    v = surface.vertices
    used = np.zeros(len(v), bool)
    used[surface.faces] = True
    found = edges(surface)
    normals = smoothed_normals(surface, found)
    hollow = _curvature(surface, found, normals) < _HOLLOW_PER_MM
    hollow &= used & (np.abs(normals[:, 2]) < _SIDEWAYS)
    below = _local_top(cast, v) - v[:, 2]
    places = v[hollow & (below > _BELOW_TOP_MM[0]) & (below < _BELOW_TOP_MM[1])]
    if len(places) < _LEAST:
        crown = value("tray.mean_crown_length_mm").value
        coefficients = _fit(v[used, :2], (v[:, 2] + below - crown)[used], np.inf)
        return GumLine(coefficients, 1.0, False)
    coefficients = _fit(places[:, :2], places[:, 2], 1.5)
    off = places[:, 2] - _terms(places[:, :2]) @ coefficients
    return GumLine(coefficients, float(1.4826 * np.median(np.abs(off))), True)


def _curvature(mesh: Mesh, found: Edges, normals: Float) -> Float:
    """Mean normal curvature at each vertex, 1/mm, positive where the surface bulges; over two rings."""
    a, b = found.ends.T
    way, turn = mesh.vertices[b] - mesh.vertices[a], normals[b] - normals[a]
    each = np.einsum("ij,ij->i", way, turn) / np.maximum(np.einsum("ij,ij->i", way, way), 1e-12)
    size = len(mesh.vertices)
    number = np.maximum(np.bincount(a, minlength=size) + np.bincount(b, minlength=size), 1)
    bend = (np.bincount(a, each, size) + np.bincount(b, each, size)) / number
    for _ in range(2):
        bend = 0.5 * bend + 0.5 * (np.bincount(a, bend[b], size) + np.bincount(b, bend[a], size)) / number
    return np.asarray(bend)


def _local_top(cast: Cast, points: Float) -> Float:
    """Highest place within some millimetres of each point, seen along the draw."""
    top = cast.top
    size = 2 * round(_AROUND_MM / top.pixel_mm) + 1
    high = maximum_filter(np.nan_to_num(top.height, nan=-np.inf), size=size)
    at = np.rint(top.to_pixel(points)[:, :2]).astype(int)
    return np.asarray(high[np.clip(at[:, 0], 0, high.shape[0] - 1), np.clip(at[:, 1], 0, high.shape[1] - 1)])


def _terms(xy: Float) -> Float:
    x, y = xy[:, 0], xy[:, 1]
    return np.column_stack((np.ones(len(x)), x, y, x * x, x * y, y * y))


def _fit(xy: Float, z: Float, cut_mm: float) -> Float:
    terms = _terms(xy)
    weight: Float = np.ones(len(z))
    out: Float = np.zeros(6)
    for _ in range(12):
        out = np.asarray(np.linalg.lstsq(terms * weight[:, None], z * weight, rcond=None)[0], np.float64)
        off = np.abs(z - terms @ out)
        scale = max(cut_mm, 3.0 * float(np.median(off)))
        weight = np.sqrt(np.clip(1.0 - (off / scale) ** 2, 0.0, 1.0) ** 2)
    return np.asarray(out)


def border_of(cast: Cast, grid: Grid, past_mm: float, drawn: Sequence[Float], gum: GumLine | None) -> Border:
    """The border over each column of the grid.

    Parameters
    ----------
    cast : Cast
    grid : Grid
    past_mm : float
        How far past the gum line.
    drawn : sequence of (3,) array, mm
        A drawn border in the frame of the tray; empty to follow the gum line.
    gum : GumLine or None
        Needed without a drawn border.

    Returns
    -------
    Border

    Raises
    ------
    TrayError
        If a drawn point lies off the scan.
    """
    x, y = np.meshgrid(grid.nodes(0), grid.nodes(1), indexing="ij")
    xy = np.column_stack((x.ravel(), y.ravel()))
    if len(drawn):
        wanted = _through(cast, np.array(drawn), xy)
        source = f"drawn, {len(drawn)} points"
    else:
        assert gum is not None
        wanted = gum.at(xy) - past_mm
        source = f"{past_mm:g} mm past the gum line" + (
            "" if gum.seen else ", taken a crown's mean length below the chewing surface"
        )
    wanted = wanted.reshape(grid.shape[:2])
    rim = _rim_height(cast, grid)
    raised = np.maximum(wanted, rim)
    over = np.clip(rim - wanted, 0.0, None)
    at = np.rint(grid.cells(cast.rim)[:, :2]).astype(int) if len(cast.rim) else np.zeros((0, 2), int)
    at = np.clip(at, 0, np.array(grid.shape[:2]) - 1)
    short = over[at[:, 0], at[:, 1]] if len(at) else np.zeros(1)
    height = gaussian_filter(raised, 1.0 / grid.step_mm, mode="nearest")
    told = short[short > _TOLD_MM]
    middle = float(np.median(told)) if len(told) else 0.0
    return Border(height, source, middle, len(told) / len(short))


def _through(cast: Cast, drawn: Float, xy: Float) -> Float:
    """A thin plate through the points of a drawn border."""
    far = np.asarray(cKDTree(cast.points).query(drawn)[0])
    worst = int(np.argmax(far))
    if far[worst] > ON_SCAN_MM:
        raise TrayError(
            "the drawn border leaves the scan",
            where=f"tray.border, point {worst + 1}",
            value=f"{far[worst]:.2f} mm off the scan",
            limit=f"at most {ON_SCAN_MM:g} mm",
            do="pick the border on the scanned surface, or scan farther past the teeth",
        )
    if len(drawn) < 3 or np.linalg.matrix_rank(drawn[:, :2] - drawn[:, :2].mean(axis=0), tol=0.5) < 2:
        raise TrayError(
            "the drawn border has too few points",
            where="tray.border",
            value=f"{len(drawn)} points",
            limit="at least 3, not in line",
            do="pick it all round the teeth",
        )
    plate = RBFInterpolator(drawn[:, :2], drawn[:, 2], kernel="linear", degree=1, smoothing=0.1)
    return np.asarray(plate(xy))


def _rim_height(cast: Cast, grid: Grid) -> Float:
    """Least height of the border for the sake of the scan's rim, over each column; minus infinity elsewhere.

    Beside the scan, out to where the tray's wall hangs, it is that of the nearest rim; over the scan it is
    only at the very rim, so that the tray covers what was scanned to its end.
    """
    high = np.full(grid.shape[:2], -np.inf)
    if not len(cast.rim):
        return high
    at = np.rint(grid.cells(cast.rim)[:, :2]).astype(int)
    inside = ((at >= 0) & (at < grid.shape[:2])).all(axis=1)
    np.maximum.at(high, (at[inside, 0], at[inside, 1]), cast.rim[inside, 2] + SHORT_OF_RIM_MM)
    calm = maximum_filter(high, size=2 * round(_RAGGED_MM / grid.step_mm) + 1)
    far, (i, j) = distance_transform_edt(~np.isfinite(high), return_indices=True)
    x, y = np.meshgrid(grid.nodes(0), grid.nodes(1), indexing="ij")
    pixel = cast.top.to_pixel(np.column_stack((x.ravel(), y.ravel(), 0.0 * x.ravel())))
    row, column = np.rint(pixel[:, 0]).astype(int), np.rint(pixel[:, 1]).astype(int)
    rows, columns = cast.top.height.shape
    seen = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    seen[seen] = ~np.isnan(cast.top.height[row[seen], column[seen]])
    reach = np.where(seen.reshape(x.shape), SHORT_OF_RIM_MM, _BESIDE_MM)
    return np.where(far * grid.step_mm <= reach, calm[i, j], -np.inf)
