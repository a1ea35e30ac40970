"""White noise of known size on bodies of known shape."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinseat.mesh.model import Mesh
from pinseat.mesh.noise import noise_um
from pinseat.mesh.topology import vertex_normals


def shaken(mesh: Mesh, sigma_um: float, seed: int, only_outward: bool = False) -> Mesh:
    rng = np.random.default_rng(seed)
    if only_outward:
        shift = vertex_normals(mesh) * rng.normal(size=(len(mesh.vertices), 1))
    else:
        shift = rng.normal(size=mesh.vertices.shape)
    return Mesh(mesh.vertices + 1e-3 * sigma_um * shift, mesh.faces)


@pytest.mark.parametrize("sigma_um", [5.0, 10.0, 20.0])
@pytest.mark.parametrize("only_outward", [False, True])
@pytest.mark.parametrize(
    ("shape", "step"),
    [
        (lambda x, y: 0.3 * x, 0.15),
        (lambda x, y: np.sqrt(400.0 - x**2 - y**2), 0.15),
        (lambda x, y: 0.5 * np.sin(1.2 * x) * np.cos(1.2 * y), 0.10),
        (lambda x, y: 2.0 * np.abs(np.mod(x, 4.0) - 2.0), 0.10),
    ],
    ids=["plane", "ball", "waves of 1.4 mm radius", "roofs"],
)
def test_white_noise_is_found_within_a_fifth(sheet, shape, step, sigma_um, only_outward):
    mesh = shaken(sheet(shape, 12.0, step), sigma_um, 7, only_outward)
    assert noise_um(mesh) == pytest.approx(sigma_um, rel=0.20)


def test_a_ball_all_around(ball):
    assert noise_um(shaken(ball(10.0, 6), 10.0, 3)) == pytest.approx(10.0, rel=0.10)


def test_no_noise_on_a_clean_body(ball):
    assert noise_um(ball(10.0, 6)) < 0.5


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_it_does_not_depend_on_pose(seed):
    rng = np.random.default_rng(seed)
    points = np.column_stack((rng.uniform(-5, 5, (3000, 2)), rng.normal(0, 0.01, 3000)))
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    faces = np.array([[0, 1, 2]], np.int32)
    still, moved = (noise_um(Mesh(p, faces)) for p in (points, points @ turn.T + rng.uniform(-50, 50, 3)))
    assert moved == pytest.approx(still, rel=1e-6)


def test_too_few_or_doubled_points_give_no_number(cube, ball):
    assert noise_um(cube()) is None
    mesh = ball(10.0, 4)
    assert noise_um(Mesh(mesh.vertices[mesh.faces.ravel()], mesh.faces)) is None
