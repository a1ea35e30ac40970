"""Cups from a scan: the liquid stands where the teeth were, opened on the gum side.

Everything is put in a frame whose z points out of the cups, against the draw. Small gaps in the scan are
closed by a vote of rays on which side of the surface a place lies; what was closed so is metal only within
1 mm of scanned metal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, label
from scipy.spatial import KDTree

from pinseat.errors import PlatingError
from pinseat.ledger.pins import Pin, frame
from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.raster import height_field
from pinseat.mesh.rays import Rays
from pinseat.mesh.smoothing import smoothed_normals
from pinseat.mesh.topology import boundary_loops, edges, face_areas, face_normals
from pinseat.plating.bodies import Bar, outline_distance
from pinseat.plating.model import BANDS, RUBBER, Electrode, Float, Geometry, Int

METAL_REACH_MM = 1.0
"""Surface farther than this from scanned metal is rubber."""
ABOUT_MM = 6.0
"""How much of the scan about the pieces is kept; beyond it the impression counts as a flat rim."""
EXACT_MM = 0.6
RIM_MM = 1.0
MARGIN_MM = 0.5
"""Widths of the bands along the wax edge and along a stated margin."""
FLOOR_DEG = 45.0
_PIXEL_MM = 0.4
_GAP_PIXELS = 4
_LARGEST_GAP_MM2 = 25.0
_SLANT = 0.6


@dataclass(frozen=True, eq=False)
class Standing:
    """A pin that stands up in a cup.

    Attributes
    ----------
    pin : Pin
        As surveyed.
    in_hole_mm : float
        How far it was down in its hole: this length stands up in the cup.
    piece : str
        The piece it belongs to.
    metal : bool
        Whether it takes metal.
    """

    pin: Pin
    in_hole_mm: float
    piece: str
    metal: bool


@dataclass(frozen=True, eq=False)
class ScannedCups:
    """Cups from a scan.

    Attributes
    ----------
    geometry : Geometry
        Electrode 0 is the anode, then the pieces, then their flanges.
    axes : (3, 3) array
        Rows: the frame of the geometry in the scan's own; ``scan = (place @ axes) + origin``.
    origin : (3,) array, mm
    closed_mm2 : float
        Area of the gaps in the scan that were closed.
    """

    geometry: Geometry
    axes: Float
    origin: Float
    closed_mm2: float

    def to_scan(self, points: Float) -> Float:
        """Places of the geometry (n, 3) in the scan's own coordinates."""
        return np.asarray(points @ self.axes + self.origin)

    def from_scan(self, points: Float) -> Float:
        """Places of the scan (n, 3) in the frame of the geometry."""
        return np.asarray((points - self.origin) @ self.axes.T)


