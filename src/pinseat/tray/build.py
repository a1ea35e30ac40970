"""From the cast to the finished, measured body."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import manifold3d
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from pinseat.case.tray import Tray as Stated
from pinseat.errors import TrayError
from pinseat.ledger.handover import Progress
from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import unit
from pinseat.tray import body, fill, proof
from pinseat.tray.border import border_of, gum_line
from pinseat.tray.cast import Cast, cast_of, used
from pinseat.tray.distance import Field, Grid, grid_round
from pinseat.tray.doses import doses_of
from pinseat.tray.handle import Seat, handle_mesh, openings, pull_line, seat_of
from pinseat.tray.model import Asked, Doses, Gap, PinRoom, Soundness
from pinseat.tray.pocket import Pocket
from pinseat.tray.retention import hole_sites, with_holes
from pinseat.tray.shape import Shape
from pinseat.tray.stops import ON_SCAN_MM, Prepared, Stop, candidates, drop, propose, steadiness

Float = NDArray[np.float64]

SMALLEST_SCAN_MM2 = 100.0
_FINISH_MM, _APART_MM, _MOST_ROUNDS = 0.003, 0.004, 6
_MAP_MM = 0.4
WORKERS = 2
"""Threads that measure at the same time; no number depends on it."""


@dataclass(frozen=True, eq=False)
class Proof:
    """What was measured on the finished mesh."""

    sound: Soundness
    gaps: tuple[Gap, ...]
    pins: tuple[PinRoom, ...]
    stop_gaps: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Body:
    """The finished body in the frame, and where its corners lie."""

    mesh: Mesh
    seat: Seat | None
    sides: proof.Sides
    genus: int


def wanted_of(asked: Asked) -> body.Wanted:
    """The measures that the fields need."""
    return body.Wanted(asked.relief_mm, asked.pin_relief_mm, asked.wall_mm, 0.5 * asked.stop_diameter_mm)


def shape_of(
    mesh: Mesh,
    drawn: Sequence[Float],
    picked: Sequence[Float],
    pockets: Sequence[Pocket],
    prepared: Prepared,
    asked: Asked,
    progress: Progress,
) -> Shape:
    """Decide border, room and stops.

    Parameters
    ----------
    mesh : Mesh
        The working scan, in the frame.
    drawn, picked : sequence of (3,) array, mm
        Border and stops as stated, in the frame.
    pockets : sequence of Pocket
    prepared : Prepared
    asked : Asked
    progress : callable

    Raises
    ------
    TrayError
        When the scan is too small, a drawn border or a picked stop lies off it, or the grid is too fine.
    """
    progress("looking at the cast", 0.0)
    wanted = wanted_of(asked)
    cast = cast_of(mesh, pockets)
    seen = float((~np.isnan(cast.top.height)).sum() * cast.top.pixel_mm**2)
    if seen < SMALLEST_SCAN_MM2:
        raise TrayError(
            "the scan is too small for a tray",
            value=f"{seen:.0f} mm2 seen along the draw",
            limit=f"at least {SMALLEST_SCAN_MM2:.0f} mm2",
            do="scan the neighbours too",
        )
    gum = None if len(drawn) else gum_line(cast)
    low = (
        float(gum.at(cast.points[:, :2]).min()) - asked.past_gum_mm
        if gum
        else float(np.min(drawn, axis=0)[2])
    )
    grid = _grid(cast, pockets, wanted, low, asked.grid_mm)
    border = border_of(cast, grid, asked.past_gum_mm, drawn, gum)
    progress("laying the relief", 0.15)
    inside = body.inside_field(grid, cast, pockets, wanted)
    above = grid.nodes(2) > border.height[:, :, None]
    covered = np.asarray(((inside > 0.0) & (inside < wanted.wall_mm) & above).any(axis=2))
    if not covered.any():
        raise TrayError(
            "the border leaves nothing of the tray",
            where="tray.border" if len(drawn) else "tray.past_gum_mm",
            do="draw the border below the teeth, or scan farther past the gum line",
        )
    pull = pull_line(covered, grid)
    upper = prepared.teeth[0] // 10 in (1, 2)
    if len(picked):
        stops = tuple(_picked(cast, at, wanted.dome_mm, i + 1) for i, at in enumerate(picked))
    else:
        sites = candidates(cast, prepared, pockets, wanted.pin_relief_mm, upper, wanted.dome_mm)
        inside_border = [s for s in sites if _over(grid, border.height, s.xy) + 1.0 < drop_height(cast, s.xy)]
        stops = tuple(
            drop(cast, s.xy, wanted.dome_mm, s.kind) for s in propose(inside_border, pull, prepared.middle)
        )
    flat = np.array([stop.centre[:2] for stop in stops]).reshape(-1, 2)
    steady = steadiness(flat, pull, prepared.middle) if len(stops) >= 3 else None
    on = tuple((i + 1, t) for i, xy in enumerate(flat) if (t := prepared.tooth_at(xy)) is not None)
    near = tuple((i + 1, p.name) for i, s in enumerate(stops) for p in pockets if _crowds(s, p, wanted))
    return Shape(cast, grid, border, inside, covered, pull, stops, steady, on, near)


def _grid(
    cast: Cast, pockets: Sequence[Pocket], wanted: body.Wanted, border_mm: float, step_mm: float
) -> Grid:
    low, high = cast.points.min(axis=0), cast.points.max(axis=0)
    spread = wanted.relief_mm + wanted.wall_mm + 2.0 * step_mm
    top = high[2] + spread
    for pocket in pockets:
        room = pocket.radius_mm + wanted.pin_relief_mm + pocket.sweep_mm + wanted.wall_mm + 2.0 * step_mm
        tip = pocket.foot + pocket.length_mm * pocket.axis
        top = max(top, tip[2] + room)
        low[:2] = np.minimum(low[:2], np.minimum(tip, pocket.foot)[:2] - room + spread)
        high[:2] = np.maximum(high[:2], np.maximum(tip, pocket.foot)[:2] + room - spread)
    floor = max(border_mm, low[2]) - 2.0
    return grid_round(np.array([*(low[:2] - spread), floor]), np.array([*(high[:2] + spread), top]), step_mm)


def _over(grid: Grid, height: Float, xy: Float) -> float:
    i, j = np.clip(np.rint((xy - grid.low[:2]) / grid.step_mm).astype(int), 0, np.array(height.shape) - 1)
    return float(height[i, j])


def drop_height(cast: Cast, xy: Float) -> float:
    """Height of the cast at a place, mm; minus infinity beside it."""
    row, column = np.rint(cast.top.to_pixel(np.array([*xy, 0.0]))[0, :2]).astype(int)
    rows, columns = cast.top.height.shape
    if not (0 <= row < rows and 0 <= column < columns):
        return float("-inf")
    return float(np.nan_to_num(cast.top.height[row, column], nan=-np.inf))


def _picked(cast: Cast, at: Float, dome_mm: float, number: int) -> Stop:
    far = float(cKDTree(cast.points).query(at)[0])
    if far > ON_SCAN_MM:
        raise TrayError(
            "the picked stop lies off the scan",
            where=f"tray.stops, point {number}",
            value=f"{far:.2f} mm off the scan",
            limit=f"at most {ON_SCAN_MM:g} mm",
            do="pick it on the scanned surface",
        )
    return drop(cast, at[:2], dome_mm, "picked")


def _crowds(stop: Stop, pocket: Pocket, wanted: body.Wanted) -> bool:
    up = stop.centre + np.array([[0.0, 0.0, x] for x in np.linspace(0.0, wanted.relief_mm, 9)])
    return bool(pocket.swept(up).min() < wanted.pin_relief_mm + wanted.dome_mm - 0.02)


def body_of(shape: Shape, asked: Asked, stated: Stated, number: str, pockets: Sequence[Pocket]) -> Body:
    """Make the body: one isosurface, then handle and holes by exact booleans.

    Raises
    ------
    TrayError
        When the boolean library refuses a part.
    """
    wanted = wanted_of(asked)
    grid = shape.grid
    solid = body.body_field(grid, shape.inside, shape.border.height, shape.stops, pockets, wanted)
    filled = solid < 0.0
    with ThreadPoolExecutor(1) as pool:
        making = pool.submit(_shell, grid, solid, shape.stops, wanted)
        over = np.asarray(filled.any(axis=2))
        genus, seat = openings(over)[0], None
        if stated.handle:
            column = np.argmax(filled[:, :, ::-1], axis=2)
            top = grid.low[2] + grid.step_mm * (grid.shape[2] - 1 - column)
            seat = seat_of(over, top, grid, shape.pull, wanted.wall_mm)
        handle = handle_mesh(seat, grid, shape.inside, wanted.wall_mm, number) if seat is not None else None
        shell, whole = making.result()
    if handle is not None and seat is not None:
        whole = whole + solid_of(handle)
        genus += seat.genus
    whole = _largest(whole)
    if stated.retention_hole_mm is not None:
        sites = hole_sites(shell, shape.inside, grid, shape, seat, pockets, wanted, stated.retention_hole_mm)
        whole = with_holes(whole, sites, stated.retention_hole_mm, wanted.wall_mm)
        genus += len(sites[0])
    mesh = _finished(whole)
    return Body(mesh, seat, _sides(mesh, shape, wanted, seat), genus)


def _shell(
    grid: Grid, solid: Field, stops: Sequence[Stop], wanted: body.Wanted
) -> tuple[Mesh, manifold3d.Manifold]:
    mesh = body.seated(body.surface(grid, solid), stops, wanted.dome_mm)
    return mesh, solid_of(mesh)


def _largest(solid: manifold3d.Manifold) -> manifold3d.Manifold:
    """The largest part; what the border cut loose, or a handle's end beyond the wall, goes."""
    return max(solid.decompose(), key=lambda part: part.volume())


