"""The cheapest cut where it can be written down, and against a grid of draws where it cannot."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pinseat.survey.correction import Correction, cheapest, on_one_tooth
from pinseat.survey.window import Cone, Wall, upwards, window

UP = np.array([0.0, 0.0, 1.0])


def facing(round_deg: float, open_deg: float) -> np.ndarray:
    """Outward normal of a wall that stands so many degrees open to z."""
    turn, lean = math.radians(round_deg), math.radians(open_deg)
    return np.array([math.cos(turn) * math.cos(lean), math.sin(turn) * math.cos(lean), math.sin(lean)])


def wall(name: str, tooth: int, *faces: tuple[float, float], height_mm: float = 4.0) -> Wall:
    return Wall(name, tooth, np.array([facing(*f) for f in faces]), height_mm, 0.0, 0.0, 0.3)


def cone(x_deg: float, y_deg: float, allowance_deg: float) -> Cone:
    size, turn = math.radians(math.hypot(x_deg, y_deg)), math.atan2(y_deg, x_deg)
    axis = np.array([math.sin(size) * math.cos(turn), math.sin(size) * math.sin(turn), math.cos(size)])
    return Cone("11-1", 11, axis, allowance_deg, 0.1)


def conflict(height_a_mm: float = 4.0, height_b_mm: float = 4.0) -> list[Wall]:
    """Tooth 11 takes 3 deg and more, tooth 13 -2 deg and less."""
    return [
        wall("11 wall", 11, (0.0, -3.0), height_mm=height_a_mm),
        wall("13 wall", 13, (180.0, -2.0), height_mm=height_b_mm),
    ]


def tilt_x_deg(found: Correction | None) -> float:
    assert found is not None
    return math.degrees(math.atan2(found.draw[0], found.draw[2]))


def test_nothing_is_cut_where_a_draw_is_open():
    found = cheapest([cone(0.0, 0.0, 2.0)], [wall("11 wall", 11, (0.0, 1.0))], UP)
    assert found is not None
    assert (found.cuts, found.total_mm, found.largest_mm) == ((), 0.0, 0.0)
    assert tilt_x_deg(found) == pytest.approx(0.5, abs=1e-6)


def test_nothing_but_pins():
    assert cheapest([], [wall("11 wall", 11, (0.0, 1.0))], UP, {11: math.inf}) is not None
    found = cheapest([cone(1.0, 0.0, 2.0)], [], UP)
    assert found is not None
    np.testing.assert_allclose(found.draw, cone(1.0, 0.0, 2.0).axis, atol=1e-12)


def test_the_shorter_wall_gives_all_when_the_total_counts():
    """4 mm against 2 mm: a degree costs half on the shorter wall. tan is convex only a little."""
    found = cheapest([], conflict(4.0, 2.0), UP)
    assert found is not None
    (cut,) = found.cuts
    assert (cut.wall, cut.tooth, cut.normal) == ("13 wall", 13, 0)
    assert cut.angle_deg == pytest.approx(5.0, abs=1e-5)
    assert cut.removal_mm == pytest.approx(2.0 * math.tan(math.radians(5.0)), abs=1e-6)
    assert cut.u_removal_mm == pytest.approx(
        2.0 * math.radians(0.3) / math.cos(math.radians(5.0)) ** 2, rel=1e-6
    )
    assert found.total_mm == found.largest_mm == cut.removal_mm


def test_both_give_the_same_depth_when_the_largest_counts():
    """h1 tan b = h2 tan (5 - b): solved here by bisection."""
    found = cheapest([], conflict(4.0, 2.0), UP, objective="largest")
    low, high = 0.0, 5.0
    for _ in range(60):
        middle = (low + high) / 2.0
        shallow = 4.0 * math.tan(math.radians(middle)) < 2.0 * math.tan(math.radians(5.0 - middle))
        low, high = (middle, high) if shallow else (low, middle)
    assert found is not None
    assert [cut.removal_mm for cut in found.cuts] == pytest.approx(
        [4.0 * math.tan(math.radians(low))] * 2, abs=1e-6
    )
    assert tilt_x_deg(found) == pytest.approx(3.0 - low, abs=1e-4)


def test_weights_move_the_cut_to_the_other_tooth():
    found = cheapest([], conflict(), UP, {11: 3.0})
    assert found is not None
    assert [cut.tooth for cut in found.cuts] == [13]
    assert tilt_x_deg(found) == pytest.approx(3.0, abs=1e-4)
    assert found.total_mm == pytest.approx(4.0 * math.tan(math.radians(5.0)), abs=1e-6)


def test_a_pin_holds_the_draw_and_the_walls_give_way():
    """The pin takes 1 deg about z: the walls are cut for draws it lets go only, 11 at 1 deg and more."""
    found = cheapest([cone(0.0, 0.0, 1.0)], conflict(1.0, 4.0), UP)
    assert found is not None
    angle = {cut.wall: cut.angle_deg for cut in found.cuts}
    assert angle == {"11 wall": pytest.approx(4.0, abs=1e-4), "13 wall": pytest.approx(1.0, abs=1e-4)}


def test_no_plan_where_what_must_not_be_cut_leaves_no_draw():
    splayed = [cone(3.0, 0.0, 1.0), replace(cone(-3.0, 0.0, 1.0), name="13-1")]
    assert cheapest(splayed, conflict(), UP) is None
    assert on_one_tooth([cone(0.0, 0.0, 1.0)], conflict(), UP) == {11: None, 13: None}
    assert set(on_one_tooth([], conflict(), UP, {13: math.inf})) == {11}


def test_the_facet_that_asks_for_the_most_is_named():
    found = cheapest(
        [cone(0.0, 0.0, 0.1)], [wall("11 wall", 11, (0.0, -1.0), (20.0, -4.0), (-20.0, 2.0))], UP
    )
    assert found is not None
    assert [cut.normal for cut in found.cuts] == [1]


def objective_on(draws: np.ndarray, walls: list[Wall], total: bool) -> np.ndarray:
    """Removal for many draws, from the wedge's definition: the angle in the plane of the normal and `up`."""
    by_wall = []
    for one in walls:
        rise = upwards(one.normals, UP)
        slope = -(draws @ one.normals.T) / (draws @ rise.T)
        by_wall.append(one.height_mm * np.maximum(slope, 0.0).max(axis=1))
    return np.sum(by_wall, axis=0) if total else np.max(by_wall, axis=0)


