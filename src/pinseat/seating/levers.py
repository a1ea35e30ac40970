"""Changes at the bench, singly and in pairs, each recomputed with the same random bridges."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations
from typing import get_args

import numpy as np

from pinseat.ledger.handover import Progress, quiet
from pinseat.seating.assembly import Assembly
from pinseat.seating.bridges import Bridges, chance, seat_bridges
from pinseat.seating.changes import Apply, Change, changes
from pinseat.seating.model import Cost, Lever
from pinseat.seating.problem import build

SURE = 2.0
"""A gain counts when it is more than this many standard errors."""
SELDOM = 0.05
"""Below this share of bridges at home, a change that only lessens what is lacking is worth telling too."""
PLANNED = ("fewer pins", "more pins", "guide")
"""Families that change the design, or are open only until the holes are cut: told of, not advised first."""
IN_PAIRS = 5
"""So many of the best changes are tried two by two."""


def levers(
    assembly: Assembly,
    before: Bridges,
    *,
    seed: int,
    threads: int | None = None,
    progress: Progress = quiet,
    most: int = 3,
) -> tuple[Lever, ...]:
    """The changes that gain most.

    A change is offered when its gain in probability is more than :data:`SURE` paired standard errors, or,
    where hardly any bridge goes home, when it lessens the clearance lacking by as much.

    Parameters
    ----------
    assembly : Assembly
        The bridge as it stands.
    before : Bridges
        Its virtual bridges 0, 1, ... of this seed; as many are made for each change.
    seed : int
    threads : int, optional
    progress : callable
    most : int

    Returns
    -------
    tuple of Lever
        Largest gain first; one a family.
    """
    tried = tuple(change for change in changes(assembly) if change.family not in PLANNED)
    found = try_changes(tried, before, seed=seed, threads=threads, progress=progress)
    return tuple(lever for _, lever in best_of_family(tried, found, before)[:most])


def try_changes(
    tried: Sequence[Change],
    before: Bridges,
    *,
    seed: int,
    threads: int | None = None,
    progress: Progress = quiet,
) -> list[Lever]:
    """What each change gains or loses, in their order.

    Parameters
    ----------
    tried : sequence of Change
    before : Bridges
        Virtual bridges 0, 1, ... of this seed, without a change.
    seed : int
    threads : int, optional
    progress : callable

    Returns
    -------
    list of Lever
    """
    found = []
    for i, change in enumerate(tried):
        progress("trying changes", i / len(tried))
        after = seat_bridges(
            build(change.assembly),
            limit_mm=change.assembly.limit_mm,
            trials=len(before),
            seed=seed,
            opening=False,
            threads=threads,
        )
        found.append(compared(change, before, after))
    return found


def best_of_family(
    tried: Sequence[Change], found: Sequence[Lever], before: Bridges
) -> list[tuple[Change, Lever]]:
    """Of each family the best change that helps, largest gain first."""
    best: dict[str, tuple[Change, Lever]] = {}
    for change, lever in zip(tried, found, strict=True):
        known = best.get(change.family)
        if helps(lever, before) and (known is None or _rank(lever) > _rank(known[1])):
            best[change.family] = (change, lever)
    return sorted(best.values(), key=lambda one: _rank(one[1]), reverse=True)


def pairs_of(best: Sequence[tuple[Change, Lever]]) -> list[Change]:
    """The best changes two by two, joined: the second is made to the bridge that has the first."""
    joined = []
    for (one, _), (other, _) in combinations(best[:IN_PAIRS], 2):
        joined.append(
            Change(
                family=f"{one.family} and {other.family}",
                words=f"{one.words}; and {other.words}",
                assembly=other.apply(one.assembly),
                apply=_both(one, other),
                cost=max(one.cost, other.cost, key=get_args(Cost).index),
                caution="; ".join(dict.fromkeys(c for c in (one.caution, other.caution) if c)),
            )
        )
    return joined


def _both(one: Change, other: Change) -> Apply:
    return lambda a: other.apply(one.apply(a))


def compared(change: Change, before: Bridges, after: Bridges) -> Lever:
    """Pair bridge with bridge.

    Parameters
    ----------
    change : Change
    before, after : Bridges
        The same virtual bridges without and with it.

    Returns
    -------
    Lever
    """
    gain = after.home.astype(np.float64) - before.home
    less = before.lacking_mm - after.lacking_mm
    return Lever(
        change.words,
        chance(before.home),
        chance(after.home),
        float(gain.mean()),
        float(np.std(gain)) / math.sqrt(len(before)),
        1000.0 * float(less.mean()),
        change.cost,
        change.caution,
        1000.0 * float(np.std(less)) / math.sqrt(len(before)),
    )


def helps(lever: Lever, before: Bridges) -> bool:
    """Whether a change gains what can be told from chance."""
    if lever.gain > SURE * lever.u_gain:
        return True
    nearer = lever.gain_lacking_um > SURE * lever.u_gain_lacking_um
    return bool(before.home.mean() < SELDOM) and nearer and lever.gain >= 0.0


def _rank(lever: Lever) -> tuple[float, float]:
    return (lever.gain if lever.gain > SURE * lever.u_gain else 0.0), lever.gain_lacking_um
