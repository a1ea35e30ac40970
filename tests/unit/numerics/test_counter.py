from __future__ import annotations

import numpy as np

from pinseat.numerics.counter import affine, effects, normals, words


def test_a_trial_is_the_same_alone_and_in_company() -> None:
    many = normals(4, 1, 0, 50, 11)
    assert normals(4, 1, 37, 1, 11).tolist() == many[37:38].tolist()
    assert normals(4, 1, 0, 50, 6).tolist() == many[:, :6].tolist()


def test_streams_and_seeds_are_apart() -> None:
    every = [words(seed, stream, 0, 100, 8) for seed in (0, 1) for stream in (0, 1)]
    assert len(np.unique(every)) == 4 * 800


def test_negative_and_large_seeds_are_taken_as_words() -> None:
    assert words(-1, 0, 0, 2, 4).tolist() == words(2**64 - 1, 0, 0, 2, 4).tolist()


def test_normals_reach_far_and_are_never_infinite() -> None:
    xi = normals(9, 0, 0, 500_000, 4)
    assert np.all(np.isfinite(xi))
    assert 4.5 < np.abs(xi).max() < 6.5


def test_affine_is_the_matrix_product() -> None:
    rng = np.random.default_rng(2)
    factor = np.where(rng.random((9, 6)) < 0.5, rng.normal(size=(9, 6)), 0.0)
    mean, xi, out = rng.normal(size=9), rng.normal(size=(20, 6)), np.empty((20, 9))
    affine(mean, effects(factor), xi, out)
    np.testing.assert_allclose(out, mean + xi @ factor.T, atol=1e-14)
