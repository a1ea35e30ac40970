import numpy as np
import pytest

from pinseat.errors import TrayError
from pinseat.tray import distance
from pinseat.tray.distance import grid_round, plumb_distance


def points() -> np.ndarray:
    rng = np.random.Generator(np.random.Philox(1))
    return rng.uniform([0, 0, 0], [8, 6, 3], (300, 3))


def test_no_node_is_nearer_than_the_nearest_point_and_few_are_farther() -> None:
    """Against every point of the cloud, one by one."""
    p = points()
    grid = grid_round(np.array([-3.0, -3.0, -2.0]), np.array([11.0, 9.0, 7.0]), 0.5)
    far = plumb_distance(grid, p, 4.0)
    at = np.stack(np.meshgrid(*(grid.nodes(a) for a in range(3)), indexing="ij"), axis=-1).reshape(-1, 3)
    flat = ((at[:, None, :2] - p[None, :, :2]) ** 2).sum(axis=2)
    over = np.maximum(at[:, None, 2] - p[None, :, 2], 0.0) ** 2
    exact = np.minimum(np.sqrt((flat + over).min(axis=1)), 4.0)
    outside = exact > 0.75
    off = far.ravel()[outside] - exact[outside]
    assert off.min() > -1e-5
    assert np.percentile(off, 99.0) < 0.02


def test_the_number_of_slabs_does_not_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = grid_round(np.array([-4.0, -4.0, -1.0]), np.array([12.0, 10.0, 7.0]), 0.4)
    given = []
    for slabs in (1, 2, 3):
        monkeypatch.setattr(distance, "SLABS", slabs)
        given.append(plumb_distance(grid, points(), 3.0))
    outside = given[0] > 0.6
    assert np.abs(given[1] - given[0])[outside].max() < 0.02
    assert np.abs(given[2] - given[0])[outside].max() < 0.02


def test_the_same_again_gives_the_same_bytes() -> None:
    grid = grid_round(np.array([-4.0, -4.0, -1.0]), np.array([12.0, 10.0, 7.0]), 0.4)
    assert plumb_distance(grid, points(), 3.0).tobytes() == plumb_distance(grid, points(), 3.0).tobytes()


def test_too_fine_a_grid_is_refused() -> None:
    with pytest.raises(TrayError, match="too fine") as caught:
        grid_round(np.zeros(3), np.array([60.0, 60.0, 30.0]), 0.05)
    assert caught.value.where == "tray.grid_mm"
