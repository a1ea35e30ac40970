"""The proof on the finished mesh: counted, measured and shot at, without the grid that made it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np
from numpy.typing import NDArray

from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.overhead import covered
from pinseat.mesh.topology import components, edges
from pinseat.tray.body import POCKET_BLEND_MM, Wanted
from pinseat.tray.cast import Cast, curtained, longest_sides_mm, surface_points, used
from pinseat.tray.model import Gap, PinRoom, Soundness
from pinseat.tray.pocket import Pocket
from pinseat.tray.stops import Stop

Float = NDArray[np.float64]
Mask = NDArray[np.bool_]

MEASURED_POINTS = 12_000
"""Corners of the mesh whose distance is measured for the percentiles of the gap, evenly taken."""
FINE_MM = 0.02
"""Spacing of the points that are measured where something touches or comes nearest."""
SHORT_MM = 1e-4
"""A pin's clearance on the way may be so much less than is said."""
TWIN_MM = 5e-4
"""Five times the last digit of a coordinate in a file."""
_ASLANT = np.array([0.6137, 0.3391, 0.7130])
_AXIS_MM = 0.02


@dataclass(frozen=True, eq=False)
class Sides:
    """Which corners of the tray's mesh lie where; (n,) bool arrays.

    Attributes
    ----------
    inner, outer : bool array
        Inside towards the teeth, and outside; away from border, stops, handle and holes.
    """

    inner: Mask
    outer: Mask


