"""The draws that serve every pin: circular cones on the sphere, cut exactly.

A straight pin of diameter `d` in a straight hole of diameter `D` may lean by ``atan((D - d) / L)`` over the
length `L` that is engaged. All draws within that angle of the hole's axis suit the pin; what suits all pins
is the intersection of these cones (:mod:`pinseat.survey.caps`). Limit: cones narrower than 90 degrees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment
from pinseat.ledger.pins import PinField, frame
from pinseat.survey.caps import angles_to, border, leans_deg, most_spare, points_along
from pinseat.survey.caps import deepest as best_draw
from pinseat.survey.model import DrawWindow
from pinseat.survey.window import NO_WIDTH

__all__ = ["allowance_rad", "angles_to", "best_draw", "most_spare", "outline_deg", "window_of"]

Float = NDArray[np.float64]

SAMPLES = 256
"""Sampled sets of pins, made to have exactly the stated covariance."""


def allowance_rad(abutment: Abutment) -> float:
    """Lean that the hole allows its cast pin: ``atan(clearance / engaged length)``.

    Parameters
    ----------
    abutment : Abutment

    Returns
    -------
    float
        rad; negative when the pin is thicker than the hole.

    Examples
    --------
    >>> hole = Abutment(tooth=11, pins=1, hole_diameter_mm=0.7, cast_pin_diameter_mm=0.6, hole_depth_mm=2.1)
    >>> round(math.degrees(allowance_rad(hole)), 4)
    2.8624
    """
    clearance_mm = abutment.hole_diameter_mm - abutment.cast_pin_diameter_mm
    return math.atan2(clearance_mm, abutment.hole_depth_mm - abutment.floor_relief_mm)


def window_of(field: PinField, abutments: Sequence[Abutment]) -> DrawWindow:
    """Draw window of a field of pins.

    Parameters
    ----------
    field : PinField
    abutments : sequence of Abutment
        Every tooth of the field among them.

    Returns
    -------
    DrawWindow
        `u_size_deg` comes from sampled pins.
    """
    by_tooth = {abutment.tooth: allowance_rad(abutment) for abutment in abutments}
    axes = np.array([pin.axis for pin in field.pins])
    allowance = np.array([by_tooth[pin.tooth] for pin in field.pins])
    centre = best_draw(axes, allowance)
    return DrawWindow(
        centre=centre.draw,
        size_deg=math.degrees(centre.spare),
        u_size_deg=math.degrees(_u_spare(centre.spare, field, allowance)),
        outline_deg=outline_deg(centre.draw, axes, allowance),
        limited_by=tuple(field.pins[i].name for i in centre.bearing),
        allowance_deg={
            pin.name: math.degrees(w) for pin, w in zip(field.pins, allowance.tolist(), strict=True)
        },
        short_deg=math.degrees(max(-centre.spare, 0.0)) / max(centre.share),
        borders_deg={},
    )


def _u_spare(spare: float, field: PinField, allowance: Float) -> float:
    """Standard uncertainty of the spare angle, rad: root mean square change over sampled pins.

    The spare angle has a kink wherever another pin takes over, and to first order it does not follow a lean
    across the line of two pins; so pins are sampled, not linearised. The samples are fixed, and laid out by
    the pins themselves (along the line from the first to the last, each with its mirror images), so that
    neither the pose of the scan nor a mirror changes them.
    """
    n = len(field.pins)
    turn = np.zeros((3 * n, 2 * n))
    for i, pin in enumerate(field.pins):
        turn[3 * i : 3 * i + 3, 2 * i : 2 * i + 2] = frame(pin.axis).T
    spread = turn @ field.tilt_covariance @ turn.T
    size, directions = np.linalg.eigh(spread)
    root = (directions * np.sqrt(np.maximum(size, 0.0))) @ directions.T
    quarter = np.random.Generator(np.random.Philox(20)).standard_normal((max(SAMPLES // 4, 6 * n), n, 3))
    signs = np.array([[1, 1, 1], [-1, -1, -1], [1, -1, 1], [-1, 1, -1]], dtype=np.float64)
    flat = quarter.reshape(len(quarter), 3 * n)
    white = flat @ np.linalg.inv(np.linalg.cholesky(flat.T @ flat / len(flat))).T
    normal = (signs[:, None, None] * white.reshape(-1, n, 3)).reshape(-1, n, 3) @ _own_frame(field)
    axes = np.array([pin.axis for pin in field.pins]) + (normal.reshape(-1, 3 * n) @ root).reshape(-1, n, 3)
    axes /= np.linalg.norm(axes, axis=2, keepdims=True)
    return float(np.sqrt(np.mean((most_spare(axes, allowance) - spare) ** 2)))


def _own_frame(field: PinField) -> Float:
    """Unit rows: along the line of the pins, across it, and off the teeth."""
    up = np.sum([pin.axis for pin in field.pins], axis=0)
    up = up / np.linalg.norm(up)
    line = field.pins[-1].foot - field.pins[0].foot
    line = line - up * (up @ line)
    size = float(np.linalg.norm(line))
    line = line / size if size > 1e-9 else frame(up)[0]
    return np.stack([line, np.cross(up, line), up])


def outline_deg(draw: Float, axes: Float, allowance: Float) -> Float:
    """Border of the window as leans two ways from its centre.

    Parameters
    ----------
    draw : (3,) array
        The centre.
    axes : (n, 3) array
    allowance : (n,) array
        rad.

    Returns
    -------
    (k, 2) array
        deg, in the frame of :func:`pinseat.ledger.pins.frame` of the centre; empty when no draw serves all.
    """
    if np.min(allowance - angles_to(draw, axes)) < NO_WIDTH:
        return np.zeros((0, 2))
    return leans_deg(draw, points_along(border(axes, allowance, draw)))
