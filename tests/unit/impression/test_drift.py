from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinseat.errors import ImpressionError
from pinseat.impression.block import ACCURACY
from pinseat.impression.bulk import from_tray, thickness_at, uniform, without_pins
from pinseat.impression.drift import common, face_drifts, layer, moved, pin_drifts, poissons
from pinseat.impression.rubber import free_strain
from pinseat.impression.step import Tray
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import Pin, PinField
from pinseat.mesh.model import Mesh
from tests.unit.impression.conftest import SIX, THREE, UP, ball, case_of, computed, field_of


def shell(centre=(0.0, 0.0, 0.0), inner=7.0):
    """A closed tray: a ball with a round room in it."""
    outer, room = ball(inner + 2.5), ball(inner, centre)
    faces = np.concatenate([outer.faces, room.faces[:, ::-1] + len(outer.vertices)])
    return Mesh(np.concatenate([outer.vertices, room.vertices]), faces.astype(np.int32))


def on_ball(radius=4.0):
    """Two pins that stand on a ball, 60 deg apart."""
    pins = []
    for number, turn in ((1, -0.5), (2, 0.5)):
        axis = np.array([np.sin(turn), 0.0, np.cos(turn)])
        pins.append(Pin(11, number, radius * axis, axis, 0.65, 1.0, 0.01, 0.001, 0.01))
    return PinField(tuple(pins), np.eye(8) * 1e-6, "scan")


def test_thickness_between_two_balls_is_exact():
    around = from_tray(ball(4.0), shell(), on_ball(), "tray.stl")
    assert around.bulk.middle_mm == pytest.approx(3.0, abs=0.02)
    assert around.bulk.thick_mm - around.bulk.thin_mm < 0.02
    at, u = thickness_at(around, np.array([[0.0, 0.0, 4.0]]))
    assert at[0] == pytest.approx(3.0, abs=0.01)
    assert u > 0.0


def test_an_uneven_tray_is_seen_as_such():
    around = from_tray(ball(4.0), shell((1.0, 0.0, 0.0)), on_ball(), "tray.stl")
    assert (around.bulk.thin_mm, around.bulk.thick_mm) == pytest.approx((2.1, 3.9), abs=0.1)


def test_a_tray_elsewhere_is_refused():
    with pytest.raises(ImpressionError, match="does not lie over the teeth"):
        from_tray(ball(4.0), ball(2.0, (80.0, 0.0, 0.0)), on_ball(), "tray.stl")


def test_the_pins_are_not_teeth():
    whole, field = ball(4.0), on_ball()
    left = without_pins(whole, field)
    assert 0 < len(whole.faces) - len(left.faces) < 0.02 * len(whole.faces)


def test_beds_move_outward_and_get_shallower_under_an_even_tray():
    field, case = on_ball(), case_of(THREE)
    around = from_tray(ball(4.0), shell(), field, "tray.stl")
    shape = moved(field, (), UP, around, case)
    drifts, scale, u_scale = pin_drifts(field, shape, free_strain(case))
    for one in drifts:
        assert one.over_tip_mm == pytest.approx(2.0, abs=0.02)
        assert one.proud_um > 0.0
        assert one.scale_percent < 0.0
        assert abs(one.tilt_deg[0]) < 3 * one.u_tilt_deg
    # Both move away from the middle of the ball, so their distance grows.
    assert scale > 0.0
    assert u_scale > 0.0


def test_an_uneven_tray_shifts_a_pin_towards_its_thick_side():
    field, case = on_ball(), case_of(THREE)
    even = from_tray(ball(4.0), shell(), field, "tray.stl")
    off = from_tray(ball(4.0), shell((0.0, 1.5, 0.0)), field, "tray.stl")
    sideways = [moved(field, (), UP, one, case).ends[0].foot_mm[:, 1] for one in (even, off)]
    assert np.abs(sideways[0]).max() < 0.5
    assert sideways[1].min() > 0.0
    assert (sideways[1] - sideways[0]).mean() > 0.4


