"""Thickness of rubber between teeth and tray: exact distances where there is a tray, else a uniform bulk."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.errors import ImpressionError
from pinseat.impression.model import Bulk, Float
from pinseat.impression.rubber import spoken, u_of
from pinseat.ledger.pins import PinField
from pinseat.ledger.verdict import one_sided
from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.rays import Rays
from pinseat.mesh.smoothing import smoothed_normals
from pinseat.mesh.topology import unit

MOST_POINTS = 20_000
"""Points of the teeth whose thickness is taken."""
THICKEST_MM = 15.0
"""No rubber is this thick: the tray does not cover such a place."""
BESIDE_PIN_MM = 0.12
"""What the scan shows of a pin lies within this of its wall."""


@dataclass(frozen=True, eq=False)
class Around:
    """What surrounds the rubber: a tray's mesh, or a uniform bulk.

    Attributes
    ----------
    bulk : Bulk
    wall : Rays or None
        The tray; None for a uniform bulk.
    distance : Nearest or None
        The tray, likewise.
    free : Rays or None
        The teeth without the pins.
    teeth, tray : Mesh or None
        The same two as meshes.
    """

    bulk: Bulk
    wall: Rays | None = None
    distance: Nearest | None = None
    free: Rays | None = None
    teeth: Mesh | None = None
    tray: Mesh | None = None


def uniform(case: Case) -> Around:
    """The bulk as stated in the case, else that of its kind of tray.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Around
    """
    work = case.impression
    if work.bulk_mm is not None:
        return Around(_even(f"stated as {work.bulk_mm:g} mm", work.bulk_mm, work.u_bulk_mm))
    return Around(assumed(work.tray))


def assumed(tray: str) -> Bulk:
    """The bulk of a custom or a stock tray, from reference values."""
    found = spoken(f"impression.bulk_{tray}_mm")
    return _even(f"{found.conditions} ({found.basis})", found.value, u_of(found))


def _even(basis: str, thickness: float, u: float) -> Bulk:
    half = one_sided() * u
    return Bulk(basis, max(thickness - half, 0.1), thickness, thickness + half, u)


def from_tray(teeth: Mesh, tray: Mesh, field: PinField, name: str) -> Around:
    """Thickness over the teeth under a tray.

    Parameters
    ----------
    teeth : Mesh
        The working scan.
    tray : Mesh
        In the same coordinates.
    field : PinField
        Its pins are taken off the scan: they are not teeth.
    name : str
        File of the tray, for the basis.

    Returns
    -------
    Around

    Raises
    ------
    ImpressionError
        If the tray does not cover the pins.
    """
    bare = without_pins(teeth, field)
    wall, free, distance = Rays(tray), Rays(bare), Nearest(tray)
    used = np.unique(bare.faces)
    chosen = used[:: max(len(used) // MOST_POINTS, 1)]
    normals = smoothed_normals(bare)[chosen]
    points = bare.vertices[chosen]
    off = points + 0.04 * normals
    ahead = wall.distance(off, normals)
    under = (ahead < THICKEST_MM) & (ahead < free.distance(off, normals))
    if np.count_nonzero(under) < 30:
        raise ImpressionError(
            "the tray does not lie over the teeth",
            where=name,
            value=f"{np.count_nonzero(under)} of {len(under)} points of the scan have it before them",
            do="give a tray in the coordinates of the scan, in mm",
        )
    thickness = np.abs(distance.search(points[under]).distance_mm)
    thin, middle, thick = np.percentile(thickness, [5.0, 50.0, 95.0])
    error = spoken("tray.wall_error_um")
    bulk = Bulk(f"tray {name}", float(thin), float(middle), float(thick), u_of(error) / 1000.0)
    return Around(bulk, wall, distance, free, bare, tray)


def without_pins(teeth: Mesh, field: PinField) -> Mesh:
    """The scan less the triangles of its pins.

    Parameters
    ----------
    teeth : Mesh
    field : PinField

    Returns
    -------
    Mesh
        The same vertices, fewer triangles.
    """
    of_pin = np.zeros(len(teeth.vertices), bool)
    for pin in field.pins:
        of_pin |= near_pin(teeth.vertices, pin.foot, pin.axis, pin.diameter_mm, pin.protrusion_mm)
    return Mesh(teeth.vertices, teeth.faces[~of_pin[teeth.faces].any(axis=1)])


def near_pin(
    points: Float, foot: Float, axis: Float, diameter_mm: float, protrusion_mm: float
) -> NDArray[np.bool_]:
    """Which points belong to a standing pin."""
    away = points - foot
    along = away @ axis
    across = np.linalg.norm(away - along[:, None] * axis, axis=1)
    tall = (along > -0.1) & (along < protrusion_mm + 0.3)
    return np.asarray(tall & (across < 0.5 * diameter_mm + BESIDE_PIN_MM))


def thickness_at(around: Around, points: Float) -> tuple[Float, float]:
    """Thickness of rubber at points of the teeth, and its standard uncertainty.

    Parameters
    ----------
    around : Around
    points : (n, 3) array, mm

    Returns
    -------
    thickness_mm : (n,) array
    u_mm : float
    """
    if around.distance is None:
        return np.full(len(points), around.bulk.middle_mm), around.bulk.u_mm
    return np.abs(around.distance.search(points).distance_mm), around.bulk.u_mm


def facing(around: Around, points: Float, outward: Float) -> NDArray[np.bool_]:
    """Which points of the teeth have the tray before them; all of them with a uniform bulk."""
    if around.wall is None or around.free is None:
        return np.ones(len(points), bool)
    off = points + 0.04 * unit(outward)
    ahead = around.wall.distance(off, outward)
    return np.asarray(
        (ahead < THICKEST_MM) & (ahead < around.free.distance(off, outward)) & np.isfinite(ahead)
    )