def _finished(solid: manifold3d.Manifold) -> Mesh:
    """The mesh of a solid, flat places with fewer triangles, and no two corners that a file would make one.

    Where the boolean left corners at one place, all but the first of them move a few micrometres towards the
    neighbours, until none is left.
    """
    mesh = mesh_of(solid.simplify(_FINISH_MM))
    for _ in range(_MOST_ROUNDS):
        again = proof.twins(mesh)
        if not len(again):
            break
        vertices, about = mesh.vertices.copy(), _about(mesh, again)
        vertices[again] += _APART_MM * unit(about - vertices[again])
        mesh = Mesh(vertices, mesh.faces)
    return mesh


def _about(mesh: Mesh, corners: NDArray[np.int64]) -> Float:
    """Middle of the triangles about each of some corners, mm; shape (n, 3)."""
    row = np.full(len(mesh.vertices), -1)
    row[corners] = np.arange(len(corners))
    faces = mesh.faces[(row[mesh.faces] >= 0).any(axis=1)]
    which, where = row[faces].ravel(), np.repeat(mesh.vertices[faces].mean(axis=1), 3, axis=0)
    total = np.zeros((len(corners), 3))
    np.add.at(total, which[which >= 0], where[which >= 0])
    return total / np.bincount(which[which >= 0], minlength=len(corners))[:, None]


