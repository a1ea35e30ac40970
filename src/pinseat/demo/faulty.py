"""Bridges with known faults: what a diagnosis is measured against."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pinseat.seating.assembly import Assembly
from pinseat.seating.diagnosis import simulated
from pinseat.seating.faults import CAUSES, all_cells
from pinseat.seating.observations import Bridges


def any_bridges(assembly: Assembly, die_hole_mm: NDArray[np.float64], each: int, *, seed: int) -> Bridges:
    """As many bridges of every cause, whatever was seen.

    Parameters
    ----------
    assembly : Assembly
    die_hole_mm : (n,) array
    each : int
        Bridges a cause.
    seed : int

    Returns
    -------
    Bridges
    """
    rng, cells = np.random.Generator(np.random.Philox(seed)), all_cells(assembly)
    of = [np.flatnonzero(cells.cause == number) for number in range(len(CAUSES))]
    faults = cells.draw(np.concatenate([rng.choice(own, each) for own in of]), rng)
    return simulated(assembly, die_hole_mm, faults, np.full(len(faults), 1.0 / len(faults)), rng)