class ScanBody:
    """Rubber on the outside of a scanned surface; see :class:`pinseat.plating.model.Body`.

    Parameters
    ----------
    mesh : Mesh
        In the frame of the cups, normals out of the teeth.
    electrode : (m,) int array
        Of each triangle.
    """

    def __init__(self, mesh: Mesh, electrode: Int) -> None:
        self.mesh, self.of_face = mesh, electrode
        self._normals = face_normals(mesh)
        self._nearest, self._rays = Nearest(mesh), Rays(mesh)
        self._vertices = KDTree(mesh.vertices)
        self.middles = mesh.vertices[mesh.faces].mean(axis=1)
        self._faces = KDTree(self.middles)
        self._metal = KDTree(self.middles[electrode != RUBBER])
        self.rim_mm = _rim_height(mesh)
        self._seen = height_field(mesh, (0.0, 0.0, 1.0), _PIXEL_MM, margin_mm=1.0)
        self._footprint, self.closed_mm2 = _without_gaps(self._seen.face >= 0)

    def distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`; inside the teeth is liquid."""
        far = np.asarray(self._vertices.query(points, workers=-1)[0], float)
        sign = np.zeros(len(points))
        close = np.flatnonzero(far < EXACT_MM)
        found = self._nearest.search(points[close])
        far[close] = np.abs(found.distance_mm)
        sure = ~found.at_rim
        sign[close[sure]] = -np.sign(found.distance_mm[sure])
        outside = ~self._within(points)
        above = points[:, 2] - self.rim_mm
        beyond = outside & (sign == 0.0)
        sign[beyond] = np.where(above[beyond] > 0.0, 1.0, -1.0)
        far[outside] = np.minimum(far[outside], np.abs(above[outside]))
        open_ = np.flatnonzero(sign == 0.0)
        sign[open_] = self._vote(points[open_])
        return np.asarray(sign * far)

    def electrode(self, points: Float) -> Int:
        """See :class:`pinseat.plating.model.Body`."""
        far, face = self._faces.query(points, workers=-1)
        return np.where(far <= METAL_REACH_MM, self.of_face[face], RUBBER)

    def metal_distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        return np.asarray(self._metal.query(points, workers=-1)[0])

    def face_at(self, points: Float) -> Int:
        """The triangle nearest to points (n, 3) close to the surface."""
        return np.asarray(self._faces.query(points, workers=-1)[1], np.int64)

    def _within(self, points: Float) -> NDArray[np.bool_]:
        pixel = np.rint(self._seen.to_pixel(points)[:, :2]).astype(int)
        high, wide = self._footprint.shape
        inside = (pixel[:, 0] >= 0) & (pixel[:, 0] < high) & (pixel[:, 1] >= 0) & (pixel[:, 1] < wide)
        row, column = np.clip(pixel[:, 0], 0, high - 1), np.clip(pixel[:, 1], 0, wide - 1)
        return np.asarray(inside & self._footprint[row, column])

    def _vote(self, points: Float) -> Float:
        """1 in the liquid, -1 in the rubber: rays up and down, and four aslant that count if they meet it."""
        votes = np.zeros(len(points))
        for way, unmet in _WAYS:
            face = self._rays.first_face(points, way)
            met = face >= 0
            leaving = self._normals[face] @ way > 0.0
            votes += np.where(met, np.where(leaving, 1.0, -1.0), unmet)
        return np.where(votes > 0.0, 1.0, -1.0)


_WAYS = tuple(
    (np.array(way), unmet)
    for way, unmet in (
        ((0.0, 0.0, 1.0), 0.5),
        ((0.0, 0.0, -1.0), -0.5),
        ((_SLANT, 0.3, 0.8), 0.0),
        ((-0.3, _SLANT, -0.8), 0.0),
        ((-_SLANT, -0.3, -0.8), 0.0),
        ((0.3, -_SLANT, 0.8), 0.0),
    )
)
"""Directions, and what it says when nothing is met there: up is the bath, down is rubber."""


@dataclass(frozen=True, eq=False)
class ScanBands:
    """Bands of scanned pieces; see :class:`pinseat.plating.model.Zone`.

    Attributes
    ----------
    body : ScanBody
    of_face : (m,) int array
        Band of each triangle.
    edge_mm : (m,) array
        How far each is from the wax edge.
    bars : tuple of Bar
        The pins.
    last_mm : float
        What is closer to the wax edge than this is in no band.
    """

    body: ScanBody
    of_face: Int
    edge_mm: Float
    bars: tuple[Bar, ...]
    last_mm: float

    def from_edge_mm(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Zone`."""
        return self.edge_mm[self.body.face_at(points)]

    def for_cells(self, metal_mm: float) -> ScanBands:
        """See :class:`pinseat.plating.model.Zone`."""
        return replace(self, last_mm=metal_mm)

    def __call__(self, points: Float, electrode: Int) -> Int:
        """Band of points (n, 3) on the surface of electrodes (n,)."""
        face = self.body.face_at(points)
        reported = (electrode != RUBBER) & (self.edge_mm[face] >= self.last_mm)
        band = np.where(reported, self.of_face[face], -1)
        for bar in self.bars:
            band[np.abs(bar.distance(points)) < 0.15] = BANDS.index("pin")
        return band


def cups_from_scan(
    mesh: Mesh,
    regions: Mapping[str, NDArray[np.intp]],
    draw: Float,
    *,
    pins: Sequence[Standing] = (),
    margins: Sequence[Float] = (),
    mask_mm: float = 0.0,
    patches: Sequence[tuple[Float, float]] = (),
    flange_mm: float = 0.0,
    anode_mm: float = 60.0,
    metal_mm: float = 0.2,
    rubber_mm: float = 0.4,
    bath_mm: float = 3.2,
) -> ScannedCups:
    """Cups from a scan of the teeth.

    Parameters
    ----------
    mesh : Mesh
        Working scan, wound outward.
    regions : mapping of str to (k,) index arrays
        Triangles of each piece that is to be plated.
    draw : (3,) array
        Off the teeth.
    pins : sequence of Standing
    margins : sequence of (k, 3) arrays
        Margin lines, for the band along them.
    mask_mm : float
        Band inside the edge of each region that is covered.
    patches : sequence of ((3,) array, float)
        Round patches that are covered besides: middle and radius, mm.
    flange_mm : float
        How far bare metallising reaches past each region.
    anode_mm : float
        From the highest place of the pieces to the anode.
    metal_mm, rubber_mm, bath_mm : float
        See :class:`pinseat.plating.model.Geometry`.

    Returns
    -------
    ScannedCups

    Raises
    ------
    PlatingError
        Without a piece, or when the mask covers one wholly.
    """
    names = list(regions)
    if not names or any(len(regions[name]) == 0 for name in names):
        empty = [name for name in names if len(regions[name]) == 0]
        raise PlatingError("there is no cathode", where=", ".join(empty), do="state what is to be plated")
    away = np.asarray(draw, float) / np.linalg.norm(draw)
    axes = np.concatenate((frame(-away), [-away]))
    every = np.concatenate([np.asarray(regions[name]) for name in names])
    origin = mesh.vertices[mesh.faces[every]].mean(axis=(0, 1))
    turned = Mesh(np.ascontiguousarray((mesh.vertices - origin) @ axes.T), mesh.faces)
    near, kept = _about(turned, every)
    region = np.full(len(mesh.faces), RUBBER, np.int64)
    for number, name in enumerate(names, start=1):
        region[regions[name]] = number
    bars, fillers = _bars(pins, names, axes, origin)
    covered = [(axes @ (np.asarray(at, float) - origin), radius) for at, radius in patches]
    label_of, edge_mm = _metal(near, region[kept], mask_mm, flange_mm, len(names))
    edge_mm = _cover(near, label_of, edge_mm, covered, fillers)
    for number, name in enumerate(names, start=1):
        if not (label_of == number).any():
            raise PlatingError(
                "the mask covers the whole piece", where=name, value=f"{mask_mm:g} mm", do="narrow the mask"
            )
    body = ScanBody(near, label_of)
    lines = [(np.asarray(line, float) - origin) @ axes.T for line in margins]
    zone = ScanBands(body, _bands(near, label_of, edge_mm, lines), edge_mm, tuple(bars), metal_mm)
    electrodes = [Electrode("anode", "anode"), *(Electrode(name, "cathode", piece=True) for name in names)]
    if flange_mm > 0.0:
        electrodes += [Electrode(f"ring {name}", "cathode", with_=name) for name in names]
    low, high = _box(near, label_of, body.rim_mm, anode_mm, bath_mm)
    geometry = Geometry(
        low,
        high,
        (body, *bars, *fillers),
        tuple(electrodes),
        (RUBBER, RUBBER, RUBBER, RUBBER, RUBBER, 0),
        None,
        metal_mm,
        rubber_mm,
        bath_mm,
        0.0,
        zone,
        sharp=False,
    )
    return ScannedCups(geometry, axes, origin, body.closed_mm2)


def faces_within(mesh: Mesh, line: Float, draw: Float) -> NDArray[np.intp]:
    """Triangles inside a closed line, seen along the draw, that face it.

    Parameters
    ----------
    mesh : Mesh
    line : (k, 3) array, mm
        A margin, point by point.
    draw : (3,) array

    Returns
    -------
    (n,) index array
    """
    away = np.asarray(draw, float) / np.linalg.norm(draw)
    across = frame(away)
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    inside = outline_distance(np.asarray(line) @ across.T, middle @ across.T) > 0.0
    level = middle @ away
    heights = np.asarray(line) @ away
    inside &= (level > heights.min() - 1.0) & (level < heights.max() + 15.0)
    return np.flatnonzero(inside & (face_normals(mesh) @ away > -0.2))


def faces_of_tooth(mesh: Mesh, feet: Float, draw: Float, reach_mm: float) -> NDArray[np.intp]:
    """Triangles about the pins of a tooth that face the draw: a guess where nobody has drawn a margin.

    Parameters
    ----------
    mesh : Mesh
    feet : (k, 3) array, mm
        Where its pins leave the tooth.
    draw : (3,) array
    reach_mm : float
        From the middle of the feet, seen along the draw, and from the nearest foot.

    Returns
    -------
    (n,) index array
    """
    away = np.asarray(draw, float) / np.linalg.norm(draw)
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    centre = np.asarray(feet).mean(axis=0)
    offset = middle - centre
    across = np.linalg.norm(offset - (offset @ away)[:, None] * away, axis=1)
    near = KDTree(np.asarray(feet)).query(middle)[0] < reach_mm
    normals = smoothed_normals(mesh)[mesh.faces].mean(axis=1)
    return np.flatnonzero((across < reach_mm) & near & (normals @ away > 0.1))


def _about(mesh: Mesh, faces: NDArray[np.intp]) -> tuple[Mesh, NDArray[np.intp]]:
    """The part of the mesh about some triangles, seen along z, and which triangles that is."""
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    low = middle[faces].min(axis=0)[:2] - ABOUT_MM
    high = middle[faces].max(axis=0)[:2] + ABOUT_MM
    kept = np.flatnonzero(((middle[:, :2] > low) & (middle[:, :2] < high)).all(axis=1))
    used, index = np.unique(mesh.faces[kept], return_inverse=True)
    return Mesh(np.ascontiguousarray(mesh.vertices[used]), index.reshape(-1, 3).astype(np.int32)), kept


def _bars(
    pins: Sequence[Standing], names: list[str], axes: Float, origin: Float
) -> tuple[list[Bar], list[Bar]]:
    """The pins as they stand up in the cups, and stoppers for the dents where they stood out of the teeth."""
    bars, fillers = [], []
    for one in pins:
        foot = (one.pin.foot - origin) @ axes.T
        axis = axes @ one.pin.axis
        metal = names.index(one.piece) + 1 if one.metal else RUBBER
        bars.append(Bar(foot + 0.3 * axis, -axis, one.in_hole_mm + 0.3, one.pin.diameter_mm, metal))
        wide = one.pin.diameter_mm + 0.5
        fillers.append(Bar(foot + 0.15 * axis, axis, one.pin.protrusion_mm + 0.4, wide))
    return bars, fillers


def _metal(mesh: Mesh, region: Int, mask_mm: float, flange_mm: float, pieces: int) -> tuple[Int, Float]:
    """Electrode of each triangle, and its distance from the wax edge, mm."""
    found = edges(mesh)
    inner, outer = found.count == 2, found.count == 1
    first, second = (region[found.side[found.start[inner] + i] // 3] for i in (0, 1))
    border, rim = first != second, region[found.side[found.start[outer]] // 3]
    ends = np.concatenate((found.ends[inner][border], found.ends[outer][rim != RUBBER]))
    owner = np.concatenate((np.maximum(first, second)[border], rim[rim != RUBBER]))
    if not len(ends):
        return region.copy(), np.full(len(region), np.inf)
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    found_near = KDTree(mesh.vertices[ends].mean(axis=1)).query(middle)
    far, which = np.asarray(found_near[0], float), np.asarray(found_near[1], np.int64)
    label_of = np.where((region != RUBBER) & (far < mask_mm), RUBBER, region).astype(np.int64)
    past = (region == RUBBER) & (far < flange_mm)
    label_of[past] = owner[which[past]] + pieces
    return label_of, far - mask_mm


def _cover(
    mesh: Mesh, label_of: Int, edge_mm: Float, patches: Sequence[tuple[Float, float]], fillers: Sequence[Bar]
) -> Float:
    """Take metal away, in place, under patches and in the dents of pins; distance from the wax edge, mm."""
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    for at, radius in patches:
        beyond = np.linalg.norm(middle - at, axis=1) - radius
        label_of[beyond < 0.0] = RUBBER
        edge_mm = np.minimum(edge_mm, beyond)
    for bar in fillers:
        label_of[bar.distance(middle) < 0.05] = RUBBER
    return edge_mm


def _bands(mesh: Mesh, label_of: Int, edge_mm: Float, margins: list[Float]) -> Int:
    """Band of each triangle."""
    normals = smoothed_normals(mesh)[mesh.faces].mean(axis=1)
    floor = -normals[:, 2] > np.cos(np.radians(FLOOR_DEG))
    band = np.where(floor, BANDS.index("floor"), BANDS.index("wall")).astype(np.int64)
    band[edge_mm < RIM_MM] = BANDS.index("rim")
    if margins:
        line = np.concatenate([_dense(one) for one in margins])
        close = KDTree(line).query(mesh.vertices[mesh.faces].mean(axis=1))[0] < MARGIN_MM
        band[close] = BANDS.index("margin")
    band[label_of == RUBBER] = -1
    return band


def _dense(line: Float) -> Float:
    """Points every tenth of a millimetre or so along a line."""
    step = np.linalg.norm(np.diff(line, axis=0), axis=1)
    place = np.concatenate(([0.0], np.cumsum(step)))
    want = np.linspace(0.0, place[-1], max(2, int(place[-1] / 0.1)))
    return np.column_stack([np.interp(want, place, line[:, axis]) for axis in range(3)])


def _rim_height(mesh: Mesh) -> float:
    """Where the flat rim of the impression lies: at the middle height of the scan's longest open rim."""
    loops = boundary_loops(mesh)
    if not loops:
        return float(mesh.vertices[:, 2].max())
    return float(np.median(mesh.vertices[np.unique(loops[0].edges), 2]))