def solid_of(mesh: Mesh) -> manifold3d.Manifold:
    """A mesh for the boolean library, in double precision.

    Raises
    ------
    TrayError
        When it is no closed surface.
    """
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces, np.uint64))
    )
    if solid.status() != manifold3d.Error.NoError:
        raise TrayError(
            "a part of the tray is no closed surface",
            value=str(solid.status()).rsplit(".", 1)[-1],
            do="state another grid_mm under [tray]",
        )
    return solid


def mesh_of(solid: manifold3d.Manifold) -> Mesh:
    """The mesh of a solid."""
    out = solid.to_mesh64()
    return Mesh(np.array(out.vert_properties[:, :3]), np.array(out.tri_verts, np.int32))


def _sides(mesh: Mesh, shape: Shape, wanted: body.Wanted, seat: Seat | None) -> proof.Sides:
    grid = shape.grid
    at = grid.cells(mesh.vertices).T
    inside = np.asarray(map_coordinates(shape.inside, at, order=1, mode="nearest"), np.float64)
    border = mesh.vertices[:, 2] - map_coordinates(shape.border.height, at[:2], order=1, mode="nearest")
    off = np.zeros(len(mesh.vertices), bool)
    for stop in shape.stops:
        off |= np.linalg.norm(mesh.vertices[:, :2] - stop.centre[:2], axis=1) < wanted.dome_mm + 1.5
    if seat is not None:
        reach = 12.0
        for end in seat.ends:
            off |= (np.linalg.norm(mesh.vertices[:, :2] - end[:2], axis=1) < reach) & (
                inside > 0.5 * wanted.wall_mm
            )
    return proof.sides_of(mesh, inside, border, wanted, off, grid.step_mm)


