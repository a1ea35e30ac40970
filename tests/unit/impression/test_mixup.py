from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from pinseat.impression.mixup import exchanged, mixup_finding, orders
from pinseat.impression.removal import plays
from tests.unit.impression.conftest import SIX, THREE, case_of

UNEVEN = (0.65, 0.60, 0.65, 0.65, 0.65, 0.65)


def distances(field, beds):
    """What callipers read between the pins by their numbers, when pin i stands in bed beds[i]."""
    feet = np.array([pin.foot for pin in field.pins])
    names = [pin.name for pin in field.pins]
    return [
        {
            "pins": [names[a], names[b]],
            "mm": [float(np.linalg.norm(feet[beds[a]] - feet[beds[b]]))],
            "u_mm": 0.03,
        }
        for a, b in combinations(range(len(names)), 2)
    ]


def found(field, widths=None, **read):
    case = case_of(field, **read)
    play = plays(field, case)
    if widths is not None:
        play = tuple(replace(one, pin_mm=w) for one, w in zip(play, widths, strict=True))
    return mixup_finding(field, case, play)


def test_pins_that_are_alike_may_stand_anywhere():
    assert found(SIX).verdict == "clear"


def test_pins_that_differ_must_be_told_apart():
    finding = found(SIX, UNEVEN)
    assert finding.verdict == "cannot tell"
    assert "the pin that stands where 11-2 belongs" in finding.do


def test_right_beds_are_confirmed_by_distances():
    assert found(SIX, UNEVEN, distances=distances(SIX, range(6))).verdict == "clear"


@pytest.mark.parametrize(
    "beds", [(1, 0, 2, 3, 4, 5), (3, 1, 2, 0, 4, 5), (0, 2, 1, 3, 4, 5), (1, 2, 0, 3, 4, 5)]
)
def test_exchanged_pins_are_named(beds):
    finding = found(SIX, (0.65, 0.60, 0.62, 0.68, 0.65, 0.65), distances=distances(SIX, beds))
    assert finding.verdict == "stop"
    assert exchanged(beds, [pin.name for pin in SIX.pins]) in finding.says


def test_exchanging_pins_that_are_alike_does_no_harm():
    finding = found(SIX, distances=distances(SIX, (1, 0, 2, 3, 4, 5)))
    assert finding.verdict == "caution"
    assert "no harm" in finding.says


def test_a_wrong_width_in_a_place_gives_it_away():
    read = [{"pin": name, "mm": mm} for name, mm in (("11-1", 0.60), ("11-2", 0.65))]
    finding = found(SIX, UNEVEN, diameters=read)
    assert finding.verdict in ("stop", "cannot tell")
    assert "11-2" in finding.says or "11-2" in finding.do


def test_an_arrangement_alike_under_mirror_cannot_be_told_by_one_distance():
    # 11-1 and 11-3 stand at the same distance from 11-2: that one reading is blind to their exchange.
    finding = found(THREE, (0.65, 0.65, 0.60), distances=[{"pins": ["11-1", "11-2"], "mm": [3.0]}])
    assert finding.verdict == "cannot tell"
    assert finding.do.startswith("read")


def test_a_distance_that_fits_nothing_stops():
    read = distances(SIX, range(6))
    read[0]["mm"] = [4.2]
    assert "no arrangement" in found(SIX, UNEVEN, distances=read).says


def test_noise_raises_no_false_alarm():
    alarms = 0
    for seed in range(30):
        rng = np.random.Generator(np.random.Philox(seed))
        read = distances(SIX, range(6))
        for one in read:
            one["mm"] = [one["mm"][0] + float(rng.normal(scale=0.03))]
        alarms += found(SIX, UNEVEN, distances=read).verdict == "stop"
    assert alarms <= 2


def test_many_pins_try_exchanges_of_two_and_three():
    tried = list(orders(9))
    assert tried[0] == tuple(range(9))
    assert len(tried) == len(set(tried)) == 1 + 36 + 2 * 84