def _without_gaps(seen: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], float]:
    """The scan seen along z with small gaps filled, and their area, mm2."""
    closed = binary_closing(seen, iterations=_GAP_PIXELS, border_value=0) | seen
    parts, count = label(~closed)
    size = np.bincount(parts.ravel(), minlength=count + 1) * _PIXEL_MM**2
    at_edge = np.unique(np.concatenate((parts[0], parts[-1], parts[:, 0], parts[:, -1])))
    small = size < _LARGEST_GAP_MM2
    small[at_edge] = False
    small[0] = False
    closed |= small[parts]
    return closed, float((closed & ~seen).sum() * _PIXEL_MM**2)


def _box(mesh: Mesh, label_of: Int, rim_mm: float, anode_mm: float, bath_mm: float) -> tuple[Float, Float]:
    metal = mesh.vertices[mesh.faces[label_of != RUBBER]].reshape(-1, 3)
    top = max(float(metal[:, 2].max()), rim_mm) + anode_mm
    low = mesh.vertices.min(axis=0) - 1.0
    high = mesh.vertices.max(axis=0) + 1.0
    size = np.ceil((np.array([high[0], high[1], top]) - low) / bath_mm) * bath_mm
    low[:2] -= 0.5 * (size[:2] - (high - low)[:2])
    low[2] = top - size[2]
    return low, low + size


def area_of(mesh: Mesh, faces: NDArray[np.intp]) -> float:
    """Area of some triangles, mm2."""
    return float(face_areas(mesh)[faces].sum())
