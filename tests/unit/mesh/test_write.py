import numpy as np

from pinseat.mesh.parse import parse
from pinseat.mesh.write import ply_bytes, stl_bytes


def test_stl_there_and_back(ball):
    mesh = ball(10.0, 3)
    data = stl_bytes(mesh)
    assert len(data) == 84 + 50 * len(mesh.faces)
    assert not data.startswith(b"solid")
    back = parse(data, "STL")
    np.testing.assert_allclose(
        back.vertices[back.faces], mesh.vertices[mesh.faces], rtol=2.0**-24, atol=1e-12
    )


def test_ply_there_and_back_to_the_last_bit(ball):
    mesh = ball(10.0, 3)
    for colours in (None, np.full((len(mesh.vertices), 3), 7, np.uint8)):
        back = parse(ply_bytes(mesh, colours), "PLY")
        np.testing.assert_array_equal(back.vertices[back.faces], mesh.vertices[mesh.faces])


def test_same_mesh_same_bytes(ball):
    assert stl_bytes(ball()) == stl_bytes(ball())
    assert ply_bytes(ball()) == ply_bytes(ball())
