import numpy as np

from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest
from pinseat.tray.cast import cast_of, curtained, surface_points
from pinseat.tray.pocket import Pocket

from .conftest import pins


def plate(size: float, step: float, keep: object = None) -> Mesh:
    n = round(size / step) + 1
    x, y = np.meshgrid(np.linspace(0.0, size, n), np.linspace(0.0, size, n), indexing="ij")
    number = np.arange(n * n).reshape(n, n)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    faces = np.concatenate([np.stack((a, b, c), -1).reshape(-1, 3), np.stack((a, c, d), -1).reshape(-1, 3)])
    return Mesh(np.column_stack((x.ravel(), y.ravel(), 0.0 * x.ravel())), faces.astype(np.int32))


def without(mesh: Mesh, gone: np.ndarray) -> Mesh:
    return Mesh(mesh.vertices, np.ascontiguousarray(mesh.faces[~gone[mesh.faces].any(axis=1)]))


def test_a_gap_is_closed_and_its_rim_is_no_border() -> None:
    flat = plate(20.0, 0.4)
    hole = np.linalg.norm(flat.vertices[:, :2] - 10.0, axis=1) < 2.0
    cast = cast_of(without(flat, hole), ())
    assert len(cast.holes) == 1
    assert abs(cast.holes[0] - np.pi * 2.2**2) < 4.0
    row, column = np.rint(cast.top.to_pixel(np.array([[10.0, 10.0, 0.0]]))[0, :2]).astype(int)
    assert cast.top.height[row, column] == np.float64(0.0)
    assert np.linalg.norm(cast.rim[:, :2] - 10.0, axis=1).min() > 9.0
    assert np.linalg.norm(cast.points[:, :2] - 10.0, axis=1).min() < 0.2


def test_a_large_gap_stays_open_and_bounds_the_tray() -> None:
    flat = plate(24.0, 0.4)
    hole = np.linalg.norm(flat.vertices[:, :2] - 12.0, axis=1) < 6.0
    cast = cast_of(without(flat, hole), ())
    assert cast.holes == ()
    assert np.linalg.norm(cast.rim[:, :2] - 12.0, axis=1).min() < 7.0


def test_a_crumb_in_the_air_is_left_out() -> None:
    flat = plate(20.0, 0.4)
    crumb = np.array([[9.0, 9.0, 8.0], [9.3, 9.0, 8.0], [9.0, 9.3, 8.0]])
    size = len(flat.vertices)
    both = Mesh(
        np.concatenate((flat.vertices, crumb)),
        np.concatenate((flat.faces, [[size, size + 1, size + 2]])).astype(np.int32),
    )
    assert cast_of(both, ()).points[:, 2].max() == 0.0


def test_the_scanned_pins_are_left_out_and_their_feet_kept(scan: Mesh) -> None:
    pockets = [Pocket(p.name, p.foot, p.axis, p.protrusion_mm, 0.5 * p.diameter_mm) for p in pins().pins]
    cast = cast_of(scan, pockets)
    above = cast.points[(np.abs(cast.points[:, :2]) < [3.0, 2.0]).all(axis=1)]
    assert scan.vertices[(np.abs(scan.vertices[:, :2]) < [3.0, 2.0]).all(axis=1), 2].max() > 6.5
    assert above[:, 2].max() < 4.6
    assert not cast.bare.all()


def test_curtains_hang_from_what_overhangs() -> None:
    """A plate in the air: beside it and below, the nearest place is on its curtain, straight across."""
    hung = curtained(plate(10.0, 1.0), 6.0)
    far = Nearest(hung).search([[13.0, 5.0, -2.0], [5.0, 5.0, 4.0], [13.0, 5.0, 4.0]]).distance_mm
    assert np.allclose(np.abs(far), [3.0, 4.0, 5.0], atol=1e-9)


def test_points_of_a_large_triangle_lie_on_it_and_leave_no_gap() -> None:
    one = Mesh(np.array([[0.0, 0, 0], [3, 0, 1], [0, 3, 1]]), np.array([[0, 1, 2]], np.int32))
    points = surface_points(one, 0.2)
    assert np.allclose(points[:, 2], (points[:, 0] + points[:, 1]) / 3.0)
    rng = np.random.Generator(np.random.Philox(2))
    u, v = rng.dirichlet((1.0, 1.0, 1.0), 200)[:, :2].T
    somewhere = np.column_stack((3.0 * u, 3.0 * v, u + v))
    assert max(np.linalg.norm(points - q, axis=1).min() for q in somewhere) < 0.2
