"""Which tooth, which number."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinseat.errors import SurveyError
from pinseat.mesh.model import Mesh
from pinseat.survey.assign import along_arch, number_pins, order_in_arch, teeth_of_pins
from pinseat.survey.find import Standing
from pinseat.survey.surface import Surface

BLANK = Standing(
    np.zeros(3), np.array([0.0, 0.0, 1.0]), 0.65, 3.0, np.eye(4), 0.01, 0.01, 0.01, 0.01, 1.0, 0.1, 100
)


def horseshoe() -> Mesh:
    """A flat strip bent like a lower arch: front towards +y, looking up along +z, patient's right at +x."""
    turn = np.radians(np.linspace(-20.0, 200.0, 120))
    rings = [np.stack([r * np.cos(turn), 1.3 * r * np.sin(turn), 0.0 * turn], axis=1) for r in (20.0, 28.0)]
    i = np.arange(119)
    inner, outer = i, i + 120
    faces = np.concatenate(
        [np.stack([inner, outer, outer + 1], 1), np.stack([inner, outer + 1, inner + 1], 1)]
    )
    return Mesh(np.concatenate(rings), faces.astype(np.int32))


def at(degrees: float) -> np.ndarray:
    """A foot on the strip; 0 is the back right of a lower jaw seen from above, 90 the front."""
    return np.array([24.0 * np.cos(np.radians(degrees)), 31.0 * np.sin(np.radians(degrees)), 0.0])


def standing(*feet: np.ndarray) -> list[Standing]:
    return [replace(BLANK, foot=foot) for foot in feet]


def test_teeth_follow_each_other_from_right_to_left():
    upper = [18, 17, 16, 15, 14, 13, 12, 11, 21, 22, 23, 24, 25, 26, 27, 28]
    lower = [48, 47, 46, 45, 44, 43, 42, 41, 31, 32, 33, 34, 35, 36, 37, 38]
    for row in (upper, lower):
        places = [order_in_arch(tooth) for tooth in row]
        assert places == sorted(places)
        assert len(set(places)) == 16


def test_right_is_front_cross_draw_below_and_the_other_way_above():
    """Front +y, draw +z. Below, the patient looking along +y has the right hand at +x."""
    surface = Surface(horseshoe())
    right, left = at(30.0), at(150.0)
    below, _ = along_arch(np.array([right, left]), surface, upper=False)
    assert below[0] < 0.0 < below[1]
    above, _ = along_arch(np.array([right, left]), surface, upper=True)
    assert above[1] < 0.0 < above[0]


def test_pins_go_to_the_teeth_of_the_case_along_the_arch(made):
    surface = Surface(horseshoe())
    pins = standing(at(70.0), at(150.0), at(66.0), at(147.0), at(62.0))
    below = [made.abutment(43, 3), made.abutment(36, 2)]
    assert teeth_of_pins(pins, below, surface) == [43, 36, 43, 36, 43]
    above = [made.abutment(23, 3), made.abutment(16, 2)]
    assert teeth_of_pins(pins, above, surface) == [23, 16, 23, 16, 23]


def test_a_missing_pin_is_missed_in_its_own_tooth(made):
    pins = standing(at(70.0), at(66.0), at(150.0), at(147.0))
    teeth = teeth_of_pins(pins, [made.abutment(43, 3), made.abutment(36, 2)], Surface(horseshoe()))
    assert teeth == [43, 43, 36, 36]


def test_a_stated_point_on_each_tooth_decides(made):
    pins = standing(at(70.0), at(150.0))
    given = [made.abutment(36, 1, at=tuple(at(145.0))), made.abutment(43, 1, at=tuple(at(75.0)))]
    assert teeth_of_pins(pins, given, Surface(made.mesh)) == [43, 36]


def test_a_point_on_the_wrong_side_of_the_arch_is_refused(made):
    surface, pins = Surface(horseshoe()), standing(at(70.0), at(150.0))

    def teeth(*given: tuple[int, float]) -> list[int]:
        return teeth_of_pins(pins, [made.abutment(t, 1, at=tuple(at(a))) for t, a in given], surface)

    assert teeth((43, 75.0), (36, 145.0)) == [43, 36]
    with pytest.raises(SurveyError, match="36, 43; 36 on the other side; 43 on the other side"):
        teeth((36, 65.0), (43, 145.0))
    with pytest.raises(SurveyError, match="right to the left 43, 44"):
        teeth((43, 60.0), (44, 75.0))
    with pytest.raises(SurveyError, match="46 on the other side"):
        teeth((46, 150.0))


def test_a_scan_of_one_tooth_cannot_tell_and_asks(made):
    with pytest.raises(SurveyError, match="at = "):
        teeth_of_pins(
            standing(at(70.0), at(150.0)), [made.abutment(43, 1), made.abutment(36, 1)], Surface(made.mesh)
        )


def test_fewer_pins_than_teeth_cannot_be_shared_out(made):
    with pytest.raises(SurveyError, match="fewer pins than abutments"):
        teeth_of_pins(standing(at(70.0)), [made.abutment(43, 1), made.abutment(36, 1)], Surface(horseshoe()))


def test_numbers_run_along_the_line_and_from_the_lip_inward(made):
    """Below, from 43 (patient's right, +x) to 33: side by side, the pin farther to the front comes first."""
    draw = np.array([0.0, 0.0, 1.0])
    feet = np.array([[8.0, 0.0, 0], [8.1, 3.0, 0], [6.0, 1.0, 0], [-8.0, 1.0, 0], [-6.0, 1.0, 0]])
    case = [made.abutment(43, 3), made.abutment(33, 2)]
    found = number_pins(feet, [43, 43, 43, 33, 33], case, draw)
    assert found == [(43, 2), (43, 1), (43, 3), (33, 2), (33, 1)]


def test_a_mirrored_case_is_numbered_alike(made):
    rng = np.random.default_rng(5)
    feet = np.concatenate([rng.normal([8, 0, 0], 1.5, (3, 3)), rng.normal([-8, 0, 0], 1.5, (3, 3))])
    draw = np.array([0.0, 0.0, 1.0])
    one = number_pins(feet, [43] * 3 + [33] * 3, [made.abutment(43), made.abutment(33)], draw)
    two = number_pins(feet * [-1, 1, 1], [33] * 3 + [43] * 3, [made.abutment(33), made.abutment(43)], draw)
    assert [number for _, number in one] == [number for _, number in two]