def prove(
    shape: Shape, made: Body, asked: Asked, pockets: Sequence[Pocket], u_pins: Sequence[float]
) -> Proof:
    """Measure the finished body; see :mod:`pinseat.tray.proof`."""
    wanted = wanted_of(asked)
    mesh, cast = made.mesh, shape.cast
    with ThreadPoolExecutor(WORKERS) as pool:
        gaps = pool.submit(proof.gaps, mesh, made.sides.inner, cast, pockets, wanted)
        hits = pool.submit(proof.collisions, mesh, cast)
        pins = pool.submit(proof.pin_rooms, mesh, pockets, u_pins, wanted.pin_relief_mm)
        sound = pool.submit(proof.soundness, mesh, made.genus)
        stops = pool.submit(proof.stop_gaps, mesh, cast, shape.stops, wanted.dome_mm)
        wall = pool.submit(proof.thinnest, mesh, made.sides)
        counted = replace(sound.result(), collisions=hits.result(), thinnest_mm=wall.result())
        return Proof(counted, gaps.result(), pins.result(), stops.result())


def relief_map(shape: Shape, made: Body) -> Float:
    """Distance from each vertex of the cast to the nearest of the tray's corners inside, one in each 0.4 mm,
    for the map.

    Not a number where the tray does not cover the cast. Good to some hundredths of a millimetre; the
    percentiles of :func:`pinseat.tray.proof.gaps` are exact.
    """
    cast = shape.cast.mesh
    inside = made.mesh.vertices[made.sides.inner]
    _, one = np.unique(np.floor(inside / _MAP_MM).astype(np.int32), axis=0, return_index=True)
    found = cKDTree(inside[one])
    out = np.full(len(cast.vertices), np.nan)
    at = shape.grid.cells(cast.vertices).T
    height = map_coordinates(shape.border.height, at[:2], order=1, mode="nearest")
    where = np.flatnonzero(used(cast) & (cast.vertices[:, 2] > height))
    far = np.asarray(
        found.query(cast.vertices[where], eps=0.02, distance_upper_bound=10.0, workers=WORKERS)[0]
    )
    out[where] = np.where(np.isfinite(far), far, np.nan)
    return out


def measured_doses(shape: Shape, made: Body, asked: Asked, prepared: Prepared) -> Doses:
    """Volumes and areas of the finished tray."""
    return doses_of(
        made.mesh, made.sides, shape.cast, shape.grid, shape.inside, shape.border, prepared, asked
    )


def block_out(shape: Shape) -> tuple[Float, float]:
    """Depth of the undercut at each vertex of the cast, mm, and the volume of the fill, mm3."""
    floor = fill.border_over(shape.cast.top, shape.grid.low, shape.grid.step_mm, shape.border.height)
    return fill.depth_mm(shape.cast), fill.volume_mm3(shape.cast, floor)
