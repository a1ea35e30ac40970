"""The same prepared teeth scanned twice, with something changed in between and known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.demo.arch import Arch
from pinseat.demo.bridge import bridge
from pinseat.demo.generate import scan
from pinseat.demo.plans import Plan
from pinseat.demo.preparation import StandingPin
from pinseat.demo.scanner import Scanner
from pinseat.demo.truth import Truth
from pinseat.ledger.pins import frame
from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import vertex_normals

Float = NDArray[np.float64]

SECOND_EDGE = 0.983
"""The second scan's edges are shorter by this factor, so that it has no point in common with the first."""


@dataclass(frozen=True)
class Change:
    """What happened to one pin between the scans.

    Attributes
    ----------
    tooth, number : int
    pulled_mm : float
        Out of its hole.
    bent_deg : float
        About the centre of the hole's mouth, towards the first direction of
        :func:`pinseat.ledger.pins.frame`.
    """

    tooth: int
    number: int
    pulled_mm: float = 0.0
    bent_deg: float = 0.0


@dataclass(frozen=True, eq=False)
class Pair:
    """Two scans of the same teeth.

    Attributes
    ----------
    first, second : Mesh
        Each in a pose of its own.
    truth, second_truth : Truth
    rotation, shift : (3, 3) and (3,) arrays
        From the second scan to the first, before the warp of either.
    worn : (n,) bool array
        Vertices of the second scan that were moved.
    """

    first: Mesh
    second: Mesh
    truth: Truth
    second_truth: Truth
    rotation: Float
    shift: Float
    worn: NDArray[np.bool_]


def changed_pair(
    plan: Plan,
    seed: int,
    *,
    changes: Sequence[Change] = (),
    worn_share: float = 0.0,
    worn_mm: float = 0.1,
    scanner: Scanner | None = None,
    edge_mm: float = 0.10,
) -> Pair:
    """Scan the teeth of a plan, change them, and scan them again.

    Parameters
    ----------
    plan : Plan
    seed : int
    changes : sequence of Change
        What happens to the pins.
    worn_share : float
        Share of the second scan's vertices that lies lower afterwards: in up to three round places away from
        the pins.
    worn_mm : float
        How much lower in the middle of each place; a smooth dish.
    scanner : Scanner, optional
        Of both scans; noise, warp, gaps and pose differ.
    edge_mm : float
        Of the first scan; see :data:`SECOND_EDGE`.

    Returns
    -------
    Pair
    """
    sees = scanner or Scanner()
    rng = np.random.Generator(np.random.Philox(seed))
    model = bridge(plan.teeth, plan.missing, plan.retainers, plan.pins, rng)
    first, truth = scan(model, (), sees, edge_mm, rng)
    second, second_truth = scan(_changed(model, changes), (), sees, SECOND_EDGE * edge_mm, rng)
    second, worn = _worn(second, second_truth, worn_share, worn_mm, rng)
    rotation = truth.rotation @ second_truth.rotation.T
    return Pair(
        first,
        second,
        truth,
        second_truth,
        rotation,
        truth.shift - rotation @ second_truth.shift,
        worn,
    )


def impression_pair(
    plan: Plan,
    seed: int,
    *,
    length_mm: float,
    changes: Sequence[Change] = (),
    scanner: Scanner | None = None,
    edge_mm: float = 0.10,
) -> Pair:
    """Scan the teeth of a plan with the pins standing, and the impression that took the pins along.

    Parameters
    ----------
    plan : Plan
    seed : int
    length_mm : float
        Whole length of every pin.
    changes : sequence of Change
        `pulled_mm` counts out of the impression: the pin went back too far out of the rubber.
    scanner : Scanner, optional
    edge_mm : float
        Of the first scan; see :data:`SECOND_EDGE`.

    Returns
    -------
    Pair
        The second scan is the impression as it lies on the table: its front is the rubber's.
    """
    sees = scanner or Scanner()
    rng = np.random.Generator(np.random.Philox(seed))
    model = bridge(plan.teeth, plan.missing, plan.retainers, plan.pins, rng)
    first, truth = scan(model, (), sees, edge_mm, rng)
    prints = _bored(model, length_mm, changes)
    back, second_truth = scan(prints, (), sees, SECOND_EDGE * edge_mm, rng)
    second = Mesh(back.vertices, np.ascontiguousarray(back.faces[:, ::-1]))
    rotation = truth.rotation @ second_truth.rotation.T
    shift = truth.shift - rotation @ second_truth.shift
    return Pair(first, second, truth, second_truth, rotation, shift, np.zeros(len(second.vertices), bool))


def _bored(model: Arch, length_mm: float, changes: Sequence[Change]) -> Arch:
    """The arch with a hole for each pin, as deep as the pin stands out of the impression."""
    out_mm = {(change.tooth, change.number): change.pulled_mm for change in changes}
    prepared = {}
    for placed in model.teeth:
        if placed.preparation is not None:
            pins = placed.preparation.pins
            bores = tuple(
                length_mm - pin.protrusion_mm + out_mm.get((placed.crown.tooth, pin.number), 0.0)
                for pin in pins
            )
            prepared[placed.crown.tooth] = replace(placed.preparation, bores_mm=bores)
    return model.prepared(prepared)


def _changed(model: Arch, changes: Sequence[Change]) -> Arch:
    by_name = {(change.tooth, change.number): change for change in changes}
    prepared = {}
    for placed in model.teeth:
        if placed.preparation is not None:
            tooth = placed.crown.tooth
            pins = tuple(_moved(p, by_name.get((tooth, p.number))) for p in placed.preparation.pins)
            prepared[tooth] = replace(placed.preparation, pins=pins)
    return model.prepared(prepared)


def _moved(pin: StandingPin, change: Change | None) -> StandingPin:
    if change is None:
        return pin
    bent = np.radians(change.bent_deg)
    axis = np.cos(bent) * pin.axis + np.sin(bent) * frame(pin.axis)[0]
    return replace(pin, axis=axis, protrusion_mm=pin.protrusion_mm + change.pulled_mm)


def _worn(
    mesh: Mesh, truth: Truth, share: float, depth_mm: float, rng: np.random.Generator
) -> tuple[Mesh, NDArray[np.bool_]]:
    """Three dishes, each a third of the share, away from the pins."""
    worn = np.zeros(len(mesh.vertices), bool)
    if share <= 0.0:
        return mesh, worn
    feet = np.array([pin.foot for pin in truth.pins])
    away = np.min([np.linalg.norm(mesh.vertices - foot, axis=1) for foot in feet], axis=0)
    lower = np.zeros(len(mesh.vertices))
    for _ in range(3):
        free = np.flatnonzero((away > 6.0) & ~worn)
        centre = mesh.vertices[free[rng.integers(len(free))]]
        from_centre = np.linalg.norm(mesh.vertices - centre, axis=1)
        from_centre[(away < 2.0) | worn] = np.inf
        reach = np.sort(from_centre)[round(share / 3.0 * len(from_centre))]
        dish = from_centre < reach
        lower[dish] = depth_mm * (1.0 - (from_centre[dish] / reach) ** 2)
        worn |= dish
    return Mesh(mesh.vertices - lower[:, None] * vertex_normals(mesh), mesh.faces), worn
