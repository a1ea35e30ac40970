import numpy as np
import pytest

from pinseat.mesh.raster import height_field
from pinseat.mesh.shade import shade, sky


def test_a_ball_sits_in_the_middle_on_white(ball):
    picture = shade(ball(), (0, 0, 1), width_px=200)
    assert picture.rgb.shape == (200, 200, 3)
    assert picture.rgb.dtype == np.uint8
    assert (picture.rgb[[0, 0, -1, -1], [0, -1, 0, -1]] == 255).all()
    inked = np.argwhere(picture.rgb.min(axis=2) < 250)
    np.testing.assert_allclose(inked.mean(axis=0), 99.5, atol=1.0)


def test_light_comes_from_the_upper_left(ball):
    grey = shade(ball(), (0, 0, 1), up=(0, 1, 0), width_px=200).rgb.mean(axis=2)
    assert grey[60, 60] > grey[140, 140] + 20


def test_points_land_where_they_are_seen(ball):
    picture = shade(ball(10.0, 4), (0, 0, 1), up=(0, 1, 0), width_px=210)
    poles = np.array([[0.0, 0, 10], [0, 0, -10], [10, 0, 0], [0, 10, 0]])
    at = picture.to_pixel(poles)
    np.testing.assert_allclose(at[:2], 105.0, atol=0.51)
    np.testing.assert_allclose(at[2] - at[0], [10.0 / picture.pixel_mm, 0.0], atol=1e-6)
    np.testing.assert_allclose(at[3] - at[0], [0.0, -10.0 / picture.pixel_mm], atol=1e-6)
    assert picture.visible(poles[:2]).tolist() == [True, False]
    assert not picture.visible(np.array([[99.0, 0, 0]]))[0]


def test_colours_are_those_of_the_vertices(ball):
    mesh = ball()
    red = np.zeros((len(mesh.vertices), 3), np.uint8)
    red[:, 0] = 255
    picture = shade(mesh, (0, 0, 1), width_px=100, colours=red)
    assert picture.rgb[50, 50, 0] > 200
    assert (picture.rgb[50, 50, 1:] == 0).all()


def test_the_back_is_darker_than_the_front(sheet):
    mesh = sheet(lambda x, y: 0.0 * x)
    front, back = (shade(mesh, (0, 0, s), width_px=60).rgb[30, 30].mean() for s in (1, -1))
    assert back < front - 30


def test_open_sky_over_a_plain_and_half_of_it_at_the_foot_of_a_high_wall(sheet):
    """At the foot of an endless vertical wall one half of the azimuths is shut."""
    plain = height_field(sheet(lambda x, y: 0.1 * x), (0, 0, 1), 0.2)
    assert sky(plain)[100, 100] == pytest.approx(1.0, abs=0.011)
    walled = height_field(sheet(lambda x, y: np.where(x > 0.0, 500.0, 0.0)), (0, 0, 1), 0.2)
    row, column, _ = walled.to_pixel(np.array([[-0.6, 0.0, 0.0]]))[0].round().astype(int)
    assert sky(walled)[row, column] == pytest.approx(0.5, abs=0.12)
