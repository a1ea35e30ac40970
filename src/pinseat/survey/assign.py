"""Which pin stands in which tooth, and its number.

Teeth follow each other along the arch from the patient's right to the left: 18 ... 11, 21 ... 28 above,
48 ... 41, 31 ... 38 below (ISO 3950). The scan shows the arch as a horseshoe open at the back, which gives
the direction to the front. With `front` and the draw off the teeth (down for the upper jaw, up for the lower)

    patient's right = front x draw for the lower jaw,   front x (-draw) for the upper jaw.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment
from pinseat.errors import SurveyError
from pinseat.ledger.pins import frame
from pinseat.survey.find import Standing
from pinseat.survey.surface import Surface

Float = NDArray[np.float64]

TIE_MM = 0.4
"""Pins of one tooth no farther apart than this along the line count as side by side."""
FRONT_RAD = math.radians(15.0)
"""How well the front of an arch is told from where it is open: within this, a tooth may be of either side."""
WHOLE_ARCH_DEG = 170.0
"""Of less than this the front is not where it looks: it may be one half."""
LEAST_ARCH_DEG = 110.0
LEAST_GAP_DEG = 40.0
LEAST_ARCH_MM = 22.0
ASK_AT = "give each abutment a point on its tooth: at = [x, y, z] in the scan's coordinates"


def order_in_arch(tooth: int) -> int:
    """Place of a tooth from the patient's right to the left, the midline between -1 and 1.

    Parameters
    ----------
    tooth : int
        FDI two-digit number.

    Returns
    -------
    int

    Examples
    --------
    >>> [order_in_arch(t) for t in (13, 11, 21, 23, 43, 31)]
    [-3, -1, 1, 3, -3, 1]
    """
    quadrant, place = divmod(tooth, 10)
    return -place if quadrant % 4 in (0, 1) else place


def is_upper(tooth: int) -> bool:
    """Whether an FDI number names an upper tooth (quadrants 1 and 2, milk teeth 5 and 6)."""
    return tooth // 10 in (1, 2, 5, 6)


def teeth_of_pins(pins: Sequence[Standing], abutments: Sequence[Abutment], surface: Surface) -> list[int]:
    """Find the tooth of each pin.

    Parameters
    ----------
    pins : sequence of Standing
    abutments : sequence of Abutment
        Those of the case that hold pins.
    surface : Surface

    Returns
    -------
    list of int
        FDI number for each pin.

    Raises
    ------
    SurveyError
        When the scan cannot tell; it asks for ``at``.
    """
    feet = np.array([pin.foot for pin in pins]).reshape(-1, 3)
    stated = all(abutment.at is not None for abutment in abutments)
    at = np.array([abutment.at for abutment in abutments if stated], dtype=np.float64)
    if stated:
        _same_way_round(at, abutments, surface)
    if len(abutments) == 1:
        return [abutments[0].tooth] * len(pins)
    if stated:
        nearest = np.argmin(np.linalg.norm(feet[:, None] - at[None], axis=2), axis=1)
        return [abutments[i].tooth for i in nearest]
    if len(pins) == 0:
        return []
    place, _ = along_arch(feet, surface, upper=is_upper(abutments[0].tooth))
    in_order = sorted(abutments, key=lambda abutment: order_in_arch(abutment.tooth))
    order = np.argsort(place, kind="stable")
    parts = _split(feet[order], [abutment.pins for abutment in in_order])
    teeth = [0] * len(pins)
    for abutment, part in zip(in_order, parts, strict=True):
        for i in part:
            teeth[int(order[i])] = abutment.tooth
    return teeth


def _same_way_round(at: Float, abutments: Sequence[Abutment], surface: Surface) -> None:
    """Refuse points on teeth that lie otherwise along the arch than their teeth do, where the arch is seen.

    Raises
    ------
    SurveyError
    """
    teeth = [abutment.tooth for abutment in abutments]
    try:
        place, seen_deg = along_arch(at, surface, upper=is_upper(teeth[0]))
    except SurveyError:
        return  # too little arch to tell
    whole, side = seen_deg >= WHOLE_ARCH_DEG, np.where(np.abs(place) > FRONT_RAD, np.sign(place), 0.0)
    beside = [whole and s * order_in_arch(t) < 0.0 for s, t in zip(side, teeth, strict=True)]
    wanted = sorted(range(len(teeth)), key=lambda i: order_in_arch(teeth[i]))
    found = [teeth[i] for i in np.argsort(place, kind="stable")]
    if any(beside) or found != [teeth[i] for i in wanted]:
        raise SurveyError(
            "the points given for the teeth do not lie where these teeth do in the arch",
            where="abutments, at",
            value=f"from the patient's right to the left {', '.join(map(str, found))}"
            + "".join(f"; {t} on the other side" for t, off in zip(teeth, beside, strict=True) if off),
            limit=", ".join(str(teeth[i]) for i in wanted),
            do="correct the tooth or its point; if both are right, the scan is a mirror image",
        )


def _split(feet: Float, counts: Sequence[int]) -> list[range]:
    """Part pins, in order along the arch, at the widest steps between neighbours."""
    if len(feet) < len(counts):
        raise SurveyError(
            "there are fewer pins than abutments, so which tooth lacks them cannot be seen",
            value=f"{len(feet)} found",
            limit=f"{sum(counts)} from the case",
            do=ASK_AT,
        )
    steps = np.linalg.norm(np.diff(feet, axis=0), axis=1)
    cuts = np.sort(np.argsort(-steps, kind="stable")[: len(counts) - 1]) + 1
    stated = np.cumsum(counts)[:-1]
    inside = np.delete(steps, cuts - 1)
    clear = len(inside) == 0 or steps[cuts - 1].min() > 1.25 * inside.max()
    if len(feet) == sum(counts) and not clear:
        cuts = stated
    elif not clear:
        raise SurveyError(
            "the pins stand too close together to part them by tooth",
            value=f"{len(feet)} found",
            limit=f"{sum(counts)} from the case",
            do=ASK_AT,
        )
    edges = [0, *(int(cut) for cut in cuts), len(feet)]
    return [range(low, high) for low, high in pairwise(edges)]


def along_arch(feet: Float, surface: Surface, *, upper: bool) -> tuple[Float, float]:
    """Place of each foot along the arch, growing from the patient's right to the left.

    Parameters
    ----------
    feet : (n, 3) array
    surface : Surface
        The whole arch, or enough of it to show where it is open.
    upper : bool

    Returns
    -------
    place : (n,) array
        Angle about the middle of the arch from its front, rad.
    seen_deg : float
        How much of an arch the scan shows.

    Raises
    ------
    SurveyError
        When the scan shows no horseshoe.
    """
    draw = surface.facing
    f = frame(draw)
    middle, front, seen_deg = _horseshoe(surface.mesh.vertices @ f.T)
    ahead = front @ f
    right = np.cross(ahead, -draw if upper else draw)
    out = feet - middle @ f
    return np.asarray(np.arctan2(-(out @ right), out @ ahead)), seen_deg


def _horseshoe(flat: Float) -> tuple[Float, Float, float]:
    """Middle of the arch, the unit vector to its front, in the plane across the draw, and its extent, deg."""
    thin = flat[:: max(len(flat) // 4000, 1)]
    centre = thin.mean(axis=0)
    p = thin - centre
    terms = np.column_stack([2.0 * p, np.ones(len(p))])
    solved, *_ = np.linalg.lstsq(terms, np.einsum("ij,ij->i", p, p), rcond=None)
    middle = centre + solved[:2]
    out = thin - middle
    radius = float(np.median(np.linalg.norm(out, axis=1)))
    turn = np.sort(np.arctan2(out[:, 1], out[:, 0])[np.linalg.norm(out, axis=1) > 0.5 * radius])
    gaps = np.diff(np.concatenate([turn, turn[:1] + 2.0 * math.pi]))
    widest = int(np.argmax(gaps))
    gap = math.degrees(gaps[widest])
    size = float(np.max(np.ptp(thin, axis=0)))
    if not (LEAST_GAP_DEG <= gap <= 360.0 - LEAST_ARCH_DEG) or size < LEAST_ARCH_MM:
        raise SurveyError(
            "the scan shows too little of the arch to tell which tooth is which",
            value=f"an arch of {360.0 - gap:.0f} deg, {size:.0f} mm across",
            limit=f"{LEAST_ARCH_DEG:.0f} to {360.0 - LEAST_GAP_DEG:.0f} deg, {LEAST_ARCH_MM:.0f} mm or more",
            do=ASK_AT,
        )
    back = turn[widest] + 0.5 * gaps[widest]
    return middle, -np.array([math.cos(back), math.sin(back)]), 360.0 - gap


def number_pins(
    feet: Float, teeth: Sequence[int], abutments: Sequence[Abutment], draw: Float
) -> list[tuple[int, int]]:
    """Number pins along the line from the first abutment of the case to the last.

    Side by side, the one nearer the lip or cheek comes first. A mirrored case is numbered alike.

    Parameters
    ----------
    feet : (n, 3) array
    teeth : sequence of int
        Tooth of each pin.
    abutments : sequence of Abutment
        In the order of the case.
    draw : (3,) array

    Returns
    -------
    list of (tooth, number)
        For each pin.
    """
    order = [a.tooth for a in abutments if a.tooth in teeth]
    if not order:
        return []
    line = _line(feet, np.array(teeth), order, draw)
    first, last = order[0], order[-1]
    leftward = order_in_arch(last) > order_in_arch(first)
    outward = np.cross(draw, line) * (1.0 if is_upper(first) == leftward else -1.0)
    numbered = [(0, 0)] * len(teeth)
    for tooth in dict.fromkeys(order):
        mine = [i for i, t in enumerate(teeth) if t == tooth]
        for number, i in enumerate(_along(mine, feet @ line, feet @ outward), start=1):
            numbered[i] = (tooth, number)
    return numbered


def _line(feet: Float, teeth: NDArray[np.int64], order: Sequence[int], draw: Float) -> Float:
    ends = feet[teeth == order[-1]].mean(axis=0) - feet[teeth == order[0]].mean(axis=0)
    if order[0] == order[-1]:
        spread = feet - feet.mean(axis=0)
        ends = np.linalg.svd(spread - np.outer(spread @ draw, draw))[2][0]
        ends = ends * (1.0 if np.sum((spread @ ends) ** 3) >= 0.0 else -1.0)
    ends = ends - draw * (draw @ ends)
    return np.asarray(ends / max(float(np.linalg.norm(ends)), 1e-12))


def _along(mine: list[int], along: Float, outward: Float) -> list[int]:
    """Indices in order along the line; those side by side from the outside in."""
    in_order = sorted(mine, key=lambda i: along[i])
    groups: list[list[int]] = []
    for i in in_order:
        if groups and along[i] - along[groups[-1][0]] < TIE_MM:
            groups[-1].append(i)
        else:
            groups.append([i])
    return [i for group in groups for i in sorted(group, key=lambda j: -outward[j])]
