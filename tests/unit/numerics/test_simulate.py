from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pinseat.numerics.contact import Contact, solve_lacking, solve_opening
from pinseat.numerics.counter import normals
from pinseat.numerics.simulate import BRIDGES, Simulated, simulate

from .bridges import bridge

Float = NDArray[np.float64]
Problem = tuple[Contact, Contact, Float, Float]
LIMIT_MM = 0.12


@pytest.fixture(scope="module")
def problem() -> Problem:
    case = bridge(11)
    seat = case.contact
    entry = Contact(seat.discs[5:], np.zeros((0, 6)), np.zeros(0, dtype=bool))
    mean = np.concatenate([case.y[0], case.offset[5:].ravel(), case.radius[5:]])
    rng = np.random.default_rng(0)
    factor = np.where(rng.random((len(mean), 30)) < 0.2, rng.normal(0, 0.008, (len(mean), 30)), 0.0)
    return seat, entry, mean, factor


def run(problem: Problem, **options: int) -> Simulated:
    seat, entry, mean, factor = problem
    asked = {"trials": 1300, "seed": 7, **options}
    return simulate(seat, entry, mean, factor, limit_mm=LIMIT_MM, **asked)


def as_bytes(found: Simulated, part: slice = slice(None)) -> list[bytes]:
    return [values[part].tobytes() for values in vars(found).values()]


def test_threads_change_no_bit(problem: Problem) -> None:
    assert (
        as_bytes(run(problem, threads=1))
        == as_bytes(run(problem, threads=2))
        == as_bytes(run(problem, threads=5))
    )


def test_a_bridge_does_not_depend_on_what_else_is_asked_for(problem: Problem) -> None:
    whole = run(problem)
    assert as_bytes(run(problem, start=500, trials=300)) == as_bytes(whole, slice(500, 800))


def test_seeds_differ(problem: Problem) -> None:
    assert not np.any(run(problem).lacking_mm == run(problem, seed=8).lacking_mm)


def test_bridges_are_mean_and_factor_times_normals(problem: Problem) -> None:
    seat, entry, mean, factor = problem
    found = run(problem)
    y = mean + normals(7, BRIDGES, 0, 1300, factor.shape[1]) @ factor.T
    split = seat.size
    opening, motion = solve_opening(seat, y[:, :split])
    assert 0.02 < np.isinf(opening).mean() < 0.98
    np.testing.assert_allclose(found.opening_mm, opening, rtol=0, atol=1e-6)
    np.testing.assert_allclose(
        found.lacking_mm, solve_lacking(seat, y[:, :split], LIMIT_MM)[0], rtol=0, atol=1e-8
    )
    np.testing.assert_allclose(
        found.entry_lacking_mm, solve_lacking(entry, y[:, split:], LIMIT_MM)[0], rtol=0, atol=1e-8
    )
    np.testing.assert_array_equal(np.isnan(found.tilt_rad), np.isinf(found.opening_mm))
    tilt = np.linalg.norm(motion[:, 3:], axis=1)
    assert np.nanmedian(np.abs(found.tilt_rad - tilt)) < 1e-6


def test_what_is_not_asked_for_is_empty(problem: Problem) -> None:
    seat, _, mean, factor = problem
    found = simulate(
        seat, None, mean[: seat.size], factor[: seat.size], limit_mm=LIMIT_MM, trials=5, seed=7, lacking=False
    )
    assert found.opening_mm.shape == (5,)
    assert found.lacking_mm.shape == found.entry_lacking_mm.shape == (0,)
    assert found.opening_mm.tobytes() == run(problem).opening_mm[:5].tobytes()


def test_who_goes_home_is_known_without_the_opening(problem: Problem) -> None:
    seat, entry, mean, factor = problem
    found = simulate(seat, entry, mean, factor, limit_mm=LIMIT_MM, trials=5, seed=7, opening=False)
    assert found.opening_mm.shape == found.tilt_rad.shape == (0,)
    assert found.lacking_mm.tobytes() == run(problem).lacking_mm[:5].tobytes()
    assert found.entry_lacking_mm.tobytes() == run(problem).entry_lacking_mm[:5].tobytes()


def test_without_errors_every_bridge_is_the_mean(problem: Problem) -> None:
    seat, entry, mean, _ = problem
    found = simulate(seat, entry, mean, np.zeros((len(mean), 0)), limit_mm=LIMIT_MM, trials=4, seed=1)
    assert np.ptp(found.lacking_mm) == 0.0
    assert found.lacking_mm[0] == pytest.approx(
        solve_lacking(seat, mean[None, : seat.size], LIMIT_MM)[0][0], abs=1e-8
    )


def test_mean_and_factor_must_fit(problem: Problem) -> None:
    seat, entry, mean, factor = problem
    with pytest.raises(ValueError, match="58 rows"):
        simulate(seat, entry, mean[:-1], factor, limit_mm=LIMIT_MM, trials=1, seed=1)
    with pytest.raises(ValueError, match="finite"):
        simulate(seat, entry, mean * np.nan, factor, limit_mm=LIMIT_MM, trials=1, seed=1)
