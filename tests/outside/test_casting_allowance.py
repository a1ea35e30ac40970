"""What several pins take up together, against closed forms, a cone programme and drawing."""

import math

import clarabel
import numpy as np
import pytest
from scipy import sparse
from scipy.special import ndtr

from pinseat.casting.allowance import all_enter, largest_scale


@pytest.mark.parametrize(
    ("play_mm", "span_mm", "percent"),
    [(0.10, 10.0, 1.0), (0.10, 20.0, 0.5), (0.10, 30.0, 0.3333), (0.05, 10.0, 0.5), (0.05, 30.0, 0.1667)],
)
def test_two_pins_take_up_their_play_over_the_span(play_mm: float, span_mm: float, percent: float) -> None:
    """|s| S <= c, worked by hand to four decimals."""
    feet = np.array([[0.0, 0.0], [span_mm, 0.0]])
    assert 100.0 * largest_scale(feet, np.full(2, play_mm)) == pytest.approx(percent, abs=5e-5)


def test_three_pins_in_a_triangle_take_up_less() -> None:
    """Equilateral side a: |s| a / sqrt 3 <= c / 2. Side 10 mm, play 0.10 mm: 0.8660 % (two of them: 1 %)."""
    feet = np.array([[0.0, 0.0], [10.0, 0.0], [5.0, 5.0 * math.sqrt(3.0)]])
    assert 100.0 * largest_scale(feet, np.full(3, 0.1)) == pytest.approx(0.8660, abs=5e-5)


def test_unequal_play_counts_by_its_mean() -> None:
    assert largest_scale(np.array([[0.0, 0.0], [20.0, 0.0]]), np.array([0.02, 0.08])) == pytest.approx(0.0025)


def by_cones(feet: np.ndarray, play: np.ndarray) -> float:
    """Largest S with |S r_i - t| <= c_i / 2, as a second-order cone programme over S and t."""
    n = len(feet)
    rows, rhs = [], []
    for foot, c in zip(feet, play, strict=True):
        rows += [[0.0, 0.0, 0.0], [-foot[0], 1.0, 0.0], [-foot[1], 0.0, 1.0]]
        rhs += [c / 2.0, 0.0, 0.0]
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((3, 3)),
        np.array([-1.0, 0.0, 0.0]),
        sparse.csc_matrix(np.array(rows)),
        np.array(rhs),
        [clarabel.SecondOrderConeT(3)] * n,
        settings,
    )
    return float(solver.solve().x[0])


@pytest.mark.parametrize("seed", range(6))
def test_any_pins_against_a_cone_programme(seed: int) -> None:
    rng = np.random.default_rng(seed)
    feet = rng.uniform(0.0, 30.0, (int(rng.integers(2, 12)), 2))
    play = rng.uniform(0.03, 0.12, len(feet))
    assert largest_scale(feet, play) == pytest.approx(by_cones(feet, play), rel=1e-5)


def test_two_pins_with_errors_of_their_own() -> None:
    """Difference of two normal errors: P(|e + sqrt 2 u Z| <= c), exact."""
    e, u, c = 30.0, 12.0, 50.0
    exact = ndtr((c - e) / (math.sqrt(2.0) * u)) - ndtr((-c - e) / (math.sqrt(2.0) * u))
    # 101 strata of the common error.
    assert all_enter(np.array([e]), np.array([1.0]), u, c, 2) == pytest.approx(exact, abs=5e-4)


@pytest.mark.parametrize("count", [3, 4, 6])
def test_more_pins_against_drawing(count: int) -> None:
    """Half a million castings; counting leaves 0.0007, three times that is allowed."""
    rng = np.random.default_rng(count)
    e, u, c = np.array([-20.0, 35.0]), 11.0, 60.0
    weight = np.array([0.4, 0.6])
    drawn = rng.choice(e, 500_000, p=weight)
    side = np.array([-0.5] * (count - count // 2) + [0.5] * (count // 2))
    off = drawn[:, None] * side + u * rng.standard_normal((500_000, count))
    share = float(np.mean(np.ptp(off, axis=1) <= c))
    assert all_enter(e, weight, u, c, count) == pytest.approx(share, abs=0.0025)
