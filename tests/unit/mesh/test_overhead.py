import numpy as np

from pinseat.mesh import overhead
from pinseat.mesh.model import Mesh
from pinseat.mesh.overhead import covered
from pinseat.mesh.rays import Rays


def heap(seed: int, count: int = 600) -> Mesh:
    """Triangles of very unlike sizes, some of them edge-on."""
    rng = np.random.default_rng(seed)
    size = 10.0 ** rng.uniform(-1.5, 1.2, (count, 1, 1))
    corners = rng.uniform(-20.0, 20.0, (count, 1, 3)) + size * rng.normal(size=(count, 3, 3))
    corners[: count // 20, :, 0] = corners[: count // 20, :1, 0]
    return Mesh(corners.reshape(-1, 3), np.arange(3 * count, dtype=np.int32).reshape(-1, 3))


def test_the_same_stands_over_a_place_as_a_ray_tracer_finds() -> None:
    mesh = heap(1)
    points = np.random.default_rng(2).uniform(-40.0, 40.0, (20_000, 3))
    found = covered(mesh, points)
    assert 0.2 < found.mean() < 0.8
    assert np.array_equal(found, Rays(mesh).blocked(points, (0.0, 0.0, 1.0)))


def test_no_line_slips_between_the_triangles_of_a_closed_body(ball) -> None:
    """From every corner, and from the middle of every side, of the lower half of a ball."""
    mesh = ball(8.0, 3)
    middles = 0.5 * (mesh.vertices[mesh.faces] + mesh.vertices[np.roll(mesh.faces, 1, axis=1)]).reshape(-1, 3)
    points = np.concatenate((mesh.vertices, middles))
    assert covered(mesh, points[points[:, 2] < -0.01]).all()
    assert not covered(mesh, 1.001 * points[points[:, 2] > 0.01]).any()


def test_order_and_chunks_change_nothing_and_nothing_covers_nothing(monkeypatch) -> None:
    mesh, points = heap(3), np.random.default_rng(4).uniform(-40.0, 40.0, (500, 3))
    one = covered(mesh, points)
    monkeypatch.setattr(overhead, "CHUNK", 7)
    shuffled = Mesh(mesh.vertices, np.random.default_rng(5).permutation(mesh.faces))
    assert np.array_equal(covered(shuffled, points), one)
    assert not covered(Mesh(mesh.vertices, mesh.faces[:0]), points).any()
    assert len(covered(mesh, points[:0])) == 0
