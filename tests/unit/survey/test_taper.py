"""What the measures of walls and grooves refuse, and how they behave; their numbers are checked in
tests/outside.
"""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.errors import SurveyError
from pinseat.survey.regions import Region, grow
from pinseat.survey.taper import convergence, groove_fit, wall_height, wall_taper
from pinseat.survey.terrain import Terrain
from tests.unit.survey.shapes import box_groove, frustum, noisy, pyramid

UP = (0.0, 0.0, 1.0)


@pytest.fixture(scope="module")
def block() -> Terrain:
    return Terrain(noisy(pyramid((4.0, 3.0), 0.15), 0.01))


@pytest.fixture(scope="module")
def walls(block: Terrain) -> tuple[Region, Region]:
    return grow(block, (2.86, 0.4, 2.0), "wall", tooth=11), grow(block, (-2.9, 0.4, 2.0), "wall", tooth=11)


def test_turning_the_draw_turns_the_tapers(block: Terrain, walls: tuple[Region, Region]) -> None:
    """A draw leaning 2 deg towards +x: the right wall faces it 2 deg more, the left one 2 deg less."""
    lean = np.radians(2.0)
    draw = (np.sin(lean), 0.0, np.cos(lean))
    change = [
        wall_taper(block, wall, draw).mean.value - wall_taper(block, wall, UP).mean.value for wall in walls
    ]
    assert change == [pytest.approx(2.0, abs=0.01), pytest.approx(-2.0, abs=0.01)]
    assert convergence(block, walls, draw).value == pytest.approx(
        convergence(block, walls, UP).value, abs=0.01
    )


def test_length_of_the_draw_does_not_matter(block: Terrain, walls: tuple[Region, Region]) -> None:
    assert wall_taper(block, walls[0], (0, 0, 7.0)).mean == wall_taper(block, walls[0], UP).mean


def test_undercut_wall_stops_and_has_no_usable_height() -> None:
    terrain = Terrain(noisy(frustum(-5.0, 0.2), 0.01))
    wall = grow(terrain, (4.17, 0.0, 2.0), "wall", tooth=16, limit_mm2=160.0)
    taper = wall_taper(terrain, wall, UP)
    assert taper.mean.verdict == "stop"
    assert taper.undercut_share > 0.9
    with pytest.raises(SurveyError, match="wall of tooth 16: this wall is undercut to this draw"):
        wall_height(terrain, wall, UP)


def test_height_is_held_against_the_limit_of_the_tooth(block: Terrain, walls: tuple[Region, Region]) -> None:
    front = wall_height(block, walls[0], UP).median
    assert (front.limit, front.verdict) == (3.0, "clear")
    molar = grow(block, (2.86, 0.4, 2.0), "wall", tooth=16)
    back = wall_height(block, molar, UP).median
    assert (back.limit, back.verdict) == (4.0, "cannot tell")
    assert "2001;85:363" in back.limit_source
    assert "published" in back.limit_source


def test_walls_that_do_not_oppose_each_other_are_refused(
    block: Terrain, walls: tuple[Region, Region]
) -> None:
    beside = grow(block, (0.2, 3.0, 2.0), "wall", tooth=11)
    with pytest.raises(SurveyError, match="do not oppose"):
        convergence(block, (walls[0], beside), UP)
    with pytest.raises(SurveyError, match="one wall alone"):
        convergence(block, (walls[0],), UP)


def test_region_in_doubt_gives_no_number() -> None:
    terrain = Terrain(frustum(3.0, 0.2))
    ran = grow(terrain, (3.9, 0.0, 2.0), "wall", tooth=11, limit_mm2=10.0)
    for read in (wall_taper, wall_height, groove_fit):
        with pytest.raises(SurveyError, match="ran out of its border"):
            read(terrain, ran, UP)


def test_flat_wall_is_no_groove(block: Terrain, walls: tuple[Region, Region]) -> None:
    with pytest.raises(SurveyError, match="all face one way"):
        groove_fit(block, walls[0], UP)


def test_sliver_is_too_narrow(block: Terrain, walls: tuple[Region, Region]) -> None:
    wall = walls[0]
    thin = np.abs(block.middles[wall.core][:, 1]) < 0.15
    sliver = Region("wall", 11, wall.core[thin], wall.core[thin], 1.0, (), 0.0, "")
    with pytest.raises(SurveyError, match="too narrow"):
        wall_height(block, sliver, UP)


def test_uncertainty_grows_with_the_noise() -> None:
    u = []
    for noise_mm in (0.005, 0.02):
        terrain = Terrain(noisy(box_groove(0.12), noise_mm))
        groove = grow(terrain, (0.1, -0.8, 3.6), "groove", tooth=22)
        u.append(groove_fit(terrain, groove, UP).lean.u)
    assert u[1] > 2.0 * u[0]
