from __future__ import annotations

import numpy as np
import pytest

from pinseat.compare.certain import judged, with_certain
from pinseat.compare.model import PinChange


def pin(change: np.ndarray, covariance: np.ndarray, depth: bool = True) -> PinChange:
    u = np.sqrt(np.diag(covariance))
    return PinChange(
        name="11-1",
        shift_um=1e3 * float(np.hypot(*change[:2])),
        u_shift_um=1e3 * float(u[0]),
        tilt_deg=float(np.degrees(np.hypot(*change[2:4]))),
        u_tilt_deg=float(np.degrees(u[2])),
        depth_um=1e3 * float(change[4]) if depth else None,
        u_depth_um=1e3 * float(u[4]) if depth else None,
        diameter_um=1e3 * float(change[5]),
        u_diameter_um=1e3 * float(u[5]),
        change=change,
        covariance=covariance,
        whole=change[:4],
        certain=(),
    )


def covariance() -> np.ndarray:
    """Unequal directions that hang together, as a wall seen from one side gives."""
    u = np.diag([0.002, 0.004, 0.001, 0.002, 0.004, 0.001])
    together = np.eye(6)
    together[0, 1] = together[1, 0] = 0.6
    together[0, 2] = together[2, 0] = -0.4
    return u @ together @ u


def test_where_nothing_changed_false_alarms_keep_to_the_stated_rate():
    """2,000 comparisons of eight pins: one in a hundred may cry wolf (binomial, three standard
    deviations).
    """
    rng = np.random.default_rng(1)
    root, c = np.linalg.cholesky(covariance()), covariance()
    alarms = sum(
        any(one.certain for one in with_certain([pin(root @ rng.normal(size=6), c) for _ in range(8)]))
        for _ in range(2000)
    )
    assert alarms <= 20 + 3.0 * np.sqrt(20)
    assert alarms >= 20 - 3.0 * np.sqrt(20)


@pytest.mark.parametrize(
    ("at", "size", "word"),
    [
        (0, 0.03, "moved"),
        (3, 0.02, "bent"),
        (4, 0.08, "farther out"),
        (4, -0.08, "farther in"),
        (5, 0.01, "thicker"),
        (5, -0.01, "thinner"),
    ],
)
def test_each_kind_of_change_is_named(at, size, word):
    change = np.zeros(6)
    change[at] = size
    assert with_certain([pin(change, covariance())])[0].certain == (word,)


def test_a_depth_that_was_not_seen_is_not_judged():
    change = np.zeros(6)
    change[4] = np.nan
    assert with_certain([pin(change, covariance(), depth=False)])[0].certain == ()


def test_one_changed_pin_does_not_make_others_suspect():
    """Holm's rule only ever tightens the next check by one."""
    still = np.array([0.0, 0.0, 0.0, 0.0, 0.008, 0.0])  # two standard uncertainties
    pulled = np.array([0.0, 0.0, 0.0, 0.0, 0.08, 0.0])
    found = with_certain([pin(pulled, covariance()), *[pin(still, covariance())] * 5])
    assert [one.certain for one in found] == [("farther out",), (), (), (), (), ()]


@pytest.mark.parametrize(
    ("change", "u", "certain", "said"),
    [
        (80.0, 4.0, True, "stop"),
        (55.0, 10.0, True, "caution"),
        (20.0, 2.0, True, "caution"),
        (20.0, 10.0, False, "clear"),
        (20.0, 25.0, False, "cannot tell"),
    ],
)
def test_the_guard_band_decides(change, u, certain, said):
    assert judged(change, u, 50.0, certain) == said
    assert judged(-change, u, 50.0, certain) == said
