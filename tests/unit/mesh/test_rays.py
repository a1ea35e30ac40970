import numpy as np
import pytest

from pinseat.errors import ScanError
from pinseat.mesh.model import Mesh
from pinseat.mesh.rays import Rays


def scattered(seed: int, shift: np.ndarray) -> tuple[Mesh, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    middle = rng.uniform(-30.0, 30.0, (400, 1, 3))
    corners = middle + rng.normal(scale=4.0, size=(400, 3, 3)) + shift
    mesh = Mesh(corners.reshape(-1, 3), np.arange(1200, dtype=np.int32).reshape(-1, 3))
    return mesh, rng.uniform(-30.0, 30.0, (300, 3)) + shift, rng.normal(size=(300, 3))


def by_linear_equations(mesh: Mesh, origins: np.ndarray, directions: np.ndarray) -> np.ndarray:
    """Solve a + u (b - a) + v (c - a) = o + t d for every ray and triangle, in double precision."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    way = directions / np.linalg.norm(directions, axis=1, keepdims=True)
    matrix = np.empty((len(origins), len(a), 3, 3))
    matrix[..., 0], matrix[..., 1], matrix[..., 2] = b - a, c - a, -way[:, None]
    u, v, t = np.linalg.solve(matrix, (origins[:, None] - a)[..., None])[..., 0].transpose(2, 0, 1)
    return np.where((u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0), t, np.inf)


@pytest.mark.parametrize("shift", [0.0, 5000.0])
def test_rays_meet_what_linear_equations_say_wherever_the_scan_lies(shift: float) -> None:
    mesh, origins, directions = scattered(3, np.array([shift, -shift, 2.0 * shift]))
    every = by_linear_equations(mesh, origins, directions)
    wanted = every.min(axis=1)
    rays = Rays(mesh)
    assert 100 < np.isfinite(wanted).sum() < 290
    np.testing.assert_allclose(rays.distance(origins, directions), wanted, atol=5e-5)
    np.testing.assert_array_equal(rays.blocked(origins, directions), np.isfinite(wanted))
    first = np.where(np.isfinite(wanted), every.argmin(axis=1), -1)
    np.testing.assert_array_equal(rays.first_face(origins, directions), first)


def test_one_direction_serves_all_rays_and_its_length_does_not_matter() -> None:
    mesh, origins, _ = scattered(4, np.zeros(3))
    rays = Rays(mesh)
    one = rays.distance(origins, (0.0, 3.0, 4.0))
    np.testing.assert_array_equal(one, rays.distance(origins, np.tile([0.0, 0.6, 0.8], (300, 1))))
    assert np.isfinite(one).any()


def test_no_ray_slips_between_triangles() -> None:
    """Rays aimed at the edges and corners of a closed surface."""
    corners = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1.0]])
    faces = [(0, 2, 4), (2, 1, 4), (1, 3, 4), (3, 0, 4), (2, 0, 5), (1, 2, 5), (3, 1, 5), (0, 3, 5)]
    mesh = Mesh(corners, np.array(faces, np.int32))
    share = np.linspace(0.0, 1.0, 101)[:, None, None, None]
    ends = corners[mesh.faces], corners[np.roll(mesh.faces, 1, axis=1)]
    targets = (share * ends[0] + (1.0 - share) * ends[1]).reshape(-1, 3)
    assert Rays(mesh).blocked(np.zeros_like(targets), targets).all()


def test_a_point_that_no_triangle_uses_does_not_cost_precision() -> None:
    flat = Mesh(np.array([[0.0, 0, 5], [4, 0, 5], [0, 4, 5], [1e9, 0, 0]]), np.array([[0, 1, 2]], np.int32))
    assert Rays(flat).distance([[1.0, 1.0, 2.0]], (0, 0, 1))[0] == pytest.approx(3.0, abs=1e-6)


def test_a_scan_without_triangles_is_refused() -> None:
    with pytest.raises(ScanError, match="no surface"):
        Rays(Mesh(np.zeros((3, 3)), np.empty((0, 3), np.int32)))
