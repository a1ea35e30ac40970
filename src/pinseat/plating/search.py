"""The shortest programme that makes every spot thick enough and no rim too thick.

In each arrangement (a rod in each cup, a further band of wax) the field is solved once at each current. With
these rates, how long to run in which arrangement at which current is a linear programme: least hours in all,
every spot at least the minimum, none over the limit. Tightening the limit step by step gives time against
evenness. A band of wax is put on once its metal is thick enough, and its spots grow no more. The rates are
those of the bare cups, set right spot by spot by what a deposit that was grown has made of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from pinseat.errors import PlatingError
from pinseat.plating.model import Float

_LEVELS = (1.0, 0.8, 0.65, 0.5)
"""Limits on the rim that are tried, as parts of the way from the minimum to the stated limit."""
_LEAST_HOURS = 0.1
_SAME = 1e-6


@dataclass(frozen=True)
class Arrangement:
    """What can be changed in the bath without another impression.

    Attributes
    ----------
    rod_share : float
        Part of the current that comes through an insulated rod in each cup; 0 without rods.
    wax_mm : float
        Further band along the wax edge that is covered.
    """

    rod_share: float = 0.0
    wax_mm: float = 0.0


@dataclass(frozen=True)
class Leg:
    """One step of a programme.

    Attributes
    ----------
    current_mA, hours : float
    wax_mm : float
        Further band that is covered by then.
    """

    current_mA: float
    hours: float
    wax_mm: float = 0.0


@dataclass(frozen=True)
class Trial:
    """A programme.

    Attributes
    ----------
    rod_share : float
    legs : tuple of Leg
        In the order of the work: wax only widens, and the current rises while it stays.
    hours : float
        In all.
    minimum_mm, rim_mm : float
        Thinnest and thickest spot at the end.
    highest_A_m2 : float
        Largest local density.
    """

    rod_share: float
    legs: tuple[Leg, ...]
    hours: float
    minimum_mm: float
    rim_mm: float
    highest_A_m2: float


Rates = Callable[[Arrangement, float], Float]
"""Density of every reported spot in an arrangement at a current in mA, A/m2; (n,), the same spots always."""


def search(
    rates: Rates,
    families: Sequence[Sequence[Arrangement]],
    currents_mA: Sequence[float],
    *,
    mm_per_h: float,
    wanted_mm: float,
    rim_limit_mm: float,
    density_limit_A_m2: float,
    longest_h: float = np.inf,
    correction: Float | None = None,
    last_mm: Float | None = None,
) -> tuple[Trial, ...]:
    """Look for the shortest programmes.

    Parameters
    ----------
    rates : callable
    families : sequence of sequences of Arrangement
        Arrangements that may follow each other in one programme, wax widening.
    currents_mA : sequence of float
        Currents that the supply may be set to.
    mm_per_h : float
        Growth at 1 A/m2.
    wanted_mm : float
        Least thickness of every reported spot.
    rim_limit_mm : float
        Largest.
    density_limit_A_m2 : float
        Currents with a higher local density anywhere are not used.
    longest_h : float
        Longer programmes are left out.
    correction : (n,) array, optional
        What a growing deposit makes of the rate of each spot; 1 when left out.
    last_mm : (n,) array, optional
        Of spots in the last cell at the wax edge, how far from it they are, else infinite. They are held to
        no limit; but wax that covers them goes on only once they have the minimum.

    Returns
    -------
    tuple of Trial
        Those that no other beats in both time and evenness, the shortest first; empty when nothing reaches
        the minimum within the limits.

    Raises
    ------
    PlatingError
        Without arrangement or current, when the limit is not above the minimum, or from the solver. An
        arrangement that cannot be made is no change that can be offered, and left out.
    """
    if not families or not currents_mA:
        raise PlatingError("there is nothing to try", do="give at least one arrangement and one current")
    if not rim_limit_mm > wanted_mm:
        limit = f"more than the minimum, {wanted_mm:g} mm"
        raise PlatingError("the rim may not even have the minimum", value=f"{rim_limit_mm:g} mm", limit=limit)
    known: dict[Arrangement, list[tuple[float, Float]]] = {}
    found: list[Trial] = []
    for family in families:
        for one in family:
            if one not in known:
                known[one] = _within(rates, one, sorted(currents_mA), density_limit_A_m2, last_mm)
        columns = [(one, current, density) for one in family for current, density in known[one]]
        if columns:
            per_A_m2 = mm_per_h * (np.ones(len(columns[0][2])) if correction is None else correction)
            last = np.full(len(per_A_m2), np.inf) if last_mm is None else last_mm
            told, held = np.isinf(last), last < max(one.wax_mm for one in family)
            found += _programmes(columns, per_A_m2, told, told | held, wanted_mm, rim_limit_mm)
    different: list[Trial] = []
    for trial in sorted(found, key=lambda trial: (trial.hours, trial.rim_mm, len(trial.legs))):
        if trial.hours <= longest_h and not any(
            abs(trial.hours - o.hours) + abs(trial.rim_mm - o.rim_mm) < _SAME for o in different
        ):
            different.append(trial)
    return tuple(trial for trial in different if not any(_beats(other, trial) for other in different))


def _within(
    rates: Rates, one: Arrangement, currents: Sequence[float], limit: float, last_mm: Float | None
) -> list[tuple[float, Float]]:
    """Densities at each current that keeps to the limit."""
    used: list[tuple[float, Float]] = []
    for current in currents:
        try:
            density = rates(one, current)
        except PlatingError:
            break  # a rod without room, wax that leaves no metal
        if (density if last_mm is None else density[np.isinf(last_mm)]).max() > limit:
            break
        used.append((current, density))
    return used


def _programmes(
    columns: Sequence[tuple[Arrangement, float, Float]],
    per_A_m2: Float,
    told: NDArray[np.bool_],
    held: NDArray[np.bool_],
    wanted: float,
    limit: float,
) -> list[Trial]:
    """The shortest programme of one family for each limit on the rim.

    Spots that are `told` keep to the limit, those that are `held` get the minimum.
    """
    density = np.column_stack([column[2] for column in columns])
    per_h = per_A_m2[:, None] * density
    found: list[Trial] = []
    for level in _LEVELS:
        most = wanted + level * (limit - wanted)
        rows = np.concatenate((-per_h[held], per_h[told]))
        bound = np.concatenate((np.full(held.sum(), -wanted), np.full(told.sum(), most)))
        answer = linprog(np.ones(len(columns)), A_ub=rows, b_ub=bound, bounds=(0.0, None), method="highs")
        if answer.status != 0:
            break
        hours = np.asarray(answer.x)
        used = [i for i in range(len(columns)) if hours[i] > _LEAST_HOURS]
        thick = per_h[told] @ hours
        legs = [Leg(columns[i][1], float(hours[i]), columns[i][0].wax_mm) for i in used]
        found.append(
            Trial(
                columns[0][0].rod_share,
                tuple(sorted(legs, key=lambda leg: (leg.wax_mm, leg.current_mA))),
                float(hours.sum()),
                float(thick.min()),
                float(thick.max()),
                float(density[told][:, used].max()),
            )
        )
    return found


def _beats(one: Trial, other: Trial) -> bool:
    """Whether a programme is no longer and no less even than another, and better in one of the two."""
    if one is other:
        return False
    shorter, evener = other.hours - one.hours, other.rim_mm - one.rim_mm
    return min(shorter, evener) >= -_SAME and max(shorter, evener) > _SAME
