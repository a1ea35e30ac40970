"""Errors that a best fit would hide: the scale, and the distances between abutments."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from pinseat.compare.model import ScaleChange, Span
from pinseat.compare.pins import PIECE_MM, Paired
from pinseat.mesh.registration import Registration, Settled
from pinseat.numerics.similarity import best_similarity

FEWEST_PINS = 3


def scale_changes(laid: Registration, pairs: Sequence[Paired]) -> tuple[ScaleChange, ...]:
    """Scale by the shared surface and, from three pins on, by the pins' feet.

    Parameters
    ----------
    laid : Registration
    pairs : sequence of Paired

    Returns
    -------
    tuple of ScaleChange
        The pins' own is left out where their feet lie on one line.
    """
    surface = ScaleChange("shared surface", 100.0 * (laid.scale - 1.0), 100.0 * laid.u_scale)
    first = np.array([pair.first.foot for pair in pairs]).reshape(-1, 3)
    if len(pairs) < FEWEST_PINS or np.linalg.svd(first - first.mean(axis=0), compute_uv=False)[1] < 0.5:
        return (surface,)
    second = np.array([pair.second.foot for pair in pairs])
    covariance = np.array([_foot(pair) for pair in pairs])
    found = best_similarity(first, second, covariance=covariance)
    u = float(np.hypot(found.u_scale, laid.u_scale))  # a warp of the scanner is in the feet as in the surface
    return surface, ScaleChange("pins", 100.0 * (found.scale - 1.0), 100.0 * u)


def _foot(pair: Paired) -> np.ndarray:
    """Covariance of one foot against the other, along the axis too; (3, 3), mm2."""
    total = np.zeros((3, 3))
    for pin, spread in ((pair.first, pair.spread_first), (pair.second, pair.spread_second)):
        total += spread[:3, :3] + pin.u_foot_depth_mm**2 * np.outer(pin.axis, pin.axis)
    return total


def spans(
    laid: Registration, pairs: Sequence[Paired], teeth: Mapping[int, Settled], strain: float
) -> tuple[Span, ...]:
    """Distance between every two abutments on either scan.

    Each tooth was laid by itself, so where it stood on the second scan is known by its whole surface, and a
    pin that moved in it does not matter. The scanners' warp counts as a walk in steps of the length over
    which it was seen: ``strain * sqrt(step * distance)``.

    Parameters
    ----------
    laid : Registration
    pairs : sequence of Paired
    teeth : mapping of int to Settled
    strain : float
        See :func:`pinseat.compare.pins.strain_of`.

    Returns
    -------
    tuple of Span
    """
    middle = {
        tooth: np.mean([pair.first.foot for pair in pairs if pair.first.tooth == tooth], axis=0)
        for tooth in teeth
    }
    before = {tooth: alone.rotation.T @ (middle[tooth] - alone.shift) for tooth, alone in teeth.items()}
    out = []
    for one, other in combinations(teeth, 2):
        apart, was = middle[other] - middle[one], before[other] - before[one]
        first, second = float(np.linalg.norm(apart)), float(np.linalg.norm(was))
        way = apart / first
        variance = sum(
            float(way @ teeth[t].carry((middle[t] - teeth[t].middle)[None]) @ way) for t in (one, other)
        )
        variance += strain**2 * first * min(first, PIECE_MM)
        out.append(
            Span(
                teeth=(one, other),
                first_mm=first,
                second_mm=second,
                change_um=1e3 * (second - first),
                u_um=1e3 * float(np.sqrt(variance)),
                by_scale_um=1e3 * first * (laid.scale - 1.0),
            )
        )
    return tuple(out)
