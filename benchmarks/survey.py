"""Finding the pins, beside what a user would pick: a generic consensus fit of a cylinder to the same points.

The generic way: scikit-image's ``ransac`` with a cylinder model that scipy's ``least_squares`` refines, on
the points around each pin. It cannot find the places; they are given to it, and to our fits beside it, from
the truth. Our whole survey, which has to find them, is timed as well.
"""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from skimage.measure import ransac

from benchmarks.machine import best_of
from pinseat.demo.bridge import CENTRAL
from pinseat.demo.cases import Scenario, build, patch
from pinseat.demo.truth import TruePin
from pinseat.ledger.handover import Handover
from pinseat.survey.find import Start, refine
from pinseat.survey.step import expected_pins, run
from pinseat.survey.surface import Surface

Float = NDArray[np.float64]


class Cylinder:
    """A cylinder as the consensus library wants it: two slopes, a point at height 0, a radius."""

    def __init__(self) -> None:
        self.params = np.array([0.0, 0.0, 0.0, 0.0, 0.3])

    def residuals(self, data: Float) -> Float:
        """Distance of each point from the wall."""
        return np.abs(_distance(self.params, data))

    def estimate(self, data: Float) -> bool:
        """Fit by the general least-squares library."""
        start = np.array([0.0, 0.0, *data[:, :2].mean(axis=0), 0.3])
        self.params = least_squares(_distance, start, args=(data,), method="lm", max_nfev=60).x
        return bool(0.1 < self.params[4] < 1.0)


def _distance(p: Float, data: Float) -> Float:
    axis = np.array([p[0], p[1], 1.0]) / np.sqrt(p[0] ** 2 + p[1] ** 2 + 1.0)
    return np.linalg.norm(np.cross(data - [p[2], p[3], 0.0], axis), axis=1) - p[4]


def generic(scenario: Scenario) -> list[float]:
    """Axis error of the consensus fit on the points around each true pin, deg."""
    assert scenario.mesh is not None
    assert scenario.truth is not None
    off = []
    for pin in scenario.truth.pins:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            model, _ = ransac(
                _around(scenario.mesh.vertices, pin, scenario.truth.draw),
                Cylinder,
                min_samples=8,
                residual_threshold=0.03,
                max_trials=60,
                rng=1,
            )
        axis = np.array([model.params[0], model.params[1], 1.0])
        axis = axis / np.linalg.norm(axis) @ _frame(scenario.truth.draw)
        off.append(float(np.degrees(np.arccos(min(abs(axis @ pin.axis), 1.0)))))
    return off


def _around(vertices: Float, pin: TruePin, draw: Float) -> Float:
    """Points within half a millimetre of the pin, in a frame whose z is the draw."""
    q = vertices - pin.foot
    along = q @ pin.axis
    near = (along > 0.2) & (along < pin.protrusion_mm)
    near &= np.linalg.norm(q - along[:, None] * pin.axis, axis=1) < 0.5
    return np.asarray(q[near] @ _frame(draw).T)


def _frame(draw: Float) -> Float:
    u = np.cross(draw, np.eye(3)[int(np.argmin(np.abs(draw)))])
    u /= np.linalg.norm(u)
    return np.stack([u, np.cross(draw, u), draw])


def fits(scenario: Scenario, surface: Surface) -> None:
    """Our fits alone (wall, foot, free end, covariance), places given."""
    assert scenario.truth is not None
    expected = expected_pins(scenario.case.abutments)
    for pin in scenario.truth.pins:
        tip = pin.foot + pin.protrusion_mm * pin.axis
        start = Start(tip, scenario.truth.draw, 0.32, pin.protrusion_mm)
        assert not isinstance(refine(surface, start, expected, stated=True), str)


def ours(scenario: Scenario) -> list[float]:
    """Axis error of the survey, deg."""
    assert scenario.truth is not None
    pins = run(scenario.case, Handover(), mesh=scenario.mesh).field.pins
    off = []
    for true in scenario.truth.pins:
        pin = min(pins, key=lambda p: float(np.linalg.norm(p.foot - true.foot)))
        off.append(float(np.degrees(np.arccos(min(pin.axis @ true.axis, 1.0)))))
    return off


def main() -> None:
    """Three sizes of scan."""
    sizes = (
        ("30 k", patch(1, teeth=(12, 11, 21), retainers=(CENTRAL,), edge_mm=0.17)),
        ("100 k", build("front", triangles=120_000)),
    )
    heads = (
        ("scan", 7),
        ("triangles", 10),
        ("survey s", 9),
        ("fits s", 7),
        ("generic s", 10),
        ("ratio", 6),
        ("ours deg", 9),
    )
    print(" ".join(f"{head:>{width}}" for head, width in (*heads, ("generic deg", 12))))
    for name, scenario in (*sizes, ("300 k", build("front"))):
        assert scenario.mesh is not None
        ours(scenario)
        surface = Surface(scenario.mesh)
        fits(scenario, surface)
        whole = best_of(lambda s=scenario: ours(s))
        fast = best_of(lambda s=scenario, on=surface: fits(s, on))
        slow = best_of(lambda s=scenario: generic(s))
        error, other = float(np.median(ours(scenario))), float(np.median(generic(scenario)))
        print(
            f"{name:>7} {len(scenario.mesh.faces):>10} {whole:>9.2f} {fast:>7.3f} {slow:>10.3f} "
            f"{slow / fast:>6.1f} {error:>9.3f} {other:>12.3f}"
        )
    print("ratio: generic over our fits, both with the places given; survey finds them itself")
