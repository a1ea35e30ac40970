"""The chain of scales against closed forms, published figures and JCGM 100/101."""

import math

import numpy as np
import pytest
from scipy.optimize import linprog

from pinseat.casting.scale import net_scale, probability_within, span_error_um, wanted_scale
from pinseat.ledger.rows import Entry, Row
from pinseat.reference import value


def row(copy: str, mean: float, u: float = 0.0) -> Row:
    nil = Entry(0.0, 0.0, "um", "assumed", "test")
    return Row(copy, "test", Entry(mean, u, "%", "assumed", "test"), nil, nil, nil)


@pytest.mark.parametrize(
    ("shrinkage_percent", "factor"),
    [(1.25, 1.012658), (1.42, 1.014405), (1.56, 1.015847), (2.30, 1.023541)],
)
def test_mould_factor_is_the_inverse_of_one_less_the_shrinkage(
    shrinkage_percent: float, factor: float
) -> None:
    """Closed form: a mould larger by k gives a casting k (1 - s); k (1 - s) = 1 gives k = 1/(1 - s).

    Worked by hand to six decimals, hence half a unit of the last. The wrong rule 1 + s misses by s^2.
    """
    wanted = wanted_scale([row("alloy", -shrinkage_percent)], "investment")
    assert 1.0 + wanted / 100.0 == pytest.approx(factor, abs=5e-7)
    assert abs(1.0 + shrinkage_percent / 100.0 - factor) > 1e-4


def test_factors_multiply_over_a_span() -> None:
    """Span 31.40 mm, mould +1.40 %, alloy -1.52 %: worked by hand.

    31.40 x (1.0140 x 0.9848 - 1) = 31.40 x (-0.0014128) = -0.04436 mm; adding the two gives -0.0377 mm.
    """
    net = net_scale([row("investment", 1.40), row("alloy", -1.52)])
    assert span_error_um(net.mean, 31.40) == pytest.approx(-44.36, abs=0.005)


@pytest.mark.parametrize(
    ("scale_percent", "span_mm", "error_um"),
    [(0.2, 20.0, 40.0), (0.45, 3.0, 13.5), (100.0 * 150e-6 * 10.0, 20.0, 30.0)],
)
def test_span_error_budget(scale_percent: float, span_mm: float, error_um: float) -> None:
    """Worked by hand: 0.2 % of 20 mm; 0.45 % of a 3 mm wall; 150e-6 per kelvin over 10 K and 20 mm."""
    assert span_error_um(scale_percent, span_mm) == pytest.approx(error_um, rel=1e-12)


@pytest.mark.parametrize(
    ("failed_name", "seats"),
    [
        ("investment.gold.expansion_that_failed_percent", False),
        ("investment.gold.expansion_that_seated_percent", True),
    ],
)
def test_gold_needs_more_than_one_and_a_quarter_per_cent(failed_name: str, seats: bool) -> None:
    """Published (resume of the expansion required for gold castings, abstract).

    On a steel die a casting with 1.25 % of combined expansion could not be seated, with 1.50 % and more it
    could. A closed casting goes onto its own die only when it is not smaller than the die: net scale >= 0.
    """
    alloy = value("ledger.alloy.gold_type_3.scale_percent").value
    net = net_scale([row("investment", value(failed_name).value), row("alloy", alloy)])
    assert (net.mean >= 0.0) is seats


@pytest.mark.parametrize(
    ("clearance_um", "span_mm", "largest_percent"),
    [
        (100.0, 10.0, 1.0),
        (100.0, 20.0, 0.5),
        (100.0, 30.0, 0.3333),
        (50.0, 10.0, 0.5),
        (50.0, 20.0, 0.25),
        (50.0, 30.0, 0.1667),
    ],
)
def test_largest_scale_two_pins_survive(clearance_um: float, span_mm: float, largest_percent: float) -> None:
    """|s| S <= c, and a linear programme that never heard of that formula.

    The programme finds the least radial play r with which both pins, shifted together by t, stay in their
    holes: |x_i s - t| <= r. Table to four decimals, hence 5e-5 %.
    """
    feet = np.array([0.0, span_mm])
    ends = np.concatenate([feet, -feet]) * largest_percent * 10.0
    found = linprog(
        c=[0.0, 1.0],
        A_ub=np.array([[-1.0, -1.0], [-1.0, -1.0], [1.0, -1.0], [1.0, -1.0]]),
        b_ub=-ends,
        bounds=[(None, None), (0.0, None)],
    )
    slack = 5e-5 * 10.0 * span_mm
    assert 2.0 * found.fun == pytest.approx(clearance_um, abs=slack)
    error = span_error_um(largest_percent, span_mm)
    assert probability_within(error - slack, 0.0, clearance_um) == 1.0
    assert probability_within(error + slack, 0.0, clearance_um) == 0.0


@pytest.mark.parametrize(
    ("z", "inside"), [(1.0, 0.6827), (1.645, 0.9000), (1.960, 0.9500), (2.576, 0.9900), (3.0, 0.9973)]
)
def test_probability_within_matches_the_normal_table(z: float, inside: float) -> None:
    """Two-sided coverage of the normal distribution, JCGM 100 table G.1 (from memory), to 4 decimals."""
    assert probability_within(0.0, 1.0, z) == pytest.approx(inside, abs=1e-4)


def test_one_sided_guard_factor_of_iso_14253() -> None:
    """ISO 14253-1 (from memory): one limit, 95 %: guard band 1.65 u. The other limit is 38 u away."""
    assert probability_within(100.0 - 1.65 * 5.0, 5.0, 100.0) == pytest.approx(0.95, abs=6e-4)


@pytest.mark.parametrize("copies", ["front", "wide"])
def test_propagated_uncertainty_agrees_with_monte_carlo(copies: str) -> None:
    """JCGM 101 clause 8: validate the law of propagation by drawing from the distributions it summarises.

    Rectangular bands (half-width u sqrt 3), a million draws: the counting alone leaves 1e-3 of u in the mean
    and 0.7e-3 of u in u; four times that is allowed, and 1e-3 of u for the neglected second order.
    """
    bands = {
        "front": [(0.0, 0.10), (0.0, 0.12), (-0.21, 0.12), (1.7, 0.15), (-1.42, 0.06)],
        "wide": [(0.0, 0.26), (0.1, 0.06), (-0.3, 0.17), (2.0, 0.29), (-2.3, 0.12)],
    }[copies]
    net = net_scale([row(str(i), mean, u) for i, (mean, u) in enumerate(bands)])
    rng = np.random.default_rng(20)
    factor = np.ones(1_000_000)
    for mean, u in bands:
        factor *= 1.0 + rng.uniform(mean - u * math.sqrt(3.0), mean + u * math.sqrt(3.0), factor.size) / 100.0
    drawn = 100.0 * (factor - 1.0)
    assert drawn.mean() == pytest.approx(net.mean, abs=5e-3 * net.u)
    assert drawn.std() == pytest.approx(net.u, rel=4e-3)


def test_propagated_uncertainty_agrees_with_two_factor_closed_form() -> None:
    """var(XY) = mx^2 vy + my^2 vx + vx vy exactly for independent X, Y; first order drops the last term."""
    net = net_scale([row("investment", 1.7, 0.15), row("alloy", -1.42, 0.06)])
    mx, my, vx, vy = 1.017, 0.9858, 0.0015**2, 0.0006**2
    exact = 100.0 * math.sqrt(mx**2 * vy + my**2 * vx + vx * vy)
    assert net.u == pytest.approx(exact, rel=1e-6)
    assert net.mean == pytest.approx(100.0 * (mx * my - 1.0), rel=1e-12)
