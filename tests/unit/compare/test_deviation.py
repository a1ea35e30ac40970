from __future__ import annotations

import numpy as np
import pytest

from pinseat.compare.deviation import changed_places, deviation_map
from pinseat.ledger.pins import PinField
from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.registration import register
from pinseat.mesh.topology import vertex_normals


@pytest.fixture(scope="module")
def laid(made):
    return register(made.first, made.moved_mesh(made.second))


def test_unchanged_ground_deviates_by_its_noise_alone(made, laid):
    found = deviation_map(Nearest(made.first), made.moved_mesh(made.second), laid)
    known = found.distance_mm[~np.isnan(found.distance_mm)]
    assert len(known) > 0.95 * len(found.distance_mm)
    assert 0.007 < np.std(known) < 0.013
    assert np.nanstd(found.calm_mm) < 0.5 * np.std(known)
    assert changed_places(found, 0.03, None) == ()


def test_a_dish_and_a_bump_are_two_places_with_their_signs(made, laid):
    x, y, _ = made.second.vertices.T
    away = np.hypot(x - 2.0, y + 8.0), np.hypot(x + 3.0, y - 9.0)
    change = -0.12 * (away[0] < 1.5) + 0.15 * (away[1] < 1.0)
    out = vertex_normals(made.second)
    changed = Mesh(made.second.vertices + change[:, None] * out, made.second.faces)
    found = deviation_map(Nearest(made.first), made.moved_mesh(changed), laid)
    places = changed_places(found, 0.05, PinField(made.pins, np.zeros((20, 20)), "scan"))
    assert len(places) == 2
    dish, bump = places
    assert dish.farthest_um == pytest.approx(-120.0, abs=15.0)
    assert bump.farthest_um == pytest.approx(150.0, abs=15.0)
    assert dish.area_mm2 == pytest.approx(np.pi * 1.5**2, rel=0.25)
    assert np.linalg.norm(dish.place[:2] - [2.0, -8.0]) < 1.6
    assert dish.at == bump.at == ""


def test_beyond_the_first_scan_there_is_no_number(made, laid):
    first = made.first
    keep = first.vertices[:, 0] < 5.0
    half = Mesh(first.vertices, first.faces[keep[first.faces].all(axis=1)])
    found = deviation_map(Nearest(half), made.moved_mesh(made.second), laid)
    beyond = found.mesh.vertices[:, 0] > 5.3
    assert np.isnan(found.distance_mm[beyond]).all()
    assert np.isnan(found.calm_mm[beyond]).all()
    inside = (np.abs(found.mesh.vertices[:, :2] + [5.0, 0.0]) < [9.0, 14.0]).all(axis=1)
    assert np.isnan(found.distance_mm[inside]).mean() < 0.01
