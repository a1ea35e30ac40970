"""Distances that decide where a pin may stand: to other pins, to the margin, to the surface of the tooth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment
from pinseat.errors import SurveyError
from pinseat.ledger.pins import Pin, PinField, frame
from pinseat.reference import value
from pinseat.survey.margin import Margin
from pinseat.survey.measure import Measure, source
from pinseat.survey.terrain import Terrain
from pinseat.survey.triangles import nearest_on_triangles

Float = NDArray[np.float64]
Index = NDArray[np.int64]
Bool = NDArray[np.bool_]

SIDEWAYS = 0.5**0.5
"""The outer surface is what faces within 45 deg of square to the pin; a ledge round the hole faces along it.
"""
_ROUND_PIN_MM, _BELOW_MOUTH_MM = 0.3, 0.2
_REACH_MM = (2.0, 4.0, 8.0)


@dataclass(frozen=True, eq=False)
class Thickness:
    """What is left of the tooth beside one hole.

    Attributes
    ----------
    least : Measure
        Axis to surface less the hole's radius, mm.
    depth_mm : float
        Below the hole's mouth where it is thinnest.
    place : (3,) array, mm
        On the surface.
    """

    least: Measure
    depth_mm: float
    place: Float


def pin_spacing(field: PinField, abutments: Sequence[Abutment]) -> tuple[Measure, ...]:
    """Least distance between the axes of each two holes of a tooth, mouth to floor.

    Parameters
    ----------
    field : PinField
    abutments : sequence of Abutment
        Give the depth of the holes.

    Returns
    -------
    tuple of Measure
        In the order of the pins, mm.
    """
    limit = value("pin.spacing_min_mm")
    found = []
    for i, j in combinations(range(len(field.pins)), 2):
        a, b = field.pins[i], field.pins[j]
        if a.tooth != b.tooth:
            continue
        holes = [_hole(pin, abutments) for pin in (a, b)]
        from_, to = (np.stack(hole)[:, None, :] for hole in holes)
        away, s, t = segment_to_segment(from_[0], from_[1], to[0], to[1])
        depths = [s[0] * _of(a, abutments).hole_depth_mm, t[0] * _of(b, abutments).hole_depth_mm]
        way = (from_[0] + s[:, None] * (from_[1] - from_[0]) - to[0] - t[:, None] * (to[1] - to[0]))[0]
        row = np.zeros(len(field.covariance))
        row[4 * i : 4 * i + 4] = _moves(a, depths[0], way)
        row[4 * j : 4 * j + 4] = -_moves(b, depths[1], way)
        found.append(
            Measure(
                code="survey.spacing",
                where=f"pins {a.name} and {b.name}",
                says="least distance between the axes of the two holes",
                value=float(away[0]),
                u=float(np.sqrt(row @ field.covariance @ row)),
                unit="mm",
                limit=limit.value,
                limit_source=source(limit) + ", taken between the axes",
            )
        )
    return tuple(found)


def pin_to_margin(
    terrain: Terrain, field: PinField, margins: Sequence[Margin], abutments: Sequence[Abutment]
) -> tuple[Measure, ...]:
    """Least distance from the wall of each hole to the margin line of its tooth.

    Parameters
    ----------
    terrain : Terrain
        Gives how well a margin point is known: half an edge either way.
    field : PinField
    margins : sequence of Margin
    abutments : sequence of Abutment

    Returns
    -------
    tuple of Measure
        For the pins whose tooth has a margin, mm.
    """
    limit = value("pin.dentine_around_min_mm")
    lines = {line.tooth: line.points for line in margins}
    found = []
    for i, pin in enumerate(field.pins):
        if pin.tooth not in lines:
            continue
        line, (mouth, floor) = lines[pin.tooth], _hole(pin, abutments)
        count = len(line) - 1
        away, s, t = segment_to_segment(
            np.tile(mouth, (count, 1)), np.tile(floor, (count, 1)), line[:-1], line[1:]
        )
        k = int(np.argmin(away))
        way = line[k] + t[k] * (line[k + 1] - line[k]) - mouth - s[k] * (floor - mouth)
        hole = _of(pin, abutments)
        u = _u_from(field, i, s[k] * hole.hole_depth_mm, way)
        found.append(
            Measure(
                code="survey.pin_to_margin",
                where=f"pin {pin.name}",
                says="least distance from the hole to the margin line",
                value=float(away[k]) - 0.5 * hole.hole_diameter_mm,
                u=float(np.sqrt(u**2 + _u_radius_mm() ** 2 + (0.5 * terrain.edge_mm) ** 2 / 3.0)),
                unit="mm",
                limit=limit.value,
                limit_source=source(limit) + "; the margin lies on the surface",
            )
        )
    return tuple(found)


def thickness(terrain: Terrain, field: PinField, abutments: Sequence[Abutment]) -> tuple[Thickness, ...]:
    """What is left of the tooth between each hole and the outer surface.

    The exact distance from the axis to every triangle near it that faces away from it and no more than 45 deg
    off square to it, less the hole's radius. The axis counts from 0.5 mm below the mouth, where the hole is
    deep enough, down to its floor. The ledge round the hole and the standing pins do not count.

    Parameters
    ----------
    terrain : Terrain
    field : PinField
    abutments : sequence of Abutment

    Returns
    -------
    tuple of Thickness
        One a pin; negative where the hole breaks through. How much of it is enamel is not seen, nor is
        the pulp.

    Raises
    ------
    SurveyError
        If a pin's tooth is no abutment, or no outer surface lies within 8 mm.
    """
    free = ~_on_pins(terrain, field.pins)
    return tuple(_thickness(terrain, field, i, abutments, free) for i in range(len(field.pins)))


def _thickness(
    terrain: Terrain, field: PinField, i: int, abutments: Sequence[Abutment], free: Bool
) -> Thickness:
    pin = field.pins[i]
    hole = _of(pin, abutments)
    top = min(value("survey.mouth_rim_mm").value, 0.5 * hole.hole_depth_mm)
    long = hole.hole_depth_mm - top
    start, floor = pin.foot - top * pin.axis, pin.foot - hole.hole_depth_mm * pin.axis
    for reach in _REACH_MM:
        near = terrain.surface.within(0.5 * (start + floor), reach + 0.5 * long)
        faces = np.unique(terrain.surface.at_vertex[near].indices).astype(np.int64)
        faces = faces[free[faces] & _faces_out(terrain, faces, pin)]
        if not len(faces):
            continue
        triangles = terrain.mesh.vertices[terrain.mesh.faces[faces]]
        away, part, places = segment_to_triangles(start, floor, triangles)
        best = int(np.argmin(away))
        if away[best] <= reach:
            break
    else:
        raise SurveyError(
            "no outer surface of the tooth is seen beside this pin",
            where=f"pin {pin.name}",
            limit=f"within {_REACH_MM[-1]:.0f} mm",
            do="scan the whole tooth",
        )
    depth = float(top + part[best] * long)
    way = places[best] - pin.foot + depth * pin.axis
    u = _u_from(field, i, depth, way if away[best] > 0.0 else np.cross(pin.axis, frame(pin.axis)[0]))
    limit = value("pin.dentine_around_min_mm")
    least = Measure(
        code="survey.thickness",
        where=f"pin {pin.name}",
        says="thickness of tooth beside the hole, out to the surface",
        value=float(away[best]) - 0.5 * hole.hole_diameter_mm,
        u=float(np.sqrt(u**2 + _u_radius_mm() ** 2 + terrain.noise_mm**2)),
        unit="mm",
        limit=limit.value,
        limit_source=source(limit) + "; how much of it is enamel a scan does not show",
    )
    return Thickness(least, depth, places[best])


def _faces_out(terrain: Terrain, faces: Index, pin: Pin) -> Bool:
    """Triangles that face away from the pin's axis, and sideways rather than along it."""
    offset = terrain.middles[faces] - pin.foot
    out = offset - np.outer(offset @ pin.axis, pin.axis)
    normals = terrain.face_normals[faces]
    sideways = np.abs(normals @ pin.axis) < SIDEWAYS
    return np.asarray(sideways & (np.einsum("ij,ij->i", out, normals) > 0.0))


