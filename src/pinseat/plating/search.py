"""The shortest programme that makes every spot thick enough and no rim too thick.

For each arrangement in the bath (mask, rod) the field is solved once at each current. With these rates, how
long to run at which current is a linear programme: least hours in all, every spot at least the minimum, none
over the limit. Tightening the limit step by step gives time against evenness. The rates are those of the bare
cups: what grows changes them by some hundredths, so the programme that is chosen wants to be grown once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linprog

from pinseat.errors import PlatingError
from pinseat.ledger.handover import Progress, quiet
from pinseat.plating.cells import prepare
from pinseat.plating.field import Solved, solve_cells
from pinseat.plating.model import Drive, Electrolyte, Float, Geometry

_LEVELS = (1.0, 0.8, 0.65, 0.5)
"""Limits on the rim that are tried, as parts of the way from the minimum to the stated limit."""
_LEAST_HOURS = 0.05


@dataclass(frozen=True)
class Setup:
    """What can be changed in the bath without another impression.

    Attributes
    ----------
    mask_mm : float
        Band below each margin that is covered.
    rod_above_mm : float or None
        From the end of an insulated rod to the floor of each cup; None without rods.
    rod_bare_mm : float
        Bare length at its end.
    """

    mask_mm: float = 0.0
    rod_above_mm: float | None = None
    rod_bare_mm: float = 2.0

    @property
    def says(self) -> str:
        """The arrangement in bench words."""
        words = [f"wax {self.mask_mm:g} mm down from the margin"] if self.mask_mm > 0.0 else []
        if self.rod_above_mm is not None:
            words.append(
                f"insulated rod, bare end {self.rod_bare_mm:g} mm, {self.rod_above_mm:g} mm above the floor"
            )
        return "; ".join(words) or "as it is"


@dataclass(frozen=True)
class Trial:
    """A programme in one arrangement.

    Attributes
    ----------
    setup : Setup
    steps : tuple of (current_mA, hours)
        The highest current last; empty when nothing reaches the minimum within the limits.
    hours : float
        In all; infinite when there is no such programme.
    minimum_mm, rim_mm : float
        Thinnest and thickest spot at the end.
    highest_A_m2 : float
        Largest local density.
    best : bool
        No other programme is both shorter and more even.
    """

    setup: Setup
    steps: tuple[tuple[float, float], ...]
    hours: float
    minimum_mm: float
    rim_mm: float
    highest_A_m2: float
    best: bool

    @property
    def what(self) -> str:
        """The programme in bench words."""
        told = ", then ".join(f"{current:.3g} mA for {hours:.1f} h" for current, hours in self.steps)
        return f"{self.setup.says}: {told}" if told else f"{self.setup.says}: no current reaches the minimum"


def search(
    make: Callable[[Setup], Geometry],
    electrolyte: Electrolyte,
    setups: Sequence[Setup],
    currents_mA: Sequence[float],
    *,
    wanted_mm: float,
    rim_limit_mm: float,
    density_limit_A_m2: float,
    progress: Progress = quiet,
) -> tuple[Trial, ...]:
    """Look for the shortest programme.

    Parameters
    ----------
    make : callable
        The bath with its cups, arranged so.
    electrolyte : Electrolyte
    setups : sequence of Setup
    currents_mA : sequence of float
        Currents that the supply may be set to.
    wanted_mm : float
        Least thickness of every reported spot.
    rim_limit_mm : float
        Largest.
    density_limit_A_m2 : float
        Currents with a higher local density anywhere are not used.
    progress : callable

    Returns
    -------
    tuple of Trial
        The shortest first; an arrangement without a programme comes last, once.

    Raises
    ------
    PlatingError
        Without arrangement or current, when the limit is not above the minimum, or from the solver.
    """
    if not setups or not currents_mA:
        raise PlatingError("there is nothing to try", do="give at least one arrangement and one current")
    if not rim_limit_mm > wanted_mm:
        limit = f"more than the minimum, {wanted_mm:g} mm"
        raise PlatingError("the rim may not even have the minimum", value=f"{rim_limit_mm:g} mm", limit=limit)
    found: list[Trial] = []
    for place, setup in enumerate(setups):
        progress("trying arrangements", place / len(setups))
        currents, density = _densities(make(setup), electrolyte, sorted(currents_mA), density_limit_A_m2)
        found += _programmes(setup, electrolyte, currents, density, wanted_mm, rim_limit_mm)
    progress("trying arrangements", 1.0)
    ordered = sorted(found, key=lambda trial: (trial.hours, trial.rim_mm))
    return tuple(replace(trial, best=_unbeaten(trial, ordered)) for trial in ordered)


def _densities(
    geometry: Geometry, electrolyte: Electrolyte, currents: Sequence[float], limit: float
) -> tuple[list[float], Float]:
    """Local density of every reported spot at each current that keeps to the limit; (spots, currents)."""
    cells = prepare(geometry)
    before: Solved | None = None
    used, columns = [], []
    for current in currents:
        before = solve_cells(cells, electrolyte, Drive(current_mA=current), before)
        field = before.field
        piece = np.array([e.piece for e in field.electrodes])[field.surface.electrode]
        told = piece & (field.surface.band >= 0)
        density = field.density_A_m2[told if told.any() else piece]
        if density.max() > limit:
            break
        used.append(current)
        columns.append(density)
    return used, np.array(columns).T if columns else np.empty((0, 0))


def _programmes(
    setup: Setup, electrolyte: Electrolyte, currents: list[float], density: Float, wanted: float, limit: float
) -> list[Trial]:
    nothing = Trial(setup, (), float("inf"), 0.0, float("inf"), float("nan"), False)
    if not currents:
        return [nothing]
    per_h = 3.6e-3 * electrolyte.deposit_mm3_per_C * density
    found: list[Trial] = []
    for level in _LEVELS:
        most = wanted + level * (limit - wanted)
        rows = np.concatenate((-per_h, per_h))
        bound = np.concatenate((np.full(len(per_h), -wanted), np.full(len(per_h), most)))
        answer = linprog(np.ones(len(currents)), A_ub=rows, b_ub=bound, bounds=(0.0, None), method="highs")
        if answer.status != 0:
            break
        hours = np.asarray(answer.x)
        thick = per_h @ hours
        used = hours > _LEAST_HOURS
        steps = tuple((currents[i], float(hours[i])) for i in np.flatnonzero(used))
        trial = Trial(
            setup, steps, float(hours.sum()), float(thick.min()), float(thick.max()),
            float(density[:, used].max()), False,
        )  # fmt: skip
        if not found or abs(trial.rim_mm - found[-1].rim_mm) > 1e-6:
            found.append(trial)
    return found or [nothing]


def _unbeaten(trial: Trial, every: Sequence[Trial]) -> bool:
    if not trial.steps:
        return False
    return not any(
        other.hours <= trial.hours and other.rim_mm <= trial.rim_mm and other != trial
        and (other.hours < trial.hours or other.rim_mm < trial.rim_mm)
        for other in every
    )  # fmt: skip
