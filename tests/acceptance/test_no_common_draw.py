"""Two teeth whose draws do not meet: how far apart they are, what blocks, and what to cut.

Tooth 11 lets go draws that lean 3 to 9 degrees to the left, tooth 21 draws from 8 to 2 degrees to the right
(-8 to -2), in one plane; across it both let go 6 degrees either way. All walls are 4 mm high. By hand:
the nearest draws, 3 and -2, are 5 degrees apart; 4 mm x tan(2.5 deg) = 0.1746 mm and 4 mm x tan(5 deg) =
0.3500 mm at the top of a wall.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from pinseat.survey.correction import cheapest, on_one_tooth
from pinseat.survey.window import Wall, window

UP = np.array([0.0, 0.0, 1.0])


def tooth(number: int, least_deg: float, most_deg: float) -> list[Wall]:
    """Four walls, each 60 facets wide and bent a little, as a scan shows them."""

    def side(name: str, round_deg: float, open_deg: float) -> Wall:
        turn = np.radians(round_deg + np.linspace(-12.0, 12.0, 60))
        # more open towards the corners than in the middle, so that the corners do not bind
        lean = np.radians(open_deg + np.linspace(-1.0, 1.0, 60) ** 2)
        normals = np.stack([np.cos(turn) * np.cos(lean), np.sin(turn) * np.cos(lean), np.sin(lean)], axis=1)
        middle = math.radians(open_deg)
        flat = [math.cos(math.radians(round_deg)) * math.cos(middle),
                math.sin(math.radians(round_deg)) * math.cos(middle), math.sin(middle)]  # fmt: skip
        return Wall(f"{number} {name}", number, np.vstack([normals, flat]), 4.0, 0.0, 0.0, 0.2)

    return [
        side("mesial wall", 0.0, -least_deg),
        side("distal wall", 180.0, most_deg),
        side("lip wall", 90.0, 6.0),
        side("tongue wall", 270.0, 6.0),
    ]


@pytest.fixture(scope="module")
def walls() -> list[Wall]:
    return tooth(11, 3.0, 9.0) + tooth(21, -8.0, -2.0)


@pytest.mark.parametrize(("number", "least", "most"), [(11, 3.0, 9.0), (21, -8.0, -2.0)])
def test_each_tooth_by_itself_lets_go_what_it_is_said_to(number, least, most):
    found = window([], tooth(number, least, most), UP)
    assert found.size_deg == pytest.approx(3.0, abs=0.02)
    assert math.degrees(math.atan2(found.centre[0], found.centre[2])) == pytest.approx(
        (least + most) / 2.0, abs=0.02
    )


def test_there_is_no_draw_and_it_is_five_degrees_short_between_the_two_inner_walls(walls):
    found = window([], walls, UP)
    assert found.size_deg < 0.0
    assert len(found.outline_deg) == 0
    assert found.short_deg == pytest.approx(5.0, abs=0.005)
    assert set(found.bounded_by) == {"11 mesial wall", "21 distal wall"}
    assert found.u_size_deg == pytest.approx(0.2 / math.sqrt(2.0), rel=0.02)


def test_two_and_a_half_degrees_each_is_0_17_mm_at_the_top_of_both_walls(walls):
    for plan in (cheapest([], walls, UP), cheapest([], walls, UP, objective="largest")):
        assert plan is not None
        assert {cut.wall for cut in plan.cuts} == {"11 mesial wall", "21 distal wall"}
        assert [cut.angle_deg for cut in plan.cuts] == pytest.approx([2.5, 2.5], abs=0.05)
        assert [round(cut.removal_mm, 2) for cut in plan.cuts] == [0.17, 0.17]
        assert plan.total_mm == pytest.approx(2.0 * 4.0 * math.tan(math.radians(2.5)), abs=5e-4)


def test_one_tooth_alone_is_0_35_mm(walls):
    plans = on_one_tooth([], walls, UP)
    assert list(plans) == [11, 21]
    for number, plan in plans.items():
        assert plan is not None
        (cut,) = plan.cuts
        assert cut.tooth == number
        assert cut.angle_deg == pytest.approx(5.0, abs=0.01)
        assert round(cut.removal_mm, 2) == 0.35


def test_after_the_cut_there_is_a_draw(walls):
    """Each inner wall cut by 2.51 degrees at its top: the window opens."""
    by = math.radians(2.51)
    turn = np.array([[math.cos(by), 0.0, math.sin(by)], [0.0, 1.0, 0.0], [-math.sin(by), 0.0, math.cos(by)]])
    cut = []
    for wall in walls:
        inner = {"11 mesial wall": turn, "21 distal wall": turn.T}.get(wall.name, np.eye(3))
        cut.append(Wall(wall.name, wall.tooth, wall.normals @ inner, 4.0, 0.0, 0.0, 0.2))
    assert window([], walls, UP).size_deg < 0.0 < window([], cut, UP).size_deg < 0.02
