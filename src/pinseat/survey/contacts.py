"""Places besides the pins where casting and tooth meet."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment, Case, ContactPick
from pinseat.errors import ReferenceValueError, SurveyError
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import Pin, PinField
from pinseat.reference import value
from pinseat.survey.surface import Index, Surface

Float = NDArray[np.float64]

RINGS = 3
"""Rings of neighbours over which the normal is averaged: raw normals carry the noise of single points."""


def faces_of(case: Case, field: PinField, draw: Float, surface: Surface | None) -> tuple[Face, ...]:
    """Contact faces of a case: those picked, and four assumed margins where a tooth has no margin pick.

    Parameters
    ----------
    case : Case
    field : PinField
    draw : (3,) array
    surface : Surface or None
        None without a scan.

    Returns
    -------
    tuple of Face
        In the order of the picks, then of the abutments.

    Raises
    ------
    SurveyError
        For a pick on a tooth that is no abutment, far off the scan, or without a scan and without a normal.
    """
    teeth = {abutment.tooth for abutment in case.abutments}
    picked = []
    for k, pick in enumerate(case.contacts, start=1):
        where = f"contacts, pick {k} ({pick.kind} of tooth {pick.tooth})"
        if pick.tooth not in teeth:
            known = ", ".join(str(tooth) for tooth in sorted(teeth))
            raise SurveyError(
                "this tooth is no abutment of the case", where=where, value=str(pick.tooth), limit=known
            )
        picked.append(_stated(pick, where) if surface is None else _on_scan(pick, surface, where))
    with_margin = {face.tooth for face in picked if face.kind == "margin"}
    bare = [a for a in case.abutments if a.tooth not in with_margin]
    return (*picked, *(face for a in bare for face in _assumed(a, field, draw)))


def _stated(pick: ContactPick, where: str) -> Face:
    if pick.normal is None:
        raise SurveyError(
            "without a scan a contact needs its direction",
            where=where,
            do="give normal = [x, y, z], out of the tooth",
        )
    return Face(pick.kind, pick.tooth, np.array(pick.point), _unit(np.array(pick.normal), where), "stated")


def _on_scan(pick: ContactPick, surface: Surface, where: str) -> Face:
    point, _ = surface.pick(pick.point, where)
    if pick.normal is not None:
        return Face(pick.kind, pick.tooth, point, _unit(np.array(pick.normal), where), "picked on the scan")
    area = surface.face_area[_faces_around(surface, int(surface.nearest(point, 1)[0]))].sum(axis=0)
    return Face(pick.kind, pick.tooth, point, _unit(area, where), "picked on the scan")


def _faces_around(surface: Surface, vertex: int) -> Index:
    ring = np.array([vertex])
    for _ in range(RINGS):
        faces = np.unique(surface.at_vertex[ring].indices)
        ring = np.unique(surface.mesh.faces[faces])
    return faces.astype(np.int64)


def _unit(vector: Float, where: str) -> Float:
    size = float(np.linalg.norm(vector))
    if size < 1e-9:
        raise SurveyError("this direction has no length", where=where, do="give the normal out of the tooth")
    return np.asarray(vector / size)


def _assumed(abutment: Abutment, field: PinField, draw: Float) -> list[Face]:
    """Four margins half a crown away from the middle of the pins, facing the draw."""
    mine = [pin for pin in field.pins if pin.tooth == abutment.tooth]
    if not mine:
        return []
    middle = np.mean([pin.foot for pin in mine], axis=0)
    line = _along_the_arch(mine, field, draw)
    across = np.cross(draw, line)
    half = _half_crown_mm(abutment.tooth)
    places = [
        middle + sign * reach * way for way, reach in ((line, half[0]), (across, half[1])) for sign in (1, -1)
    ]
    return [Face("margin", abutment.tooth, place, draw.copy(), "assumed from crown size") for place in places]


def _half_crown_mm(tooth: int) -> list[float]:
    try:
        return [value(f"crown.{tooth}.{size}_mm").value / 2.0 for size in ("mesiodistal", "faciolingual")]
    except ReferenceValueError:
        raise SurveyError(
            "no crown size is known for this tooth, so its margins cannot be assumed",
            where=f"tooth {tooth}",
            do='pick its margins on the scan under [[contacts]] with kind = "margin"',
        ) from None


def _along_the_arch(mine: Sequence[Pin], field: PinField, draw: Float) -> Float:
    """Direction along the arch at a tooth: to the pins of the other teeth, else along its own."""
    own = np.array([pin.foot for pin in mine])
    others = [pin.foot for pin in field.pins if pin.tooth != mine[0].tooth]
    if others:
        line = np.mean(others, axis=0) - own.mean(axis=0)
    elif len(own) > 1:
        line = own[-1] - own[0]
    else:
        line = np.eye(3)[int(np.argmin(np.abs(draw)))]
    line = line - draw * (draw @ line)
    return np.asarray(line / max(float(np.linalg.norm(line)), 1e-12))