def test_a_uniform_bulk_moves_along_the_pins_only():
    case = case_of(SIX, bulk_mm=3.0, u_bulk_mm=0.5)
    shape = moved(SIX, (), UP, uniform(case), case)
    drifts, scale, u_scale = pin_drifts(SIX, shape, free_strain(case))
    mean = sum(layer(poisson) for poisson in poissons()) / 2.0
    assert scale == pytest.approx(0.0, abs=1e-9)
    assert u_scale > 0.05
    assert all(np.abs(one.shift_um).max() < 1e-6 for one in drifts)
    bed = (1.0 + layer(poissons()[1])) / 2.0
    assert drifts[0].proud_um == pytest.approx(bed * 3.0 * free_strain(case).percent * 10.0)
    assert drifts[0].u_shift_um == pytest.approx(mean * 0.5 * free_strain(case).percent * 10.0)


def test_common_motion_and_scale_are_taken_out():
    rng = np.random.Generator(np.random.Philox(3))
    points = rng.normal(size=(6, 3)) * 8.0
    q = points - points.mean(axis=0)
    turn = np.array([0.002, -0.001, 0.003])
    movement = np.array([0.1, 0.2, -0.3]) + np.cross(turn, q) + 0.004 * q
    scale, found, left = common(points, movement)
    assert scale == pytest.approx(0.004)
    assert found == pytest.approx(turn)
    assert np.abs(left).max() < 1e-12


def test_moving_the_case_moves_nothing_else():
    case = case_of(THREE)
    turn = np.linalg.qr(np.array([[0.2, 0.9, -0.1], [-0.6, 0.2, 0.7], [0.5, 0.3, 0.8]]))[0]
    turn *= np.sign(np.linalg.det(turn))
    shift = np.array([5.0, -30.0, 11.0])
    field, teeth, tray = on_ball(), ball(4.0), shell((0.8, 0.4, 0.3))

    def moved_mesh(mesh):
        return replace(mesh, vertices=mesh.vertices @ turn.T + shift)

    pins = tuple(replace(p, foot=turn @ p.foot + shift, axis=turn @ p.axis) for p in field.pins)
    other = replace(field, pins=pins)
    first = moved(field, (), UP, from_tray(teeth, tray, field, "t"), case)
    around = from_tray(moved_mesh(teeth), moved_mesh(tray), other, "t")
    second = moved(other, (), turn @ UP, around, case)
    for one, two in zip(first.ends, second.ends, strict=True):
        assert two.foot_mm @ turn == pytest.approx(one.foot_mm, rel=2 * ACCURACY, abs=1.0)
    assert second.over_tip_mm == pytest.approx(first.over_tip_mm, abs=0.02)


def test_margins_move_outward_by_what_their_rubber_is_thick():
    case, field = case_of(THREE), on_ball()
    around = from_tray(ball(4.0), shell((1.0, 0.0, 0.0)), field, "tray.stl")
    faces = [
        Face("margin", 11, 4.0 * n, n, "stated") for n in (np.array([1.0, 0, 0]), np.array([-1.0, 0, 0]))
    ]
    shape = moved(field, faces, UP, around, case)
    thick, thin = face_drifts(faces, shape, free_strain(case))
    assert thick.out_um > thin.out_um > 0.0
    assert thick.u_out_um > 0.1 * thick.out_um


def test_the_tray_reaches_the_whole_step():
    field = on_ball()
    result = computed(field, case_of(field), teeth=ball(4.0), tray=Tray(shell(), "results/tray.stl"))
    assert "results/tray.stl" in result.bulk.basis
    assert result.row.position.source.count("results/tray.stl") == 1


def test_a_stock_tray_moves_more():
    result = computed(SIX, case_of(SIX))
    own, stock = result.trays
    assert stock.unevenness_um > 3 * own.unevenness_um
    assert stock.margin_um > 1.5 * own.margin_um


def test_callipers_do_not_lend_the_length_of_their_guides():
    field = field_of({"11-1": (0, 0), "11-2": (3, 0)}, tall=8.0, basis="callipers")
    shape = moved(field, (), UP, uniform(case_of(field)), case_of(field))
    assert shape.tall_mm == pytest.approx([3.0, 3.0])
    assert UP @ shape.ends[0].foot_mm[0] > 0.0
