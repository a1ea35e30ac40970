"""Calliper readings that cannot all be true, and readings that are still missing.

Three questions, each with its own finding: do the repeats of a reading agree; is there a way round, over
other readings and the guide pins' own lengths, that is shorter than a reading (then no pins can stand so:
the triangle inequality, along a path); and does a reading agree with the pins that all readings together
give. The last two are asked with their uncertainties, at the same limit as the repeats.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import shortest_path

from pinseat.case.model import Reading
from pinseat.errors import SurveyError
from pinseat.ledger.findings import Finding
from pinseat.reference import value
from pinseat.survey.callipers import UNKNOWNS, Network, Sight, Solved, describe, sights, solve
from pinseat.survey.plan import ReadingPlan

Float = NDArray[np.float64]


def solve_or_name(net: Network, readings: Sequence[Reading]) -> Solved:
    """Most probable pins; where none come near the readings, the error names the reading that cannot be.

    Parameters
    ----------
    net : Network
    readings : sequence of Reading

    Returns
    -------
    Solved

    Raises
    ------
    SurveyError
    """
    try:
        return solve(net, readings)
    except SurveyError as error:
        found = _impossible(net, readings, np.zeros(len(readings)))
        if found is None:
            raise
        limit = f"at most {found.limit:.2f} mm: {found.limit_source}"
        raise SurveyError(
            found.says.rstrip("."), where=found.where, value=f"{found.value:.2f} mm", limit=limit, do=found.do
        ) from error


def contradictions(net: Network, readings: Sequence[Reading], solved: Solved) -> list[Finding]:
    """Readings that disagree with their own repeats, or with everything else.

    Parameters
    ----------
    net : Network
    readings : sequence of Reading
    solved : Solved
        From the same readings.

    Returns
    -------
    list of Finding
        Caution for repeats that disagree; stop for a reading that no pins can have, or that contradicts the
        others most.
    """
    found = [_repeats(net, readings, k) for k in range(len(readings))]
    return [one for one in (*found, _impossible(net, readings, np.abs(solved.misfit))) if one is not None]


def mirrored(net: Network, solved: Solved, play: dict[str, float]) -> Finding | None:
    """Do other pins, such as the mirror image of a triangle, explain the readings as well?

    Parameters
    ----------
    net : Network
    solved : Solved
    play : dict of str to float
        For each pin the lean its hole allows, rad.

    Returns
    -------
    Finding or None
        None when all that explains the readings has the same splay.
    """
    best = sights(net, solved, play)
    worst: tuple[float, Sight, Sight, Float] | None = None
    for state in solved.rivals:
        for one, other in zip(best, sights(net, replace(solved, state=state), play), strict=True):
            apart = abs(one.splay_deg - other.splay_deg) / one.u_deg
            if worst is None or apart > worst[0]:
                worst = (apart, one, other, state)
    limit = value("survey.repeat_spread_ratio")
    if worst is None or worst[0] <= limit.value:
        return None
    _, one, other, state = worst
    moved = (state - solved.state).reshape(len(net.names), UNKNOWNS)[:, :2]
    name = net.names[int(np.argmax(np.linalg.norm(moved, axis=1)))]
    return Finding(
        code="survey.mirror",
        where=f"pin {name}",
        says=f"The readings fit two ways: pin {name} may stand on either side of the line of the others, and "
        f"{one.words} is not the same.",
        verdict="cannot tell",
        value=other.splay_deg - one.splay_deg,
        uncertainty=one.u_deg,
        unit="deg",
        limit=limit.value * one.u_deg,
        limit_source=f"{limit.value:g} times the uncertainty of this splay",
        do=f"measure again how far pin {name} stands off the line of the others, and correct the layout "
        "and its u_layout_mm",
    )


def missing(plan: ReadingPlan, taken: int) -> Finding | None:
    """Readings that are still needed before every fault that can be seen is seen.

    Parameters
    ----------
    plan : ReadingPlan
        What is left to take.
    taken : int
        Readings taken so far.

    Returns
    -------
    Finding or None
        None when none is missing.
    """
    left = [step.words for step in plan.steps]
    if not left:
        return None
    open_ = [one.words for one in plan.outlook if one.u_before_deg > one.needed_deg and one.seen]
    worst = open_[0] if open_ else plan.steps[0].shows
    more = f" and {len(open_) - 1} more" if len(open_) > 1 else ""
    return Finding(
        code="survey.readings",
        where="",
        says=f"There are fewer readings than are needed to see {worst}{more}.",
        verdict="cannot tell",
        value=float(taken),
        unit="readings",
        limit=float(taken + len(left)),
        limit_source="fewest that show every splay which readings can show, at half the play of the holes",
        do=f"take {len(left)} more, each twice: {'; '.join(left)}",
    )


def _repeats(net: Network, readings: Sequence[Reading], k: int) -> Finding | None:
    """The repeat of a reading that stands alone; of two, the one that the other readings speak against."""
    reading, spread = readings[k], value("survey.repeat_spread_ratio").value
    repeats = np.array(reading.mm)
    away = np.abs(repeats - np.median(repeats))
    worst = spread * reading.u_mm
    wrong: int | None = int(np.argmax(away))
    if len(repeats) == 2:
        away, worst = np.full(2, np.ptp(repeats)), worst * math.sqrt(2.0)
    if away.max() <= worst:
        return None
    if len(repeats) == 2:
        wrong = _of_two(net, readings, k)
    which = "strike the one that was wrong" if wrong is None else f"strike {repeats[wrong]:.2f} mm"
    return Finding(
        code="survey.repeat",
        where=f"reading {describe(reading)}",
        says="The repeats of this reading disagree."
        if wrong is None
        else f"The repeats of this reading disagree; {repeats[wrong]:.2f} mm is the odd one.",
        verdict="caution",
        value=float(away.max()),
        uncertainty=reading.u_mm,
        unit="mm",
        limit=worst,
        limit_source=f"{spread:g} times the stated uncertainty of one reading",
        do=f"repeat the reading {describe(reading)} and {which}",
    )


def _of_two(net: Network, readings: Sequence[Reading], k: int) -> int | None:
    """Which of two repeats the other readings and the layout speak against; None when they cannot say."""
    reading = readings[k]
    others = solve(net, [one for i, one in enumerate(readings) if i != k])
    i, j = (net.names.index(name) for name in reading.pins)
    expected, row = net.row(others.state, reading.kind, i, j)
    u = math.hypot(math.sqrt(float(row @ others.covariance @ row)), reading.u_mm)
    off = np.abs(np.array(reading.mm) - expected) / u
    wrong = int(np.argmax(off))
    spread = value("survey.repeat_spread_ratio").value
    return wrong if off[wrong] > spread and off[1 - wrong] <= spread else None


@dataclass(frozen=True)
class _Detour:
    """A way round that is shorter than a reading."""

    reading: int
    over: tuple[int, ...]
    mm: float
    excess: float


def _impossible(net: Network, readings: Sequence[Reading], misfit: Float) -> Finding | None:
    worst = value("survey.repeat_spread_ratio")
    limit_source = f"{worst.conditions} ({worst.basis})"
    way = _shorter_way(net, readings)
    if way is not None and way.excess > worst.value:
        among = (way.reading, *way.over)
        k = max(among, key=lambda i: float(misfit[i]))
        others = " and ".join(describe(readings[i]) for i in among if i != k)
        return Finding(
            code="survey.reading",
            where=f"reading {describe(readings[k])}",
            says=f"No pins can stand so: the way {describe(readings[way.reading])} is longer than the way "
            "round over other readings.",
            verdict="stop",
            value=float(np.mean(readings[way.reading].mm)),
            uncertainty=readings[way.reading].u_mm / math.sqrt(len(readings[way.reading].mm)),
            unit="mm",
            limit=way.mm,
            limit_source="the shortest way round over other readings and guide pins (triangle inequality)",
            do=f"take the reading {describe(readings[k])} again" + (f"; then {others}" if others else ""),
        )
    if not len(misfit) or misfit.max() <= worst.value:
        return None
    k = int(np.argmax(misfit))
    return Finding(
        code="survey.reading",
        where=f"reading {describe(readings[k])}",
        says="This reading contradicts the others and the layout.",
        verdict="stop",
        value=float(misfit[k]),
        unit="standard uncertainties",
        limit=worst.value,
        limit_source=limit_source,
        do=f"take the reading {describe(readings[k])} again",
    )


def _shorter_way(net: Network, readings: Sequence[Reading]) -> _Detour | None:
    """The reading that exceeds a way round by most of its uncertainties."""
    n = len(net.names)
    ends = [_ends(net, reading) for reading in readings]
    mean = [float(np.mean(reading.mm)) for reading in readings]
    u2 = [reading.u_mm**2 / len(reading.mm) for reading in readings]
    found: _Detour | None = None
    for k, (a, b) in enumerate(ends):
        way, by = np.zeros((2 * n, 2 * n)), np.full((2 * n, 2 * n), -1)
        way[np.arange(n), np.arange(n) + n] = net.length_mm
        for i, (p, q) in enumerate(ends):
            if {p, q} != {a, b} and (way[p, q] == 0.0 or mean[i] < way[p, q]):
                way[p, q] = way[q, p] = mean[i]
                by[p, q] = by[q, p] = i
        length, before = shortest_path(way, directed=False, indices=a, return_predecessors=True)
        if not np.isfinite(length[b]):
            continue
        over, at = [], b
        while at != a:
            over.append(int(by[before[at], at]))
            at = int(before[at])
        used = tuple(sorted(i for i in over if i >= 0))
        excess = (mean[k] - float(length[b])) / math.sqrt(u2[k] + sum(u2[i] for i in used))
        if found is None or excess > found.excess:
            found = _Detour(k, used, float(length[b]), excess)
    return found


def _ends(net: Network, reading: Reading) -> tuple[int, int]:
    """Numbers of the two ends: feet first, then free ends."""
    n = len(net.names)
    i, j = (net.names.index(name) for name in reading.pins)
    return i + n * (reading.kind != "base"), j + n * (reading.kind == "tip")
