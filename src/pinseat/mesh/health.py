"""How sound a scan is, in numbers and in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pinseat.mesh.model import Mesh
from pinseat.mesh.noise import noise_um
from pinseat.mesh.orient import outside
from pinseat.mesh.topology import Edges, boundary_loops, components, edge_lengths, edges, face_areas

Winding = Literal["outward", "inward", "mixed", "cannot tell"]


@dataclass(frozen=True)
class Health:
    """What is sound and what is not.

    Attributes
    ----------
    triangles, vertices : int
    components : int
        Parts that do not touch.
    largest_component : int
        Triangles of the largest of them.
    rim_mm : float
        Length of the edge of an open scan: the longest opening, when it is longer around than half the
        diagonal of the scan. 0 when there is none.
    holes : int
        All other openings.
    largest_hole_mm : float
        Length around the largest hole; 0 without holes.
    winding : str
        ``outward``, ``inward``, ``mixed`` or ``cannot tell``; of the largest part.
    flipped_edges : int
        Edges between two triangles that are wound against each other.
    duplicate_faces : int
        Triangles with the same three corners as another one.
    degenerate_faces : int
        Triangles without area.
    nonmanifold_edges : int
        Edges where more than two triangles meet.
    edge_mm : tuple of float
        Edge length: what 5 %, half and 95 % of the edges stay below.
    box_mm : tuple of float
        Size along the axes of the file.
    area_mm2 : float
    noise_um : float or None
        Standard deviation of the point noise; see :func:`pinseat.mesh.noise.noise_um`.
    notes : tuple of str
        All of it that a person should know, one sentence each.
    """

    triangles: int
    vertices: int
    components: int
    largest_component: int
    rim_mm: float
    holes: int
    largest_hole_mm: float
    winding: Winding
    flipped_edges: int
    duplicate_faces: int
    degenerate_faces: int
    nonmanifold_edges: int
    edge_mm: tuple[float, float, float]
    box_mm: tuple[float, float, float]
    area_mm2: float
    noise_um: float | None
    notes: tuple[str, ...]


def health(mesh: Mesh) -> Health:
    """Examine a mesh as it is; nothing is changed.

    Parameters
    ----------
    mesh : Mesh
        In mm, with at least one triangle.

    Returns
    -------
    Health
    """
    found = edges(mesh)
    part = components(mesh)
    flipped = int(found.flipped.sum())
    low, middle, high = np.quantile(edge_lengths(mesh, found), (0.05, 0.5, 0.95))
    x, y, z = np.ptp(mesh.vertices, axis=0)
    around = [loop.length_mm for loop in boundary_loops(mesh, found)]
    rim = int(bool(around) and around[0] > 0.5 * np.hypot(np.hypot(x, y), z))
    numbers = Health(
        triangles=len(mesh.faces),
        vertices=len(mesh.vertices),
        components=int(part.max()) + 1,
        largest_component=int(np.bincount(part).max()),
        rim_mm=around[0] if rim else 0.0,
        holes=len(around) - rim,
        largest_hole_mm=around[rim] if len(around) > rim else 0.0,
        winding="mixed" if flipped else _winding(mesh, part, found),
        flipped_edges=flipped,
        duplicate_faces=int(duplicate_faces(mesh).sum()),
        degenerate_faces=int(degenerate_faces(mesh).sum()),
        nonmanifold_edges=int((found.count > 2).sum()),
        edge_mm=(float(low), float(middle), float(high)),
        box_mm=(float(x), float(y), float(z)),
        area_mm2=float(face_areas(mesh).sum()),
        noise_um=noise_um(mesh),
        notes=(),
    )
    return replace(numbers, notes=tuple(_notes(numbers)))


def duplicate_faces(mesh: Mesh) -> NDArray[np.bool_]:
    """Triangles with the same three corners as one before them, in whatever order; (m,) bool."""
    with np.errstate(over="ignore"):
        mixed = (mesh.faces.astype(np.uint64) + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
        mixed = (mixed ^ (mixed >> np.uint64(31))) * np.uint64(0xBF58476D1CE4E5B9)
        key = np.sort(mixed[:, 0] + mixed[:, 1] + mixed[:, 2])  # equal for equal corners in any order
    if (key[1:] != key[:-1]).all():
        return np.zeros(len(mesh.faces), bool)
    corners = np.sort(mesh.faces, axis=1)
    order = np.lexsort(corners.T[::-1])
    again = np.zeros(len(corners), bool)
    again[order[1:]] = (corners[order[1:]] == corners[order[:-1]]).all(axis=1)
    return again


def degenerate_faces(mesh: Mesh) -> NDArray[np.bool_]:
    """Triangles with a corner twice, or lower than a millionth of their longest side; (m,) bool."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    sides = (b - a, c - b, a - c)
    longest = np.max([np.einsum("ij,ij->i", side, side) for side in sides], axis=0)
    double = np.cross(sides[0], sides[1])
    return np.asarray(np.einsum("ij,ij->i", double, double) <= 1e-12 * longest**2)


def _winding(mesh: Mesh, part: NDArray[np.int32], found: Edges) -> Winding:
    side = outside(mesh, part, found)[np.argmax(np.bincount(part))]
    return "outward" if side > 0 else "inward" if side < 0 else "cannot tell"


def _notes(h: Health) -> Iterator[str]:
    x, y, z = h.box_mm
    yield f"{_count(h.triangles, 'triangle')}, {x:.1f} x {y:.1f} x {z:.1f} mm."
    low, middle, high = h.edge_mm
    yield f"Edges are {middle:.2f} mm long, nine in ten between {low:.2f} and {high:.2f} mm."
    if h.noise_um is not None:
        yield f"The points scatter by about {h.noise_um:.2g} um around a smooth surface."
    yield from _openings(h)
    if h.components > 1:
        rest = h.triangles - h.largest_component
        yield f"{h.components:,} parts; all but the largest hold {_count(rest, 'triangle')}."
    if h.winding == "mixed":
        yield f"{_count(h.flipped_edges, 'edge')} between triangles that are wound against each other."
    elif h.winding == "inward":
        yield "The triangles show their back to the outside."
    elif h.winding == "cannot tell":
        yield "Which side of the surface is the outside cannot be told from its shape."
    if h.duplicate_faces:
        yield f"{_count(h.duplicate_faces, 'triangle')} stored twice."
    if h.degenerate_faces:
        yield f"{_count(h.degenerate_faces, 'triangle')} without area."
    if h.nonmanifold_edges:
        yield f"{_count(h.nonmanifold_edges, 'edge')} where more than two triangles meet."


def _openings(h: Health) -> Iterator[str]:
    if h.rim_mm:
        yield f"It is open along an edge of {h.rim_mm:.0f} mm."
    if h.holes:
        yield f"{_count(h.holes, 'hole')}, the largest {h.largest_hole_mm:.1f} mm around."
    if not h.rim_mm and not h.holes:
        yield "The surface is closed."


def _count(number: int, name: str) -> str:
    return f"{number:,} {name}" if number == 1 else f"{number:,} {name}s"
