import numpy as np
import pytest

from pinseat.mesh.model import Mesh
from pinseat.mesh.unit_guess import guess_unit


def wide(size: float) -> Mesh:
    corners = np.array([[0.0, 0, 0], [size, 0, 0], [0, 0.8 * size, 0], [0, 0, 0.2 * size]])
    return Mesh(corners, np.array([[0, 1, 2], [0, 1, 3]], np.int32))


@pytest.mark.parametrize("size", [13.0, 18.4, 58.0, 75.0, 109.0])
def test_millimetres_need_no_question(size):
    guess = guess_unit(wide(size))
    assert (guess.unit, guess.question) == ("mm", "")


@pytest.mark.parametrize(
    ("size", "unit", "asks"),
    [
        (0.06, "m", 'in metres? It is 0.06 wide, which would be 60 mm. Say so with unit = "m"'),
        (2.4, None, "in centimetres or inches? It is 2.4 wide, which would be 24 mm or 61 mm."),
        (6.1, "cm", "in centimetres? It is 6.1 wide, which would be 61 mm."),
        (0.7, "in", "in inches?"),
        (58000.0, "um", "in micrometres? It is 58000 wide, which would be 58 mm."),
        (400.0, None, "What unit is this scan in? It is 400 wide."),
        (0.0, None, "What unit is this scan in?"),
    ],
)
def test_everything_else_is_asked_about(size, unit, asks):
    guess = guess_unit(wide(size))
    assert guess.unit == unit
    assert asks in guess.question
    assert guess.reason


def test_a_speck_far_away_does_not_count(ball):
    mesh = ball(29.0, 5)
    vertices = mesh.vertices.copy()
    vertices[100] = [5000.0, 0.0, 0.0]
    assert guess_unit(Mesh(vertices, mesh.faces)).unit == "mm"


def test_nothing_is_rescaled():
    mesh = wide(0.06)
    before = mesh.vertices.copy()
    guess_unit(mesh)
    np.testing.assert_array_equal(mesh.vertices, before)
