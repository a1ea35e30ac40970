"""Which calliper readings to take, before any is taken, and which to take next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Callipers, Case, Layout, Reading
from pinseat.ledger.verdict import against, one_sided
from pinseat.survey.callipers import UNKNOWNS, Kind, Network, Solved, reading_words, sights
from pinseat.survey.observability import (
    HELPS,
    Faults,
    Possible,
    bench_of,
    faults_of,
    goals_of,
    information,
    inverse,
    least_set,
    possible_readings,
)

Float = NDArray[np.float64]

REPEATS = 2
"""A slip shows when a reading is taken twice."""
TELLS = 0.99
"""A reading alone is worth taking when it leaves at most this part of a standard uncertainty."""
FARTHEST = 1.5
"""Guide pins longer than this times those in use are not advised."""


@dataclass(frozen=True)
class Step:
    """One reading to take.

    Attributes
    ----------
    kind : {"base", "tip", "tip to base"}
    pins : (str, str)
    words : str
        ``between the free ends of pins 11-1 and 22-1``.
    expected_mm, u_expected_mm : float
        From the layout, over pin centres, and how far from it the reading may well be.
    why : str
    shows : str
        The fault of which least would be known without it.
    u_before_deg, u_after_deg : float
        Standard uncertainty of that fault without this reading, and with it.
    """

    kind: Kind
    pins: tuple[str, str]
    words: str
    expected_mm: float
    u_expected_mm: float
    why: str
    shows: str
    u_before_deg: float
    u_after_deg: float


@dataclass(frozen=True)
class Outlook:
    """One fault, and how well it will be known once the readings are taken.

    Attributes
    ----------
    words : str
        ``splay along the line of pins 11-1 and 22-1``.
    pins : (str, str)
    u_before_deg, u_after_deg, needed_deg : float
        Standard uncertainty before and after, and the one that lets the fault be told.
    """

    words: str
    pins: tuple[str, str]
    u_before_deg: float
    u_after_deg: float
    needed_deg: float

    @property
    def seen(self) -> bool:
        """Whether the fault can be told once the readings are taken."""
        return self.u_after_deg <= self.needed_deg


@dataclass(frozen=True)
class Unseen:
    """A fault that no calliper reading between the pins shows well enough.

    Attributes
    ----------
    words, why, do : str
        What it is, why it is not seen, and what would see it.
    """

    words: str
    why: str
    do: str


@dataclass(frozen=True)
class ReadingPlan:
    """The readings to take, in any order, each :data:`REPEATS` times.

    Attributes
    ----------
    steps : tuple of Step
        Empty when the readings taken already show all that readings can show.
    repeats : int
    u_mm : float
        Standard uncertainty of one reading that was reckoned with.
    outlook : tuple of Outlook
        Every fault.
    unseen : tuple of Unseen
        What stays unseen whatever is read.
    note : str
        What the plan guards against, in one or two sentences.
    layout : tuple of Layout
        Where the pins stand, as stated.
    """

    steps: tuple[Step, ...]
    repeats: int
    u_mm: float
    outlook: tuple[Outlook, ...]
    unseen: tuple[Unseen, ...]
    note: str
    layout: tuple[Layout, ...]


def plan(case: Case, taken: Sequence[Reading] = ()) -> ReadingPlan:
    """Plan the readings of a case so that every fault that can be seen is seen.

    From all readings that could be taken, the one that tells least is left out again and again, as long as
    every fault stays within what is needed (see :mod:`pinseat.survey.observability`).

    Parameters
    ----------
    case : Case
        With the layout of its pins; readings already in it are counted only when given as `taken`.
    taken : sequence of Reading
        Readings that need not be taken again.

    Returns
    -------
    ReadingPlan

    Raises
    ------
    SurveyError
        See :func:`pinseat.survey.observability.bench_of`.
    """
    callipers, net, play = bench_of(case)
    return plan_for(callipers, net, play, taken)


def plan_for(
    callipers: Callipers, net: Network, play: dict[str, float], taken: Sequence[Reading]
) -> ReadingPlan:
    """The same for pins already set up.

    Parameters
    ----------
    callipers : Callipers
    net : Network
    play : dict of str to float
        For each pin the lean its hole allows, rad.
    taken : sequence of Reading

    Returns
    -------
    ReadingPlan
    """
    faults, could = faults_of(net, play), possible_readings(net)
    u = reading_u_mm((*callipers.readings, *taken))
    u_mean = u / math.sqrt(REPEATS)
    before = information(net, taken)
    everything = before + could.rows.T @ could.rows / u_mean**2
    kept = least_set(*goals_of(faults, could), before, could.rows, u_mean)
    after = before + could.rows[kept].T @ could.rows[kept] / u_mean**2
    now, then = (np.degrees(faults.u(inverse(whole))) for whole in (before, after))
    outlook = tuple(
        Outlook(*row)
        for row in zip(
            faults.words,
            faults.pins,
            now.tolist(),
            then.tolist(),
            np.degrees(faults.needed).tolist(),
            strict=True,
        )
    )
    best = np.degrees(faults.u(inverse(everything)))
    return ReadingPlan(
        steps=tuple(_step(net, faults, could, k, after, u_mean) for k in kept),
        repeats=REPEATS,
        u_mm=u,
        outlook=outlook,
        unseen=_unseen(net, outlook, best, play),
        note=_note(len(net.names), {could.kinds[k] for k in kept}),
        layout=callipers.layout,
    )


def best_after(
    callipers: Callipers, net: Network, play: dict[str, float], readings: Sequence[Reading], solved: Solved
) -> Step | None:
    """The one reading that narrows most what is still open.

    What decides is the open fault that may lie farthest beyond the play of its holes; when no reading helps
    there, the next one. A reading may be one that was taken already; it is taken :data:`REPEATS` times. Where
    one reading alone tells nothing, it is the first of those that must be taken together, and its
    `u_after_deg` is reached with all of them.

    Parameters
    ----------
    callipers : Callipers
    net : Network
    play : dict of str to float
        For each pin the lean its hole allows, rad.
    readings : sequence of Reading
        Taken so far.
    solved : Solved
        From these readings.

    Returns
    -------
    Step or None
        None when nothing is open, or nothing that a calliper reading between the pins would show.
    """
    seen = sights(net, solved, play)
    faults = faults_of(net, play)
    could = possible_readings(net, solved.state)
    u = reading_u_mm((*callipers.readings, *readings)) / math.sqrt(REPEATS)
    spread = np.sum((could.rows @ solved.covariance) * could.rows, axis=1)
    at_stake = (faults.rows @ solved.covariance @ could.rows.T) ** 2 / (u**2 + spread)
    spare = [one.play_deg - abs(one.splay_deg) for one in seen]
    still_open = [g for g, one in enumerate(seen) if against(spare[g], one.u_deg) == "cannot tell"]
    whole = inverse(solved.covariance)
    for g in sorted(still_open, key=lambda g: spare[g] - one_sided() * seen[g].u_deg):
        left = 1.0 - at_stake[g] / np.radians(seen[g].u_deg) ** 2
        k = int(np.argmin(np.round(left, 9)))
        if left[k] <= TELLS**2:
            after = whole + np.outer(could.rows[k], could.rows[k]) / u**2
            return _step(net, faults, could, k, after, u, g)
    rest = plan_for(callipers, net, play, readings)
    if not (still_open and rest.steps):
        return None
    now = {one.words: one.u_before_deg for one in rest.outlook}
    return replace(rest.steps[0], u_before_deg=now[rest.steps[0].shows])


def reading_u_mm(readings: Sequence[Reading]) -> float:
    """Standard uncertainty of one reading: the least that was stated, or the one of the case document."""
    return min((one.u_mm for one in readings), default=float(Reading.model_fields["u_mm"].default))


def _step(
    net: Network, faults: Faults, could: Possible, k: int, after: Float, u: float, fault: int | None = None
) -> Step:
    """A reading with what is known without it and with it."""
    h = could.rows[k]
    p = inverse(after)
    with_it, without = faults.u(p), faults.u(inverse(after - np.outer(h, h) / u**2))
    g = int(np.argmax(np.round(without / with_it, 9))) if fault is None else fault
    return Step(
        kind=could.kinds[k],
        pins=could.pins[k],
        words=reading_words(could.kinds[k], *could.pins[k]),
        expected_mm=float(could.expected_mm[k]),
        u_expected_mm=math.hypot(float(np.linalg.norm(h * net.u_prior)), _by_height(net, could, k), u),
        why=_why(could.kinds[k], *could.pins[k]),
        shows=faults.words[g],
        u_before_deg=math.degrees(float(without[g])),
        u_after_deg=math.degrees(float(with_it[g])),
    )


def _by_height(net: Network, could: Possible, k: int) -> float:
    """How much longer a reading may be because its feet stand at different heights, to second order, mm."""
    heights = [net.u_prior[UNKNOWNS * net.names.index(name) + 2] for name in could.pins[k]]
    return float(np.sum(np.square(heights)) / (2.0 * could.expected_mm[k]))


def _why(kind: Kind, first: str, second: str) -> str:
    return {
        "base": "The feet are what the free ends are held against.",
        "tip": "Free ends farther apart than the feet, or nearer, are a splay.",
        "tip to base": f"Lean of pin {first} towards pin {second} or away from it, by itself.",
    }[kind]


def _note(pins: int, kinds: set[Kind]) -> str:
    if "tip to base" in kinds and pins > 2:
        return (
            "Free ends alone do not show a spiral: pins that lean one after the other round their middle. "
            "The readings from a free end to a foot do."
        )
    return ""


def _unseen(
    net: Network, outlook: Sequence[Outlook], best: Float, play: dict[str, float]
) -> tuple[Unseen, ...]:
    found = []
    for one, u in zip(outlook, best.tolist(), strict=True):
        if u <= one.needed_deg:
            continue
        i, j = (net.names.index(name) for name in one.pins)
        length = float(max(net.length_mm[i], net.length_mm[j]))
        if u > HELPS * one.u_before_deg:
            found.append(_blind(net, one, i, j, length, play[one.pins[0]] + play[one.pins[1]]))
            continue
        longer = math.ceil(length * one.u_after_deg / one.needed_deg)
        would = f"set guide pins of about {longer} mm; or " if longer <= FARTHEST * length else ""
        found.append(
            Unseen(
                one.words,
                f"Readings show it to {one.u_after_deg:.2f} deg only; {one.needed_deg:.2f} deg is needed.",
                f"{would}read with callipers of smaller uncertainty, or scan the pins",
            )
        )
    return tuple(found)


def _blind(net: Network, one: Outlook, i: int, j: int, length: float, play: float) -> Unseen:
    apart = net.row(net.prior, "base", i, j)[0]
    change_um = 1e3 * (math.hypot(apart, length * math.tan(play)) - apart)
    return Unseen(
        one.words,
        f"A splay of {math.degrees(play):.2f} deg that way, all that the two holes take up, moves the free "
        f"ends only {change_um:.1f} um farther apart: no calliper reading shows it.",
        f"take a reading across: photograph pins {one.pins[0]} and {one.pins[1]} along their line, from a "
        "metre or more, and state the angle between them under [[callipers.photos]]; or scan the pins",
    )
