"""The deviation map and the places that stand out of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from pinseat.compare.model import ChangedPlace, Deviation, Float
from pinseat.ledger.pins import PinField
from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.registration import OVERLAP_MM, SAME_WAY, Registration
from pinseat.mesh.topology import face_areas, neighbours, vertex_normals

LEAST_AREA_MM2 = 0.2
"""A smaller patch is a crumb of scanner noise at an edge."""
MOST_PLACES = 12
AT_PIN_MM = 0.6
"""A patch so close to a pin's wall belongs to the pin."""


def deviation_map(first: Nearest, second: Mesh, laid: Registration) -> Deviation:
    """Signed distance of each vertex of the second scan from the first.

    Parameters
    ----------
    first : Nearest
    second : Mesh
        In its own coordinates.
    laid : Registration

    Returns
    -------
    Deviation
        A vertex counts when its nearest place lies within 1 mm, not on the rim of the first scan, and the two
        surfaces face the same way there.
    """
    faces = second.faces[:, ::-1] if laid.turned_over else second.faces
    mesh = Mesh(laid.apply(second.vertices), np.ascontiguousarray(faces))
    found = first.search(mesh.vertices, within_mm=OVERLAP_MM)
    alike = np.einsum("ij,ij->i", vertex_normals(mesh), found.normal) > SAME_WAY
    distance = np.where(found.counted & alike, found.distance_mm, np.nan)
    return Deviation(mesh, distance, _calm(mesh, distance))


def _calm(mesh: Mesh, distance: Float) -> Float:
    """Mean over two rings of neighbours, those without a number left out."""
    ring = neighbours(mesh)
    value, known = np.nan_to_num(distance), (~np.isnan(distance)).astype(np.float64)
    for _ in range(2):
        value, known = value + ring @ value, known + ring @ known
    return np.where(np.isnan(distance), np.nan, value / np.maximum(known, 1.0))


def changed_places(found: Deviation, limit_mm: float, pins: PinField | None) -> tuple[ChangedPlace, ...]:
    """Patches of the map beyond the limit, the largest first.

    Parameters
    ----------
    found : Deviation
    limit_mm : float
    pins : PinField or None
        Of the first scan.

    Returns
    -------
    tuple of ChangedPlace
    """
    mesh, calm = found.mesh, found.calm_mm
    patches: list[ChangedPlace] = []
    area = vertex_areas(mesh)
    for side in (1.0, -1.0):
        beyond = np.nan_to_num(side * calm, nan=0.0) > limit_mm
        index = np.flatnonzero(beyond)
        joined = neighbours(mesh)[index][:, index]
        count, label = connected_components(joined, directed=False)
        sizes = np.bincount(label, area[index], minlength=count)
        for which in np.flatnonzero(sizes >= LEAST_AREA_MM2):
            member = index[label == which]
            top = member[int(np.argmax(side * calm[member]))]
            patches.append(
                ChangedPlace(
                    place=mesh.vertices[top],
                    area_mm2=float(sizes[which]),
                    mean_um=1e3 * float(np.average(calm[member], weights=area[member])),
                    farthest_um=1e3 * float(calm[top]),
                    at=_pin_at(mesh.vertices[top], pins),
                )
            )
    return tuple(sorted(patches, key=lambda patch: -patch.area_mm2)[:MOST_PLACES])


def vertex_areas(mesh: Mesh) -> Float:
    """A third of the area of the triangles around each vertex, mm2; (n,) array."""
    third = np.repeat(face_areas(mesh) / 3.0, 3)
    return np.bincount(mesh.faces.ravel(), third, minlength=len(mesh.vertices)).astype(np.float64)


def _pin_at(place: Float, pins: PinField | None) -> str:
    if pins is None:
        return ""
    for pin in pins.pins:
        if by_pin(place[None], pins, AT_PIN_MM, only=pin.name)[0]:
            return pin.name
    return ""


def by_pin(points: Float, pins: PinField, beside_mm: float, only: str = "") -> NDArray[np.bool_]:
    """Which points lie at a pin: beside its wall, from below its foot to beyond its end; (n,) bool array.

    Parameters
    ----------
    points : (n, 3) array, mm
    pins : PinField
    beside_mm : float
        From the wall.
    only : str
        Name of the one pin that is meant; all when empty.
    """
    near = np.zeros(len(points), bool)
    for pin in pins.pins:
        if only and pin.name != only:
            continue
        offset = points - pin.foot
        along = offset @ pin.axis
        out = np.sqrt(np.maximum(np.einsum("ij,ij->i", offset, offset) - along**2, 0.0))
        near |= (out < 0.5 * pin.diameter_mm + beside_mm) & (along > -0.5) & (along < pin.protrusion_mm + 0.5)
    return near
