from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinseat.errors import CompareError
from pinseat.numerics.similarity import best_similarity, rotation_of, turn_of


def some_points(seed: int = 1, count: int = 12) -> np.ndarray:
    return np.random.default_rng(seed).uniform(-20.0, 20.0, (count, 3))


@settings(max_examples=15)
@given(st.integers(0, 10_000), st.floats(0.9, 1.1))
def test_what_was_done_is_found_again(seed, scale):
    rng = np.random.default_rng(seed)
    turn, shift = rng.normal(size=3), rng.normal(0.0, 30.0, 3)
    x = some_points(seed)
    found = best_similarity(x, scale * x @ rotation_of(turn).T + shift)
    assert np.allclose(found.rotation, rotation_of(turn), atol=1e-12)
    assert np.allclose(found.shift, shift, atol=1e-10)
    assert found.scale == pytest.approx(scale, abs=1e-12)
    assert not found.mirrored
    assert np.allclose(found.apply(x), scale * x @ rotation_of(turn).T + shift, atol=1e-10)


def test_the_order_of_points_does_not_matter():
    x, y = some_points(1), some_points(2)
    order = np.random.default_rng(3).permutation(len(x))
    one, other = best_similarity(x, y), best_similarity(x[order], y[order])
    assert np.allclose(one.rotation, other.rotation, atol=1e-12)
    assert np.allclose(one.covariance, other.covariance, rtol=1e-9)


def test_a_mirror_image_is_said_and_never_taken():
    x = some_points()
    found = best_similarity(x, x * [-1.0, 1.0, 1.0])
    assert found.mirrored
    assert np.linalg.det(found.rotation) == pytest.approx(1.0)
    assert np.linalg.norm(found.residual, axis=1).max() > 5.0


def test_a_flat_pattern_is_no_mirror_image():
    x = some_points() * [1.0, 1.0, 0.0]
    assert not best_similarity(x, x @ rotation_of([0.4, 0.2, 0.1]).T).mirrored


@pytest.mark.parametrize("with_scale", [True, False])
@pytest.mark.parametrize("given_covariance", [True, False])
def test_the_covariance_is_what_repetition_shows(with_scale, given_covariance):
    rng = np.random.default_rng(7)
    x, turn = some_points(5, 8), np.array([0.3, -0.2, 0.5])
    truth = x @ rotation_of(turn).T
    each = np.array([np.diag([0.01, 0.01, 0.04]) ** 2] * 4 + [np.diag([0.02, 0.01, 0.01]) ** 2] * 4)
    if not given_covariance:
        each[:] = np.diag([0.01] * 3) ** 2
    root = np.linalg.cholesky(each)
    off, stated = [], []
    for _ in range(400):
        y = truth + np.einsum("nij,nj->ni", root, rng.normal(size=(8, 3)))
        found = best_similarity(x, y, covariance=each if given_covariance else None, with_scale=with_scale)
        middle = found.scale * found.rotation @ (rotation_of(turn).T @ found.middle) + found.shift
        lean = turn_of(found.rotation @ rotation_of(turn).T)
        off.append([*(middle - found.middle), *lean, found.scale - 1.0])
        stated.append(found.covariance)
    count = 7 if with_scale else 6
    mean = np.mean(stated, axis=0)[:count, :count]
    z = np.linalg.solve(np.linalg.cholesky(mean), np.array(off)[:, :count].T)
    assert np.mean(z**2, axis=1) == pytest.approx(np.ones(count), abs=0.25)


def test_too_little_to_go_by_is_refused():
    with pytest.raises(CompareError, match="at least 3"):
        best_similarity(some_points(1, 2), some_points(1, 2))
    line = np.outer(np.arange(5.0), [1.0, 2.0, 3.0])
    with pytest.raises(CompareError, match="on one line"):
        best_similarity(line, line)
