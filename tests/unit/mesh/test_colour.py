from __future__ import annotations

import numpy as np
import pytest

from pinseat.mesh.colour import NOT_MEASURED, PLASTER, blend, linear, oklab, ramp, srgb, ticks
from pinseat.mesh.shade import IVORY

LIMIT = 0.05
FINE = np.linspace(0.0, 2.0 * LIMIT, 401)
"""The first half ends exactly at the limit."""

DICHROMATS = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
"""Light in, light seen, for eyes that lack one kind of cone: Machado, Oliveira and Fernandes, IEEE Trans.
on Visualization and Computer Graphics 15 (2009) 1291, severity 1.0."""


def seen(colours: np.ndarray, eyes: str) -> np.ndarray:
    """Oklab of what dichromat eyes see."""
    light = np.clip(linear(colours) @ np.array(DICHROMATS[eyes]).T, 0.0, 1.0)
    level = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1.0 / 2.4) - 0.055)
    return oklab(255.0 * level)


@pytest.mark.parametrize(
    ("colour", "lab"),
    [
        ((255, 0, 0), (0.62796, 0.22486, 0.12585)),
        ((0, 255, 0), (0.86644, -0.23389, 0.1795)),
        ((0, 0, 255), (0.45201, -0.03246, -0.31153)),
        ((255, 255, 255), (1.0, 0.0, 0.0)),
    ],
)
def test_oklab_of_the_primaries(colour, lab) -> None:
    """Red, lime and blue as CSS Color Module Level 4 and its documentation give them, to their last digit."""
    assert oklab(np.array([colour], np.uint8))[0] == pytest.approx(lab, abs=1e-5)


def test_every_grey_and_every_primary_comes_back() -> None:
    grey = np.arange(256, dtype=np.uint8)[:, None].repeat(3, axis=1)
    pure = np.concatenate([grey * np.array(keep, np.uint8) for keep in ((1, 0, 0), (0, 1, 0), (0, 0, 1))])
    for colours in (grey, pure):
        np.testing.assert_array_equal(srgb(oklab(colours)), colours)


def test_nothing_is_plaster_and_the_unknown_is_grey() -> None:
    assert ramp([0.0, -0.3], LIMIT).tolist() == [list(PLASTER)] * 2
    assert ramp([np.nan], LIMIT).tolist() == [list(NOT_MEASURED)]
    assert tuple(np.rint(255.0 * np.array(IVORY)).astype(int)) == PLASTER


def test_beyond_twice_the_limit_nothing_changes() -> None:
    deep = ramp([2.0 * LIMIT, 5.0, np.inf], LIMIT)
    assert (deep == deep[0]).all()


def test_only_the_share_of_the_limit_counts() -> None:
    np.testing.assert_array_equal(ramp(FINE, LIMIT), ramp(1000.0 * FINE, 1000.0 * LIMIT))


def test_equal_steps_look_equal_in_both_halves() -> None:
    """Steps of a twentieth of the limit; an 8-bit colour is off by up to 0.003 in Oklab here."""
    lab = oklab(ramp(FINE, LIMIT))[::10]
    for half in (lab[:21], lab[21:]):
        step = np.linalg.norm(np.diff(half, axis=0), axis=1)
        assert step == pytest.approx(np.full(len(step), step.mean()), abs=0.004)
        assert step.mean() > 0.007


@pytest.mark.parametrize("eyes", ["all", *DICHROMATS])
def test_darker_all_the_way_with_a_step_at_the_limit_whatever_the_eyes(eyes: str) -> None:
    colours = ramp(FINE, LIMIT)
    lab = oklab(colours) if eyes == "all" else seen(colours, eyes)
    coarse = lab[::10, 0]
    assert (np.diff(coarse) < 0.0).all()
    drop = lab[:-1, 0] - lab[1:, 0]
    assert int(np.argmax(drop)) == 200
    assert drop[200] > 0.15
    assert np.delete(drop, 200).max() < 0.02


def test_the_limit_itself_is_within() -> None:
    at, over = oklab(ramp([LIMIT, np.nextafter(LIMIT, 1.0)], LIMIT))
    assert at[0] - over[0] > 0.2


def test_ticks_are_what_the_ramp_turns_on() -> None:
    values = [value for value, _ in ticks(LIMIT)]
    assert values == [0.0, LIMIT, 2.0 * LIMIT]
    assert len({tuple(colour) for colour in ramp(values, LIMIT).tolist()}) == 3


def test_blend_goes_from_one_end_to_the_other() -> None:
    start, end = ramp(FINE, LIMIT), (205, 118, 74)
    np.testing.assert_array_equal(blend(start, end, 0.0), start)
    assert (blend(start, end, 1.0) == end).all()
    half = oklab(blend(start[:1], end, 0.5))[0]
    middle = oklab(np.array([start[0], end], np.uint8)).mean(axis=0)
    assert half == pytest.approx(middle, abs=0.004)
