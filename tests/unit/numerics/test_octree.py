from __future__ import annotations

import numpy as np
import pytest

from pinseat.numerics import octree
from pinseat.numerics.cutcell import corners, cut, open_share, pieces


def ball(centre: tuple[float, float, float], radius: float):
    return lambda points: np.linalg.norm(points - np.array(centre), axis=1) - radius


def tree_about(shape, edge: float = 0.4) -> octree.Octree:
    return octree.grow(
        np.array([-1.0, 0.3, 2.0]),
        np.array([11.8, 13.1, 14.8]),
        3.2,
        round(np.log2(3.2 / edge)),
        lambda p, h: np.abs(shape(p)) < 1.5 * h,
    )


SHAPE = ball((5.3, 6.1, 8.7), 3.1)


def test_cells_fill_the_box_once_and_neighbours_differ_by_one_halving():
    tree = tree_about(SHAPE)
    assert np.sum(tree.edge_mm**3) == pytest.approx(12.8**3)
    rng = np.random.default_rng(1)
    points = tree.low + rng.uniform(0.0, 12.8, (2000, 3))
    holds = np.abs(points[:, None] - tree.centre).max(axis=2) < 0.5 * tree.edge_mm
    assert np.all(holds.sum(axis=1) == 1)
    found = octree.faces(tree)
    ratio = tree.width[found.second] / tree.width[found.first]
    assert set(np.unique(ratio)) == {1.0, 2.0}
    np.testing.assert_array_equal(ratio == 2.0, found.coarse)


def test_every_face_of_every_cell_is_met_once():
    tree = tree_about(SHAPE)
    found = octree.faces(tree)
    area = np.zeros(len(tree.width))
    square = tree.edge_mm[found.first] ** 2
    np.add.at(area, found.first, square)
    np.add.at(area, found.second, square)
    np.add.at(area, found.border, tree.edge_mm[found.border] ** 2)
    np.testing.assert_allclose(area, 6.0 * tree.edge_mm**2)


def test_more_cells_than_memory_are_refused():
    with pytest.raises(ValueError, match="cells"):
        octree.grow(np.zeros(3), np.full(3, 1000.0), 3.2, 4, lambda p, h: np.full(len(p), True))


@pytest.mark.parametrize("edge", [0.8, 0.4])
def test_volume_and_wall_of_a_ball_are_of_second_order(edge):
    tree = tree_about(SHAPE, edge)
    at = corners(tree, SHAPE(tree.centre))
    now = cut(tree, octree.faces(tree), at, SHAPE(tree.centre), SHAPE(at.point))
    area = np.linalg.norm(now.wall, axis=1).sum()
    bound = 0.4 * (edge / 3.1) ** 2
    assert abs(area / (4.0 * np.pi * 3.1**2) - 1.0) < bound
    assert abs((12.8**3 - now.volume_mm3.sum()) / (4.0 / 3.0 * np.pi * 3.1**3) - 1.0) < bound


def test_a_slanted_plane_is_cut_exactly():
    normal = np.array([2.0, -1.0, 2.0]) / 3.0
    plane = lambda p: (p - np.array([5.1, 6.3, 8.2])) @ normal  # noqa: E731
    tree = tree_about(plane, 0.8)
    found, at = octree.faces(tree), corners(tree, plane(tree.centre))
    now = cut(tree, found, at, plane(tree.centre), plane(at.point))
    wall = np.linalg.norm(now.wall, axis=1)
    big = wall > 0.05
    np.testing.assert_allclose(now.wall[big] / wall[big, None], np.tile(normal, (big.sum(), 1)), atol=1e-9)
    inside = np.flatnonzero(at.row >= 0)
    exact = _volumes(tree, plane, inside)
    np.testing.assert_allclose(now.volume_mm3[inside], exact, atol=0.02)


def _volumes(tree: octree.Octree, plane, cells: np.ndarray) -> np.ndarray:
    """Share of a fine lattice on the positive side."""
    line = (np.arange(24) + 0.5) / 24 - 0.5
    offset = np.stack(np.meshgrid(line, line, line, indexing="ij"), axis=-1).reshape(-1, 3)
    edge = tree.edge_mm[cells]
    points = tree.centre[cells][:, None, :] + offset * edge[:, None, None]
    share = (plane(points.reshape(-1, 3)) > 0.0).reshape(len(cells), -1).mean(axis=1)
    return share * edge**3


@pytest.mark.parametrize(
    ("values", "share", "length"),
    [
        ((1.0, 1.0, 1.0, 1.0), 1.0, 0.0),
        ((-1.0, -1.0, -1.0, -1.0), 0.0, 0.0),
        ((1.0, 1.0, -1.0, -1.0), 0.5, 1.0),
        ((1.0, -1.0, -1.0, -1.0), 0.125, np.sqrt(0.5)),
        ((-1.0, 1.0, 1.0, 1.0), 0.875, np.sqrt(0.5)),
        ((1.0, -2.0, 1.0, -2.0), 2.0 * 0.5 / 9.0, 0.0),
    ],
)
def test_open_share_of_a_square(values, share, length):
    assert open_share(*values) == pytest.approx((share, length))


def test_pieces_of_a_plane_add_up():
    lattice = np.stack(np.meshgrid(*[np.linspace(0.0, 1.0, 5)] * 3, indexing="ij"), axis=-1)
    area = pieces((lattice[..., 0] - 0.33)[None], np.array([0.25]))
    assert area.sum() == pytest.approx(1.0)