def _on_pins(terrain: Terrain, pins: Sequence[Pin]) -> Bool:
    """Triangles of the standing pins and of the fillets at their feet."""
    on = np.zeros(len(terrain.middles), bool)
    for pin in pins:
        top, radius = pin.protrusion_mm + _ROUND_PIN_MM, 0.5 * pin.diameter_mm + _ROUND_PIN_MM
        on[terrain.along(pin.foot, pin.axis, -_BELOW_MOUTH_MM, top, radius)] = True
    return on


def _of(pin: Pin, abutments: Sequence[Abutment]) -> Abutment:
    for abutment in abutments:
        if abutment.tooth == pin.tooth:
            return abutment
    raise SurveyError(
        "this pin stands in a tooth that is no abutment of the case",
        where=f"pin {pin.name}",
        limit=", ".join(str(abutment.tooth) for abutment in abutments),
        do="add the tooth under [[abutments]]",
    )


def _hole(pin: Pin, abutments: Sequence[Abutment]) -> tuple[Float, Float]:
    """Ends of the hole's axis: mouth and floor."""
    return pin.foot, pin.foot - _of(pin, abutments).hole_depth_mm * pin.axis


def _moves(pin: Pin, depth_mm: float, way: Float) -> Float:
    """How a place on the axis, below the mouth, moves along a direction with foot (u, v) and tilt (u, v)."""
    across = frame(pin.axis) @ (way / max(float(np.linalg.norm(way)), 1e-12))
    return np.concatenate((across, -depth_mm * across))


