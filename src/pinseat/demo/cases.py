"""The invented cases: what they are, their files, and small patches for tests over many seeds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.demo.bridge import CENTRAL, LATERAL, PinSet, Retainer, bridge, picks
from pinseat.demo.generate import scan
from pinseat.demo.scanner import Scanner
from pinseat.demo.truth import Truth
from pinseat.mesh.model import Mesh

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Scenario:
    """An invented case.

    Attributes
    ----------
    case : Case
    mesh : Mesh or None
        The scan; None for a case from callipers alone.
    truth : Truth or None
    """

    case: Case
    mesh: Mesh | None
    truth: Truth | None


VARIED = PinSet((0.65, 0.05), (3.0, 0.4), (0.0, 1.5), 0.15)


def patch(
    seed: int,
    *,
    teeth: Sequence[int] = (12, 11, 21, 22, 23),
    missing: Sequence[int] = (21,),
    retainers: Sequence[Retainer] = (CENTRAL, LATERAL),
    pins: PinSet = VARIED,
    scanner: Scanner | None = None,
    edge_mm: float = 0.10,
) -> Scenario:
    """A stretch of an arch round a bridge, different for every seed.

    Parameters
    ----------
    seed : int
    teeth, missing : sequences of int
        FDI numbers, in the order of :data:`pinseat.demo.arch.UPPER`.
    retainers : sequence of Retainer
    pins : PinSet
        Each pin is drawn from it.
    scanner : Scanner, optional
    edge_mm : float
        Edge length round the pins.

    Returns
    -------
    Scenario
    """
    rng = np.random.Generator(np.random.Philox(seed))
    model = bridge(teeth, missing, retainers, pins, rng)
    mesh, truth = scan(model, picks(model), scanner or Scanner(), edge_mm, seed + 1)
    return Scenario(_case_of(truth, missing, seed, pins), mesh, truth)


def _case_of(truth: Truth, missing: Sequence[int], seed: int, pins: PinSet) -> Case:
    tally = {tooth: sum(p.tooth == tooth for p in truth.pins) for tooth in truth.middles}
    abutments = [
        {
            "tooth": tooth,
            "pins": count,
            "at": tuple(float(x) for x in truth.middles[tooth]),
            "hole_diameter_mm": pins.diameter_mm[0] + 0.05,
            "hole_depth_mm": 2.0,
            "cast_pin_diameter_mm": 0.6,
            "impression_pin_diameter_mm": pins.diameter_mm[0],
        }
        for tooth, count in tally.items()
    ]
    return Case.model_validate(
        {
            "number": f"P-{seed:04d}",
            "title": "a patch for trying things out",
            "missing": list(missing),
            "abutments": abutments,
            "scan": {"file": "scans/patch.stl", "unit": "mm"},
        }
    )
