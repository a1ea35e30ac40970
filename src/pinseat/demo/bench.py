"""A case measured with callipers alone, whose readings cannot see the one fault it has."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pinseat.demo.truth import TruePin

Float = NDArray[np.float64]


@dataclass(frozen=True)
class BenchReading:
    """One distance, read twice."""

    kind: Literal["base", "tip"]
    pins: tuple[str, str]
    repeats_mm: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Bench:
    """The case: what was set, and what was read.

    Attributes
    ----------
    number, title, note : str
    missing, teeth : tuple of int
        FDI; the teeth are the abutments.
    pins : tuple of TruePin
        As they stand in truth; `x` along the arch, `y` towards the lip, `z` off the teeth.
    layout_mm : (n, 2) array
        As read with a ruler.
    readings : tuple of BenchReading
    """

    number: str
    title: str
    note: str
    missing: tuple[int, ...]
    teeth: tuple[int, ...]
    pins: tuple[TruePin, ...]
    layout_mm: Float
    readings: tuple[BenchReading, ...]
    hole_diameter_mm: float
    hole_depth_mm: float
    cast_pin_diameter_mm: float
    guide_length_mm: float
    u_layout_mm: float
    u_reading_mm: float
    chain: dict[str, str]


_FEET = ((11, 1, -2.0, 1.2), (11, 2, 0.4, -2.6), (22, 1, 13.8, 0.2))
SPIRAL_DEG = 1.4
GUIDE_MM = 8.0


def bench(seed: int, chain: dict[str, str]) -> Bench:
    """Three guide pins that lean one after the other round their middle: a spiral.

    To first order a spiral changes no distance between free ends, so callipers read parallel pins.

    Parameters
    ----------
    seed : int
        Draws the error of each reading.
    chain : dict of str to str
        The materials.

    Returns
    -------
    Bench
    """
    rng = np.random.Generator(np.random.Philox(seed))
    feet = np.array([[x, y, 0.0] for _, _, x, y in _FEET])
    round_middle = np.cross([0.0, 0.0, 1.0], feet - feet.mean(axis=0))
    lean = np.tan(np.radians(SPIRAL_DEG)) * round_middle / np.linalg.norm(round_middle, axis=1).max()
    axes = lean + np.array([0.0, 0.0, 1.0])
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    pins = tuple(
        TruePin(tooth, number, foot, axis, 0.65, GUIDE_MM)
        for (tooth, number, _, _), foot, axis in zip(_FEET, feet, axes, strict=True)
    )
    ends: dict[Literal["base", "tip"], Float] = {"base": feet, "tip": feet + GUIDE_MM * axes}
    readings = []
    for kind, points in ends.items():
        for i, j in combinations(range(len(pins)), 2):
            true = float(np.linalg.norm(points[i] - points[j]))
            repeats = tuple(round(true + e, 2) for e in rng.normal(scale=0.008, size=2))
            readings.append(BenchReading(kind, (pins[i].name, pins[j].name), repeats))
    return Bench(
        number="F-0120",
        title="a training model without a scan: 21 missing, retainers 11 and 22",
        note=(
            "An invented case without a scanner. Two guide pins stand in tooth 11 and one in tooth 22; the "
            "distances between their feet and between their free ends were read with callipers, each twice. "
            "The pins may lean one after the other round their middle without changing any of these "
            "distances, so the readings cannot tell whether the bridge will go home."
        ),
        missing=(21,),
        teeth=(11, 22),
        pins=pins,
        layout_mm=np.round(feet[:, :2] + rng.uniform(-0.3, 0.3, size=(3, 2)), 1),
        readings=tuple(readings),
        hole_diameter_mm=0.70,
        hole_depth_mm=2.0,
        cast_pin_diameter_mm=0.60,
        guide_length_mm=GUIDE_MM,
        u_layout_mm=0.5,
        u_reading_mm=0.02,
        chain=chain,
    )
