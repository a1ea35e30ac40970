import numpy as np
import pytest

from pinseat.mesh.model import Mesh
from pinseat.tray.cast import cast_of
from pinseat.tray.stops import Prepared, Site, candidates, drop, propose, steadiness

from .test_cast import plate

PREPARED = Prepared((11,), np.array([[0.0, 0.0, 4.0]]), np.array([4.0]), 1)


def test_a_ball_comes_to_rest_one_radius_above_a_plate() -> None:
    stop = drop(cast_of(plate(12.0, 0.5), ()), np.array([6.1, 5.8]), 1.25, "picked")
    assert stop.centre[2] == pytest.approx(1.25, abs=1e-3)
    assert np.linalg.norm(stop.centre - stop.at) == pytest.approx(1.25, abs=1e-9)


def test_a_ball_comes_to_rest_on_a_slope_where_the_normal_meets_it() -> None:
    """On a plane that rises by 30 deg the centre stands r / cos 30 deg above the point below it."""
    flat = plate(12.0, 0.5)
    slope = Mesh(flat.vertices + np.outer(flat.vertices[:, 0] * np.tan(np.pi / 6), [0, 0, 1]), flat.faces)
    stop = drop(cast_of(slope, ()), np.array([6.0, 6.0]), 1.25, "picked")
    assert stop.centre[2] == pytest.approx(6.0 * np.tan(np.pi / 6) + 1.25 / np.cos(np.pi / 6), abs=1e-3)


def test_proposed_stops_leave_prepared_teeth_and_pins_alone(scan: Mesh) -> None:
    found = candidates(cast_of(scan, ()), PREPARED, (), 3.6, True, 1.25)
    assert len(found) >= 4
    for site in found:
        assert np.linalg.norm(site.xy) > 4.0


@pytest.mark.parametrize("upper", [True, False])
def test_bearing_cusps_are_left_out_on_a_curved_arch(upper: bool) -> None:
    """Bumps on a ring, one inside and one outside at each place: upper teeth keep the outer ones."""
    flat = plate(60.0, 0.5)
    xy = flat.vertices[:, :2] - 30.0
    far, turn = np.linalg.norm(xy, axis=1), np.arctan2(xy[:, 1], xy[:, 0])
    height = 4.0 * np.exp(-(((far - 20.0) / 4.0) ** 2))
    for at in np.radians([30.0, 60.0, 90.0, 120.0, 150.0]):
        for ring in (17.5, 22.5):
            off = (far - ring) ** 2 + (20.0 * np.angle(np.exp(1j * (turn - at)))) ** 2
            height += 3.0 * np.exp(-off / 1.2)
    horseshoe = (turn > 0.0) & (far > 11.0) & (far < 29.0)
    arch = Mesh(
        np.column_stack((xy, height)), np.ascontiguousarray(flat.faces[horseshoe[flat.faces].all(axis=1)])
    )
    elsewhere = Prepared((11 if upper else 31,), np.array([[-90.0, 0.0, 0.0]]), np.array([4.0]), 1)
    cusps = [s for s in candidates(cast_of(arch, ()), elsewhere, (), 3.6, upper, 1.25) if s.kind == "cusp"]
    rings = np.array([np.linalg.norm(site.xy) for site in cusps])
    assert len(rings) >= 4
    bearing, other = (17.5, 22.5) if upper else (22.5, 17.5)
    assert np.abs(rings - bearing).min() > 1.2
    assert (np.abs(rings - other) < 1.2).sum() >= 4


def test_the_steadiest_three_hold_pull_line_and_prepared_teeth() -> None:
    sites = [Site(np.array(xy), "cusp") for xy in ((-20.0, 0), (20, 0), (0, 25), (0, 3), (-3, 1), (4, 2))]
    pull, prepared = np.array([1.0, 6.0]), np.array([0.0, 12.0])
    chosen = np.array([site.xy for site in propose(sites, pull, prepared)])
    assert sorted(map(tuple, chosen)) == [(-20.0, 0.0), (0.0, 25.0), (20.0, 0.0)]
    assert steadiness(chosen, pull, prepared).least_mm > 3.0


def test_two_or_three_in_line_hold_nothing() -> None:
    line = np.array([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0]])
    held = steadiness(line, np.array([10.0, 1.0]), np.array([10.0, 0.0]))
    assert held.pull_mm < 0.0
    assert held.prepared_mm <= 0.0
    assert len(propose([Site(np.zeros(2), "cusp")], np.zeros(2), np.zeros(2))) == 1


def test_no_three_on_one_spot_are_proposed() -> None:
    """Of a row of places 4 mm long the two ends: they are told to be too few."""
    row = [Site(np.array([x, 0.2 * x * x]), "cusp") for x in (0.0, 1.5, 3.0, 4.0)]
    assert [s.xy[0] for s in propose(row, np.array([2.0, 1.0]), np.array([2.0, 1.0]))] == [0.0, 4.0]
