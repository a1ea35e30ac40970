from __future__ import annotations

import numpy as np
import pytest

from pinseat.ledger.pins import Pin, PinField
from pinseat.mesh.model import Mesh
from pinseat.report.arch import COPPER, arch_picture, pin_colours
from pinseat.report.orientation import upwards
from pinseat.report.style import look

DRAW = np.array([0.0, 0.0, 1.0])
SHEET = Mesh(
    np.array([[0.0, 0, 0], [9.0, 0, 0], [0.0, 1, 0], [9.0, 1, 0]]), np.array([[0, 1, 2], [1, 3, 2]], np.int32)
)


def standing(places: dict[int, tuple[float, float]]) -> PinField:
    pins = tuple(
        Pin(t, 1, np.array([x, y, 0.0]), DRAW, 0.6, 3.0, 0.0, 0.0, 0.0) for t, (x, y) in places.items()
    )
    return PinField(pins, np.zeros((4 * len(pins), 4 * len(pins))), "scan")


@pytest.mark.parametrize(
    ("places", "up"),
    [
        ({11: (-4.0, 0.0), 22: (9.0, 0.0)}, (0.0, 1.0)),
        ({22: (9.0, 0.0), 11: (-4.0, 0.0)}, (0.0, 1.0)),
        ({11: (4.0, 0.0), 22: (-9.0, 0.0)}, (0.0, -1.0)),
        ({33: (10.0, 0.0), 43: (-10.0, 0.0)}, (0.0, 1.0)),
        ({14: (-20.0, 0.0), 16: (-24.0, -15.0)}, (4.0, 15.0)),
        ({24: (20.0, 0.0), 26: (24.0, -15.0)}, (-4.0, 15.0)),
        ({34: (20.0, 0.0), 36: (24.0, 15.0)}, (4.0, 15.0)),
        ({44: (-20.0, 0.0), 46: (-24.0, 15.0)}, (-4.0, 15.0)),
    ],
)
def test_the_patients_right_is_on_the_left(places, up) -> None:
    """Upper teeth are seen with the incisors on top, lower teeth with the molars on top."""
    expected = np.array([*up, 0.0]) / np.hypot(*up)
    assert upwards(SHEET, standing(places), DRAW) == pytest.approx(expected)


def test_one_tooth_alone_lies_along_the_longer_side() -> None:
    assert abs(upwards(SHEET, standing({11: (1.0, 0.5)}), DRAW)[1]) == pytest.approx(1.0)


def test_only_the_pins_are_copper() -> None:
    points = np.array(
        [[0.0, 0, 2.0], [0.3, 0, 1.0], [0.0, 0, 3.0], [0.0, 0, -1.0], [0.6, 0, 1.0], [0.0, 0, 3.6]]
    )
    colours = pin_colours(Mesh(points, np.array([[0, 1, 2]], np.int32)), standing({11: (0.0, 0.0)}))
    assert (colours == COPPER).all(axis=1).tolist() == [True, True, True, False, False, False]


@pytest.mark.parametrize("name", ["home", "twelve", "many"])
def test_every_name_stands_beside_its_own_pin_on_the_page(name: str, request) -> None:
    made = request.getfixturevalue(name)
    with look():
        axes = arch_picture(made.mesh, made.survey.field, made.survey.window.centre).axes[0]
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    assert [text.get_text() for text in axes.texts] == [pin.name for pin in made.survey.field.pins]
    assert all(left < x < right and top < y < bottom for x, y in (text.get_position() for text in axes.texts))