def gaps(mesh: Mesh, inner: Mask, cast: Cast, pockets: Sequence[Pocket], wanted: Wanted) -> tuple[Gap, ...]:
    """Gap by zone: over the teeth to the blocked-out cast, round the pins to everything they can reach.

    Parameters
    ----------
    mesh : Mesh
        Finished tray, in the frame.
    inner : (n,) bool array
    cast : Cast
    pockets : sequence of Pocket
    wanted : Wanted

    Returns
    -------
    tuple of Gap
        Where one room passes into another, within the width of the blend, neither is counted.
    """
    where = np.flatnonzero(inner)
    where = where[:: max(1, len(where) // MEASURED_POINTS)]
    points = mesh.vertices[where]
    bare = Mesh(cast.mesh.vertices, np.ascontiguousarray(cast.mesh.faces[cast.bare]))
    within = wanted.relief_mm + wanted.pin_relief_mm + 2.0
    far = Nearest(curtained(bare, 5.0)).distance(points, within_mm=within)
    teeth = np.where(np.isfinite(far), far, within)
    each = np.sort([pocket.swept(points) for pocket in pockets] + [np.full(len(points), 99.0)] * 2, axis=0)
    pins, next_pin = each[0], each[1]
    a, b = teeth - wanted.relief_mm, pins - wanted.pin_relief_mm
    out = []
    for zone, far, asked, mine in (
        ("teeth", teeth, wanted.relief_mm, a < b - POCKET_BLEND_MM),
        (
            "pins",
            pins,
            wanted.pin_relief_mm,
            (b < a - POCKET_BLEND_MM) & (next_pin > pins + POCKET_BLEND_MM),
        ),
    ):
        if mine.any():
            low, middle, high = np.percentile(far[mine], [1.0, 50.0, 99.0])
            out.append(Gap(zone, asked, (float(low), float(middle), float(high)), int(mine.sum())))
    return tuple(out)


def pin_rooms(
    mesh: Mesh, pockets: Sequence[Pocket], u_mm: Sequence[float], relief_mm: float = 14.0
) -> tuple[PinRoom, ...]:
    """Clearance of each pin at rest, and swept through insertion and withdrawal with the wobble.

    At rest: from points 0.02 mm apart on the pin's axis to the nearest triangle of the tray, less the radius.
    Swept: the least distance of the tray's triangles from the body that the pin sweeps.

    Parameters
    ----------
    mesh : Mesh
        Finished tray, in the frame.
    pockets : sequence of Pocket
    u_mm : sequence of float
        Standard uncertainty of each pin's surface.
    relief_mm : float
        Room asked for; triangles 6 mm farther off than that, seen along the draw, are not looked at.
    """
    tray = _about(mesh, np.array([p.foot for p in pockets]), relief_mm + 6.0)
    search = Nearest(tray)
    out = []
    for pocket, u in zip(pockets, u_mm, strict=True):
        length = max(pocket.length_mm - pocket.radius_mm, 0.0)
        along = np.linspace(0.0, length, int(length / _AXIS_MM) + 2)
        at = pocket.foot + along[:, None] * pocket.axis
        rest = float(search.distance(at).min()) - pocket.radius_mm
        out.append(PinRoom(pocket.name, pocket.sweep_mm, rest, _least_swept(tray, pocket), u))
    return tuple(out)


def _about(mesh: Mesh, places: Float, reach_mm: float) -> Mesh:
    """The triangles about some places, seen along the draw: all that can be nearest to them."""
    near = np.zeros(len(mesh.vertices), bool)
    for place in places:
        near |= (np.abs(mesh.vertices[:, :2] - place[:2]) < reach_mm).all(axis=1)
    return Mesh(mesh.vertices, np.ascontiguousarray(mesh.faces[near[mesh.faces].any(axis=1)]))


def _least_swept(mesh: Mesh, pocket: Pocket) -> float:
    """Least distance of triangles from all that a pin can reach, mm, at most :data:`SHORT_MM` too large.

    The pin's axis sweeps a convex body. Where the distance F from it is least inside a triangle, the
    way to the nearest place c of the body is square to the triangle; a corner r away is √(F² + r²) from c.
    Some corner lies within L/√3, L the longest side. So with F₁ at the nearest corner nothing in the triangle
    is nearer than √(F₁² - L²/3); those that could still be nearer than the nearest corner of all are cut in
    four, until none could.
    """
    off = pocket.radius_mm + pocket.shift_mm
    at = np.full(len(mesh.vertices), np.inf)
    corners = np.flatnonzero(used(mesh))
    at[corners] = pocket.swept(mesh.vertices[corners]) + off
    least, far = float(at.min()), at[mesh.faces].min(axis=1)
    triangles, square = mesh.vertices[mesh.faces], longest_sides_mm(mesh) ** 2
    while len(triangles):
        nearer = np.sqrt(np.maximum(far**2 - square / 3.0, 0.0)) < least - SHORT_MM
        triangles, square = _quartered(triangles[nearer]), np.repeat(0.25 * square[nearer], 4)
        far = (pocket.swept(triangles).reshape(-1, 3) + off).min(axis=1)
        least = min(least, float(far.min(initial=np.inf)))
    return least - off


def _quartered(triangles: Float) -> Float:
    """Each triangle cut in four at the middles of its sides; shape (4 m, 3, 3)."""
    a, b, c = (triangles[:, i] for i in range(3))
    d, e, f = 0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a)
    parts = [np.stack(part, axis=1) for part in ((a, d, f), (d, b, e), (f, e, c), (d, e, f))]
    return np.stack(parts, axis=1).reshape(-1, 3, 3)


def stop_gaps(mesh: Mesh, cast: Cast, stops: Sequence[Stop], dome_mm: float) -> tuple[float, ...]:
    """Least distance between each finished stop and the cast, mm; negative where they overlap.

    Points 0.08 mm apart on the stop's end, to the nearest triangle of the cast.
    """
    if not stops:
        return ()
    search = Nearest(_about(cast.mesh, np.array([stop.at for stop in stops]), 2.0 * dome_mm + 1.0))
    out = []
    for stop in stops:
        end = np.asarray((np.abs(mesh.vertices - stop.centre) < dome_mm + 0.2).all(axis=1))
        faces = mesh.faces[end[mesh.faces].all(axis=1)]
        points = surface_points(Mesh(mesh.vertices, faces), 4.0 * FINE_MM)
        near = np.linalg.norm(points - stop.at, axis=1)
        points = points[np.argsort(near, kind="stable")[:4000]]
        found = search.search(points, within_mm=dome_mm)
        out.append(float(np.nanmin(found.distance_mm)))
    return tuple(out)


def collisions(mesh: Mesh, cast: Cast) -> int:
    """Lines along the draw on which the cast stands in the way of the tray.

    From every corner of the tray a line goes along the draw: the tray moves there, so it must not meet the
    scan. From every corner of the scan, pins included, a line goes the other way: it must not meet the tray.
    """
    down = np.array([1.0, 1.0, -1.0])
    over = covered(cast.mesh, mesh.vertices)
    under = covered(Mesh(mesh.vertices * down, mesh.faces), cast.mesh.vertices[used(cast.mesh)] * down)
    return int(over.sum() + under.sum())


def thinnest(mesh: Mesh, sides: Sides) -> float:
    """Thinnest wall, mm: from corners outside to the nearest triangle inside."""
    inner = sides.inner[mesh.faces].all(axis=1)
    outer = np.flatnonzero(sides.outer)
    if not inner.any() or not len(outer):
        return float("nan")
    outer = outer[:: max(1, len(outer) // MEASURED_POINTS)]
    inside = Nearest(Mesh(mesh.vertices, np.ascontiguousarray(mesh.faces[inner])))
    return float(inside.distance(mesh.vertices[outer]).min())


def soundness(mesh: Mesh, genus_designed: int) -> Soundness:
    """Count edges, parts and handles of the finished mesh, and hear the boolean library on the written file.

    Parameters
    ----------
    mesh : Mesh
    genus_designed : int
        Handles in the sense of topology: holes through the body.

    Returns
    -------
    Soundness
        Without collisions and wall, which are measured apart.
    """
    found = edges(mesh)
    parts = int(components(mesh).max()) + 1
    corners = mesh.vertices[mesh.faces]
    volume = float(np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0)
    euler = int(used(mesh).sum()) - len(found.count) + len(mesh.faces)
    return Soundness(
        triangles=len(mesh.faces),
        open_edges=int((found.count == 1).sum()),
        wrong_edges=int((found.count > 2).sum() + found.flipped.sum()),
        twins=len(twins(mesh)),
        parts=parts,
        genus=parts - euler // 2,
        genus_designed=genus_designed,
        volume_mm3=volume,
        collisions=0,
        thinnest_mm=float("nan"),
        second_opinion=second_opinion(mesh),
    )


def twins(mesh: Mesh) -> NDArray[np.int64]:
    """Corners within half a micrometre of another one: in a file they could be one; all but one of each."""
    corners = np.flatnonzero(used(mesh))
    along = mesh.vertices[corners] @ _ASLANT
    order = np.argsort(along, kind="stable")
    at, along = mesh.vertices[corners[order]], along[order]
    found = np.zeros(len(at), bool)
    first, ahead = np.arange(len(at) - 1), 1
    while len(first):
        first = first[along[first + ahead] - along[first] < 2.0 * TWIN_MM]
        way = np.abs(at[first + ahead] - at[first])
        found[first[np.maximum(np.maximum(way[:, 0], way[:, 1]), way[:, 2]) < TWIN_MM] + ahead] = True
        ahead += 1
        first = first[first + ahead < len(at)]
    return np.asarray(corners[order[found]], np.int64)


def second_opinion(mesh: Mesh) -> str:
    """What manifold3d says of a mesh in single precision, as it is written."""
    solid = manifold3d.Manifold(
        manifold3d.Mesh(
            np.ascontiguousarray(mesh.vertices, np.float32), np.ascontiguousarray(mesh.faces, np.uint32)
        )
    )
    status = solid.status()
    if status != manifold3d.Error.NoError:
        return str(status).rsplit(".", 1)[-1]
    return f"no error, genus {solid.genus()}, {solid.volume():.1f} mm3"


def sides_of(
    mesh: Mesh, inside: Float, border_mm: Float, wanted: Wanted, keep_off: Mask, step_mm: float
) -> Sides:
    """Tell inside from outside of the finished mesh.

    Parameters
    ----------
    mesh : Mesh
    inside : (n,) array, mm
        The inside field at each corner: 0 on the inside, the wall's thickness outside.
    border_mm : (n,) array
        Height of each corner above the border.
    wanted : Wanted
    keep_off : (n,) bool array
        Corners at stops, holes and handle.
    step_mm : float
        Of the grid.
    """
    body = (border_mm > wanted.wall_mm + 0.5) & ~keep_off
    near = 0.45 * step_mm
    return Sides(body & (np.abs(inside) < near), body & (np.abs(inside - wanted.wall_mm) < 2.0 * near))
