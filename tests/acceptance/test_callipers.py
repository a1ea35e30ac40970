"""Callipers only: the two right answers for two guide pins, and the demo's truth over 50 seeds.

Two guide pins of 6 mm, feet 18.42 mm apart, each reading +- 0.02 mm. In line the splay is
atan((18.60 - 18.42) / 6) = 1.72 deg, and sqrt(2) 0.02 / 6 rad = 0.27 deg its uncertainty. Each hole is
0.025 mm wider than its cast pin over 2.4 mm: together they take up 2 atan(0.025 / 2.4) = 1.19 deg.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pytest
from scipy.stats import norm

from pinseat.case.model import Case, Reading
from pinseat.demo.bridge import CENTRAL, LATERAL, bridge
from pinseat.demo.cases import VARIED, patch
from pinseat.demo.truth import TruePin
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Handover
from pinseat.ledger.pins import PinField, frame
from pinseat.survey.model import SurveyResult
from pinseat.survey.plan import plan
from pinseat.survey.step import run

SEEDS = range(50)
GUIDE_MM, U_MM, U_LAYOUT_MM = 8.0, 0.02, 0.5


def two_pins(tip_mm: float) -> SurveyResult:
    holes = {"hole_diameter_mm": 0.650, "hole_depth_mm": 2.5, "cast_pin_diameter_mm": 0.625}
    readings = [
        {"kind": kind, "pins": ["11-1", "22-1"], "mm": [mm], "u_mm": 0.02}
        for kind, mm in (("base", 18.42), ("tip", tip_mm))
    ]
    layout = [
        {"tooth": tooth, "number": 1, "x_mm": x, "y_mm": 0.0, "guide_length_mm": 6.0}
        for tooth, x in ((11, 0.0), (22, 18.4))
    ]
    return run(
        Case.model_validate(
            {
                "number": "A-3",
                "missing": [21],
                "abutments": [
                    {"tooth": tooth, "pins": 1, "floor_relief_mm": 0.1, **holes} for tooth in (11, 22)
                ],
                "callipers": {"layout": layout, "readings": readings},
            }
        ),
        Handover(),
    )


def of(result: SurveyResult) -> dict[str, Finding]:
    return {finding.code: finding for finding in result.findings}


def test_free_ends_too_far_apart_stop_with_their_probability() -> None:
    found = of(two_pins(18.60))
    splay = found["survey.splay"]
    by_hand = math.degrees(math.atan(0.18 / 6.0))
    u_by_hand = math.degrees(math.sqrt(2.0) * 0.02 / 6.0)
    assert splay.verdict == "stop"
    assert splay.value == pytest.approx(1.72, abs=0.01)
    assert splay.value == pytest.approx(by_hand, abs=0.01)
    assert splay.uncertainty == pytest.approx(u_by_hand, abs=0.003)
    assert splay.limit == pytest.approx(1.19, abs=0.005)
    chance = 100.0 * norm.cdf((by_hand - 2.0 * math.degrees(math.atan(0.025 / 2.4))) / u_by_hand)
    told = float(splay.says.split("the chance of it is ")[1].split(" %")[0])
    assert chance == pytest.approx(97.4, abs=0.1)
    assert told == pytest.approx(chance, abs=0.3)
    assert found["survey.draw"].verdict == "stop"


def test_free_ends_as_far_apart_as_the_feet_cannot_tell_and_ask_for_a_reading_across() -> None:
    result = two_pins(18.42)
    found = of(result)
    assert found["survey.splay"].verdict == "cannot tell"
    assert found["survey.draw"].verdict == "cannot tell"
    assert result.blind == ("splay across the line of pins 11-1 and 22-1",)
    assert "cannot see splay across the line of pins 11-1 and 22-1" in found["survey.sight"].says
    for code in ("survey.splay", "survey.draw", "survey.sight"):
        assert found[code].do.startswith(
            "take a reading across: photograph pins 11-1 and 22-1 along their line"
        )


@dataclass(frozen=True, eq=False)
class Bench:
    """A case as it would be read at the bench, and the pins as they stand; frame of the layout."""

    case: Case
    feet: np.ndarray
    axes: np.ndarray
    names: tuple[str, ...]


def read(pins: Sequence[TruePin], draw: np.ndarray, rng: np.random.Generator) -> Bench:
    """Lay the pins out with a ruler, take the planned readings, each twice, with their stated errors."""
    turn = np.vstack([frame(draw), draw])
    middle = np.mean([pin.foot for pin in pins], axis=0)
    feet = np.array([turn @ (pin.foot - middle) for pin in pins])
    axes = np.array([turn @ pin.axis for pin in pins])
    laid = feet[:, :2] + U_LAYOUT_MM * rng.standard_normal((len(pins), 2))
    layout = [
        {"tooth": p.tooth, "number": p.number, "x_mm": x, "y_mm": y, "guide_length_mm": GUIDE_MM}
        for p, (x, y) in zip(pins, laid.tolist(), strict=True)
    ]
    holes = {"hole_diameter_mm": 0.70, "hole_depth_mm": 2.5, "cast_pin_diameter_mm": 0.62}
    teeth = list(dict.fromkeys(pin.tooth for pin in pins))
    case = Case.model_validate(
        {
            "number": "A-4",
            "missing": [21],
            "abutments": [{"tooth": t, "pins": sum(p.tooth == t for p in pins), **holes} for t in teeth],
            "callipers": {"layout": layout, "u_layout_mm": U_LAYOUT_MM},
        }
    )
    names = tuple(pin.name for pin in pins)
    ends = {"foot": feet, "end": feet + GUIDE_MM * axes}
    kinds = {"base": ("foot", "foot"), "tip": ("end", "end"), "tip to base": ("end", "foot")}
    readings = []
    for step in plan(case).steps:
        first, second = kinds[step.kind]
        i, j = (names.index(name) for name in step.pins)
        true = float(np.linalg.norm(ends[first][i] - ends[second][j]))
        twice = tuple((true + U_MM * rng.standard_normal(2)).tolist())
        readings.append(Reading(kind=step.kind, pins=step.pins, mm=twice, u_mm=U_MM))
    callipers = case.callipers.model_copy(update={"readings": tuple(readings)})  # type: ignore[union-attr]
    return Bench(case.model_copy(update={"callipers": callipers}), feet, axes, names)


def prepared(seed: int) -> tuple[list[TruePin], np.ndarray]:
    """The pins of a demo bridge, without the scan."""
    rng = np.random.Generator(np.random.Philox(seed))
    model = bridge((12, 11, 21, 22, 23), (21,), (CENTRAL, LATERAL), VARIED, rng)
    pins, draws = [], []
    for placed in model.teeth:
        if placed.preparation is not None:
            draws.append(placed.axes.T @ placed.preparation.draw)
            for pin in placed.preparation.pins:
                foot, axis = placed.world(pin.foot[:, None])[:, 0], placed.axes.T @ pin.axis
                pins.append(TruePin(placed.crown.tooth, pin.number, foot, axis, 0.65, GUIDE_MM))
    mean = np.mean(draws, axis=0)
    return pins, mean / np.linalg.norm(mean)


def normalised(bench: Bench, field: PinField) -> np.ndarray:
    """Error of the lean of every pin against the first, over its stated uncertainty, in the directions in
    which the two are known best and worst: two for every pin but the first."""
    off, place = [], {pin.name: k for k, pin in enumerate(field.pins)}
    first = place[bench.names[0]]
    for name in bench.names[1:]:
        k = place[name]
        at = [4 * k + 2, 4 * k + 3, 4 * first + 2, 4 * first + 3]
        turn = np.hstack([frame(field.pins[k].axis)[:, :2].T, -frame(field.pins[first].axis)[:, :2].T])
        spread = turn @ field.covariance[np.ix_(at, at)] @ turn.T
        true = bench.axes[bench.names.index(name)] - bench.axes[0]
        wrong = (field.pins[k].axis - field.pins[first].axis - true)[:2]
        size, ways = np.linalg.eigh(spread)
        off.append(ways.T @ wrong / np.sqrt(size))
    return np.array(off)


@lru_cache(maxsize=1)
def all_seeds() -> np.ndarray:
    off = []
    for seed in SEEDS:
        pins, draw = prepared(seed)
        bench = read(pins, draw, np.random.Generator(np.random.Philox(1000 + seed)))
        off.append(normalised(bench, run(bench.case, Handover()).field))
    return np.concatenate(off)


def test_readings_of_the_demo_give_its_truth_within_their_stated_uncertainty() -> None:
    """Independent errors would lie within 1.96 of their uncertainty in 95 of 100: 400 numbers, 90 to 99."""
    off = all_seeds()
    assert len(off) == 50 * 4
    for direction in off.T:
        assert 0.90 <= np.mean(np.abs(direction) < 1.96) <= 0.99
        assert 0.80 < np.sqrt(np.mean(direction**2)) < 1.25


@pytest.mark.parametrize("seed", [3, 11])
def test_a_scan_and_readings_of_the_same_demo_agree_within_their_uncertainties(seed: int) -> None:
    scenario = patch(seed, teeth=(12, 11, 21), missing=(21,), retainers=(CENTRAL,), edge_mm=0.13)
    truth = scenario.truth
    assert truth is not None
    scanned = run(scenario.case.model_copy(update={"contacts": ()}), Handover(), mesh=scenario.mesh).field
    bench = read(truth.pins, truth.draw, np.random.Generator(np.random.Philox(2000 + seed)))
    by_hand = run(bench.case, Handover()).field
    turn = np.vstack([frame(truth.draw), truth.draw])
    # of a single tooth a scan does not tell right from left: the pins are matched by their places
    same = [
        min(range(3), key=lambda i: float(np.linalg.norm(scanned.pins[i].foot - t.foot))) for t in truth.pins
    ]
    assert sorted(same) == [0, 1, 2]
    assert (scanned.basis, by_hand.basis) == ("scan", "callipers")

    def lean(field: PinField, own: np.ndarray, k: int, first: int) -> tuple[np.ndarray, np.ndarray]:
        rows = np.zeros((2, len(field.covariance)))
        for pin, sign in ((k, 1.0), (first, -1.0)):
            rows[:, 4 * pin + 2 : 4 * pin + 4] = sign * (own @ frame(field.pins[pin].axis).T)[:2]
        return (own @ (field.pins[k].axis - field.pins[first].axis))[:2], rows @ field.covariance @ rows.T

    for k in (1, 2):
        a, spread_a = lean(scanned, turn, same[k], same[0])
        b, spread_b = lean(by_hand, np.eye(3), k, 0)
        distance = (a - b) @ np.linalg.solve(spread_a + spread_b, a - b)
        assert distance < 13.8  # 0.999 quantile of chi squared with two degrees of freedom: -2 ln 0.001
