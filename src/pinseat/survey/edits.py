"""Corrections by hand: pins added, moved or rejected in ``case.toml``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case, PinEdit
from pinseat.errors import SurveyError
from pinseat.reference import value
from pinseat.survey.find import Expected, Standing, Start, refine, with_scanner
from pinseat.survey.model import Rejected
from pinseat.survey.surface import Surface

Float = NDArray[np.float64]

STRAYED_MM = 1.0
STRAYED_DEG = 25.0
"""A fit that ends farther from what was stated has found something else."""


@dataclass(frozen=True, eq=False)
class Named:
    """A pin with its tooth and number."""

    tooth: int
    number: int
    pin: Standing


def apply_edits(
    named: Sequence[Named], case: Case, surface: Surface, expected: Expected
) -> tuple[list[Named], list[Rejected]]:
    """Carry out the corrections. Every pin keeps its number; an added one gets the next.

    Parameters
    ----------
    named : sequence of Named
    case : Case
        With the corrections.
    surface : Surface
    expected : Expected

    Returns
    -------
    kept : list of Named
        In the order of the case.
    rejected : list of Rejected

    Raises
    ------
    SurveyError
        When a correction names a tooth or a pin that is not there, or lacks a place.
    """
    order = [abutment.tooth for abutment in case.abutments]
    last = {tooth: max((one.number for one in named if one.tooth == tooth), default=0) for tooth in order}
    kept, rejected = list(named), []
    for k, edit in enumerate(case.pins, start=1):
        where = f"pins, correction {k} ({edit.action} {edit.tooth}-{edit.number or '?'})"
        if edit.action == "add":
            start = _start(edit, None, expected, where)
            if edit.tooth not in order:
                limit = ", ".join(str(tooth) for tooth in order)
                raise SurveyError("this tooth is no abutment of the case", where=where, limit=limit)
            last[edit.tooth] += 1
            kept.append(Named(edit.tooth, last[edit.tooth], _fit_or_take(surface, start, expected)))
            continue
        old = _the_pin(kept, named, edit, where)
        kept.remove(old)
        if edit.action == "reject":
            rejected.append(Rejected(old.pin.foot, f"rejected by hand as pin {old.tooth}-{old.number}"))
        else:
            moved = _fit_or_take(surface, _start(edit, old.pin, expected, where), expected)
            kept.append(Named(old.tooth, old.number, moved))
    kept.sort(key=lambda one: (order.index(one.tooth), one.number))
    pooled = with_scanner([one.pin for one in kept])
    return [replace(one, pin=pin) for one, pin in zip(kept, pooled, strict=True)], rejected


def _the_pin(kept: Sequence[Named], named: Sequence[Named], edit: PinEdit, where: str) -> Named:
    for one in kept:
        if (one.tooth, one.number) == (edit.tooth, edit.number):
            return one
    raise SurveyError(
        "there is no such pin to correct",
        where=where,
        limit=", ".join(f"{one.tooth}-{one.number}" for one in named) or "no pin was found",
        do="give the tooth and number as the survey shows them without corrections",
    )


def _start(edit: PinEdit, old: Standing | None, expected: Expected, where: str) -> Start:
    foot = np.array(edit.foot, dtype=np.float64) if edit.foot else None
    tip = np.array(edit.tip, dtype=np.float64) if edit.tip else None
    if old is not None and (foot is not None or tip is not None):
        foot = old.foot if foot is None else foot
        tip = old.foot + old.protrusion_mm * old.axis if tip is None else tip
    if foot is None or tip is None:
        raise SurveyError(
            "this correction lacks a place", where=where, do="give foot = [x, y, z] and tip = [x, y, z]"
        )
    length = float(np.linalg.norm(tip - foot))
    if not 0.3 < length < 20.0:
        raise SurveyError(
            "foot and free end of a pin cannot be this far apart",
            where=where,
            value=f"{length:.2f} mm",
            limit="0.3 to 20 mm",
        )
    radius = old.diameter_mm / 2.0 if old is not None else sum(expected.diameter_mm) / 4.0
    return Start(tip, (tip - foot) / length, radius, length)


def _fit_or_take(surface: Surface, start: Start, expected: Expected) -> Standing:
    """The pin fitted from the stated start, or as stated where no fit stays near it."""
    seen = refine(surface, start, expected, stated=True)
    stated_foot = start.tip - start.length_mm * start.axis
    if isinstance(seen, Standing):
        near = np.linalg.norm(seen.foot - stated_foot) < STRAYED_MM
        if near and seen.axis @ start.axis > np.cos(np.radians(STRAYED_DEG)):
            return seen
    s, length = value("survey.pick_mm").value, start.length_mm
    covariance = np.diag([s * s, s * s, 2.0 * s * s / length**2, 2.0 * s * s / length**2])
    covariance[0, 2] = covariance[2, 0] = covariance[1, 3] = covariance[3, 1] = -s * s / length
    return Standing(
        foot=stated_foot,
        axis=start.axis,
        diameter_mm=2.0 * start.radius_mm,
        protrusion_mm=length,
        covariance=covariance,
        u_foot_depth_mm=s,
        u_diameter_mm=(expected.diameter_mm[1] - expected.diameter_mm[0]) / np.sqrt(12.0),
        u_protrusion_mm=float(np.sqrt(2.0)) * s,
        residual_mm=0.0,
        coverage=0.0,
        edge_mm=surface.edge_mm(surface.nearest(stated_foot, 1)),
        points=0,
        stated=True,
    )
