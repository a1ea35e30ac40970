"""The demo's known truth, recovered from its scans over 20 seeds and three edge lengths.

The bound is written here from the true pins, the true noise and the scan's own points, without any of the
code that is tested: Cramer-Rao for independent noise along the normals of the wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from pinseat.demo.bridge import CENTRAL, LATERAL
from pinseat.demo.cases import Scenario, build, patch
from pinseat.demo.truth import TruePin
from pinseat.ledger.handover import Handover
from pinseat.ledger.pins import Pin, frame
from pinseat.survey.step import run

SEEDS = range(20)
LONE = {"teeth": (12, 11, 21), "missing": (21,), "retainers": (CENTRAL,)}
PAIR = {"teeth": (12, 11, 21, 22, 23), "missing": (21,), "retainers": (CENTRAL, LATERAL)}
FILLET_MM, RIM_MM = 0.12, 0.07
"""At the foot a fillet, at the end a rounded rim: no cylinder there."""


@dataclass(frozen=True)
class Tally:
    """What one scan gave.

    ``normalised`` holds, for each pin, foot across (u, v) and tilt (u, v) over their stated uncertainties,
    ``tilt`` the tilt errors in rad, ``bound`` the least variances that any estimator could have.
    """

    true_pins: int
    found: int
    matched: int
    right_tooth: int
    normalised: tuple[tuple[float, ...], ...]
    tilt: tuple[tuple[float, float], ...]
    bound: tuple[tuple[float, float], ...]


def least_variance(points: np.ndarray, pin: TruePin, noise_mm: float) -> np.ndarray:
    """Cramer-Rao bound on the tilt (u, v) of a pin, rad2: inverse of the Fisher information of its wall."""
    along = (points - pin.foot) @ pin.axis
    out = points - pin.foot - along[:, None] * pin.axis
    rho = np.linalg.norm(out, axis=1)
    wall = (np.abs(rho - pin.diameter_mm / 2.0) < 6.0 * noise_mm) & (along > FILLET_MM)
    wall &= along < pin.protrusion_mm - RIM_MM
    u, v = frame(pin.axis)
    e = np.column_stack([out[wall] @ u, out[wall] @ v]) / rho[wall, None]
    rows = np.column_stack([e, along[wall, None] * e, np.ones(int(wall.sum()))])
    return np.diag(np.linalg.inv(rows.T @ rows / noise_mm**2))[2:4]


def errors(pin: Pin, true: TruePin) -> np.ndarray:
    """Where the true axis crosses the found foot's plane, and its tilt, in the frame of the found axis."""
    f = frame(pin.axis)
    ahead = (pin.foot - true.foot) @ pin.axis / (true.axis @ pin.axis)
    return np.concatenate([f @ (true.foot + ahead * true.axis - pin.foot), f @ true.axis])


def tally(scenario: Scenario) -> Tally:
    truth, mesh = scenario.truth, scenario.mesh
    assert truth is not None
    assert mesh is not None
    pins_only = scenario.case.model_copy(update={"contacts": ()})
    field = run(pins_only, Handover(), mesh=mesh).field
    used: set[str] = set()
    right, normalised, tilt, bound = 0, [], [], []
    for i, pin in enumerate(field.pins):
        true = min(truth.pins, key=lambda t: float(np.linalg.norm(t.foot - pin.foot)))
        if np.linalg.norm(true.foot - pin.foot) > 0.5:
            continue
        used.add(true.name)
        right += true.tooth == pin.tooth
        off = errors(pin, true)
        normalised.append(tuple((off / np.sqrt(np.diag(field.covariance)[4 * i : 4 * i + 4])).tolist()))
        tilt.append((float(off[2]), float(off[3])))
        least = least_variance(mesh.vertices, true, 1e-3 * truth.noise_um)
        bound.append((float(least[0]), float(least[1])))
    return Tally(
        len(truth.pins), len(field.pins), len(used), right, tuple(normalised), tuple(tilt), tuple(bound)
    )


def kind(edge_mm: float, seed: int) -> dict[str, object]:
    """Mostly one tooth in its neighbourhood; some whole bridges, too."""
    return PAIR if edge_mm == 0.10 and seed % 4 == 0 else LONE


@pytest.mark.parametrize("edge_mm", [0.10, 0.15, 0.20])
def test_pins_are_found_as_well_as_the_scan_allows_and_uncertainty_is_honest(edge_mm):
    """Every pin found and none invented; axis as stated; near the bound; 90 to 99 % inside 95 % bounds."""
    seen = [tally(patch(seed, edge_mm=edge_mm, **kind(edge_mm, seed))) for seed in SEEDS]  # type: ignore[arg-type]
    for seed, one in zip(SEEDS, seen, strict=True):
        assert (one.found, one.matched, one.right_tooth) == (one.true_pins,) * 3, f"seed {seed}"
    tilt = np.array([t for one in seen for t in one.tilt])
    bound = np.array([b for one in seen for b in one.bound])
    if edge_mm == 0.10:
        assert np.degrees(np.quantile(np.hypot(*tilt.T), 0.95)) < 0.5
    assert np.sqrt(np.mean(tilt**2) / np.mean(bound)) < 1.3
    normalised = np.abs([n for one in seen for n in one.normalised])
    assert 0.90 <= np.mean(normalised < 1.96) <= 0.99
    assert 0.80 < np.sqrt(np.mean(normalised**2)) < 1.25


def test_a_whole_arch_tells_its_teeth_apart_without_being_told():
    """Without the points on the teeth the horseshoe alone says which pins stand in 11 and 22."""
    scenario = build("front", triangles=120_000)
    assert scenario.truth is not None
    untold = tuple(a.model_copy(update={"at": None}) for a in scenario.case.abutments)
    case = scenario.case.model_copy(update={"abutments": untold, "contacts": ()})
    for pin in run(case, Handover(), mesh=scenario.mesh).field.pins:
        true = min(scenario.truth.pins, key=lambda t: float(np.linalg.norm(t.foot - pin.foot)))
        assert (pin.tooth, pin.number) == (true.tooth, true.number)