def _u_from(field: PinField, i: int, depth_mm: float, way: Float) -> float:
    """Standard uncertainty of a distance from a place on a pin's axis, from the pin's own covariance, mm."""
    row = _moves(field.pins[i], depth_mm, way)
    block = field.covariance[4 * i : 4 * i + 4, 4 * i : 4 * i + 4]
    return float(np.sqrt(row @ block @ row))


def _u_radius_mm() -> float:
    u = value("seat.hole_diameter_error_um").uncertainty
    return 0.5e-3 * (u or 0.0)


def segment_to_segment(a: Float, b: Float, c: Float, d: Float) -> tuple[Float, Float, Float]:
    """Exact distance between straight pieces a-b and c-d, row by row.

    Parameters
    ----------
    a, b, c, d : (n, 3) arrays, mm

    Returns
    -------
    distance : (n,) array, mm
    s, t : (n,) arrays
        Where on each piece, 0 to 1.

    Notes
    -----
    The least over one square of a convex quadratic: at its inner minimum, or on one of the four sides.

    Examples
    --------
    >>> x, y, z = np.eye(3)[:, None]
    >>> segment_to_segment(-x, x, z - y, z + y)[0].tolist()
    [1.0]
    """
    u, v, w = b - a, d - c, c - a
    uu, vv, uv, uw, vw = (np.einsum("ij,ij->i", p, q) for p, q in ((u, u), (v, v), (u, v), (u, w), (v, w)))
    safe_u, safe_v = np.maximum(uu, 1e-18), np.maximum(vv, 1e-18)
    square = uu * vv - uv * uv
    inner = np.clip((uw * vv - uv * vw) / np.where(square > 1e-12 * uu * vv, square, np.inf), 0.0, 1.0)
    tries = []
    for s in (inner, np.zeros_like(uu), np.ones_like(uu)):
        tries.append((s, np.clip((s * uv - vw) / safe_v, 0.0, 1.0)))
    for t in (np.zeros_like(uu), np.ones_like(uu)):
        tries.append((np.clip((t * uv + uw) / safe_u, 0.0, 1.0), t))
    gaps = [np.linalg.norm(w + t[:, None] * v - s[:, None] * u, axis=1) for s, t in tries]
    best = np.argmin(gaps, axis=0)
    row = np.arange(len(uu))
    s_all, t_all = (np.stack(part) for part in zip(*tries, strict=True))
    return np.stack(gaps)[best, row], s_all[best, row], t_all[best, row]


def segment_to_triangles(a: Float, b: Float, triangles: Float) -> tuple[Float, Float, Float]:
    """Exact distance between one straight piece and triangles.

    Parameters
    ----------
    a, b : (3,) arrays, mm
    triangles : (n, 3, 3) array, mm

    Returns
    -------
    distance : (n,) array, mm
        Zero where the piece goes through the triangle.
    part : (n,) array
        Where on the piece, 0 at `a`, 1 at `b`.
    places : (n, 3) array, mm
        On the triangles.

    Notes
    -----
    The least distance is taken at an end of the piece, on a side of the triangle, or where the two meet.

    Examples
    --------
    >>> flat = np.array([[[0.0, 0, 0], [3, 0, 0], [0, 3, 0]]])
    >>> segment_to_triangles(np.array([1.0, 1, 2]), np.array([1.0, 1, 5]), flat)[0].tolist()
    [2.0]
    """
    count = len(triangles)
    start, end = np.tile(a, (count, 1)), np.tile(b, (count, 1))
    tries = [(np.full(count, s), nearest_on_triangles(triangles, p)) for s, p in ((0.0, start), (1.0, end))]
    for k in range(3):
        c, d = triangles[:, k], triangles[:, (k + 1) % 3]
        _, s, t = segment_to_segment(start, end, c, d)
        tries.append((s, c + t[:, None] * (d - c)))
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    rise = np.einsum("ij,ij->i", normal, triangles[:, 0] - a)
    slope = normal @ (b - a)
    s = np.clip(rise / np.where(np.abs(slope) > 1e-18, slope, np.inf), 0.0, 1.0)
    tries.append((s, nearest_on_triangles(triangles, a + s[:, None] * (b - a))))
    part = np.stack([s for s, _ in tries])
    place = np.stack([p for _, p in tries])
    away = np.linalg.norm(a + part[..., None] * (b - a) - place, axis=2)
    best, row = np.argmin(away, axis=0), np.arange(count)
    return away[best, row], part[best, row], place[best, row]