@pytest.mark.parametrize("objective", ["total", "largest"])
@pytest.mark.parametrize("seed", range(6))
def test_no_draw_of_a_fine_grid_is_cheaper(seed, objective):
    """0.02 deg steps within the pin's cone: no draw is cheaper, the best of them dearer by a step at most."""
    rng = np.random.default_rng(seed)
    walls = [
        wall(
            f"{tooth} wall {side}",
            tooth,
            *np.column_stack([rng.normal(90.0 * side, 25.0, 6), rng.normal(-1.0, 2.5, 6)]).tolist(),
            height_mm=float(rng.uniform(2.0, 5.0)),
        )
        for tooth in (11, 13)
        for side in range(4)
    ]
    pin = cone(1.0, -0.5, 4.0)
    found = cheapest([pin], walls, UP, objective=objective)
    line = np.radians(np.arange(-5.5, 5.5, 0.02))
    x, y = (part.ravel() for part in np.meshgrid(np.tan(line), np.tan(line)))
    draws = np.stack([x, y, np.ones(len(x))], axis=1) / np.sqrt(x * x + y * y + 1.0)[:, None]
    draws = draws[draws @ pin.axis >= math.cos(math.radians(4.0))]
    least = float(objective_on(draws, walls, objective == "total").min())
    assert found is not None
    got = found.total_mm if objective == "total" else found.largest_mm
    step_mm = math.radians(0.02) * sum(one.height_mm for one in walls)
    assert least - step_mm < got < least + 5e-5
    assert objective_on(found.draw[None], walls, objective == "total")[0] <= got + 1e-6


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_cut_walls_let_the_draw_go_in_any_pose_and_order(seed, mirrored):
    rng = np.random.default_rng(seed)
    walls = [
        wall(f"{tooth} wall {side}", tooth, (90.0 * side, float(rng.normal(-1.0, 3.0))))
        for tooth in (11, 13)
        for side in range(4)
    ]
    pin = cone(*rng.normal(size=2), 3.0)
    one = cheapest([pin], walls, UP)
    turn = Rotation.random(random_state=seed).as_matrix() @ np.diag([-1.0 if mirrored else 1.0, 1.0, 1.0])
    two = cheapest(
        [replace(pin, axis=turn @ pin.axis)],
        [replace(w, normals=w.normals @ turn.T) for w in walls[::-1]],
        turn @ UP,
    )
    assert one is not None
    assert two is not None
    assert two.total_mm == pytest.approx(one.total_mm, abs=2e-5)
    angle = {cut.wall: cut.angle_deg for cut in one.cuts}
    after = [
        replace(w, normals=np.stack([cut_back(n, angle.get(w.name, 0.0) + 1e-4) for n in w.normals]))
        for w in walls
    ]
    assert window([pin], after, UP).size_deg > 0.0


def cut_back(normal: np.ndarray, by_deg: float) -> np.ndarray:
    turn = Rotation.from_rotvec(math.radians(by_deg) * np.cross(normal, upwards(normal[None], UP)[0]))
    return turn.apply(normal)
