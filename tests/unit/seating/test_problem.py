"""The contact problem as built: every error does what its definition says, and only that."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinseat.numerics.contact import solve_lacking, solve_opening
from pinseat.seating.problem import DIAMETERS, KINDS, SURVEY, build, net_factor


def test_without_errors_the_bridge_goes_home_and_opens_nothing(make, one_row) -> None:
    problem = build(make(one_row(), u_axis_deg=0.0).assembly())
    opening, _ = solve_opening(problem.seat.contact, problem.mean(problem.seat)[None])
    assert opening[0] == pytest.approx(0.0, abs=2e-8)


def test_spare_clearance_without_errors_is_the_radial_clearance(make, one_row) -> None:
    problem = build(make(one_row(), hole=0.70, lean_deg=0.0).assembly())
    lacking, _ = solve_lacking(problem.seat.contact, problem.mean(problem.seat)[None], 0.12)
    assert lacking[0] == pytest.approx(-0.04, abs=2e-8)


def test_columns_by_copy_add_up_to_the_combined_errors(make, five) -> None:
    problem = build(make(*five, depths=(2.5, 2.0)).assembly())
    assert len(problem.entries) == 2
    for pose in (problem.seat, *problem.entries):
        apart, together = problem.factor_by_copy(pose), problem.factor(pose)
        assert np.allclose(apart @ apart.T, together @ together.T, atol=1e-16)
        assert apart.shape[1] == len(problem.labels())


def test_labels_name_every_copy_and_both_readings(make, five) -> None:
    labels = build(make(*five).assembly()).labels()
    groups = {group for group, _ in labels}
    assert groups == {"impression", "die", "pattern", "investment", "alloy", DIAMETERS, SURVEY}
    assert {kind for _, kind in labels} == set(KINDS)


def test_scale_is_common_and_the_rest_is_not(make, one_row) -> None:
    labels = build(make(one_row(scale=(0.0, 0.1), position=5.0)).assembly()).labels()
    count = {kind: sum(k == kind for _, k in labels) for kind in KINDS}
    assert count == {
        "scale": 1, "position": 12, "tilt": 12, "depth": 6, "surface": 8, "diameter": 6, "survey": 12
    }  # fmt: skip


def test_net_scale_is_the_product_of_the_factors(one_row) -> None:
    rows = (one_row("investment", scale=(1.44, 0.0)), one_row("alloy", scale=(-1.42, 0.0)))
    assert net_factor(rows) == pytest.approx(1.0144 * 0.9858, abs=1e-15)


def test_a_pin_too_long_meets_its_floor(make, one_row) -> None:
    problem = build(make(one_row(depth=(130.0, 0.0)), relief=0.1, u_axis_deg=0.0, lean_deg=0.0).assembly())
    opening, _ = solve_opening(problem.seat.contact, problem.mean(problem.seat)[None])
    assert opening[0] == pytest.approx(0.030, abs=2e-8)  # 130 um too long, 100 um of relief


def test_a_tilt_about_the_mouth_moves_only_the_tip(make, one_row) -> None:
    made = make(one_row(tilt=0.5))
    for pivot, at_mouth, at_tip in (("mouth", 0.0, -2.4), ("mid-pin", 1.2, -1.2)):
        effect = build(replace(made.assembly(), tilt_pivot=pivot)).seat.effect["tilt"]
        assert effect[0, 0] == pytest.approx(at_mouth, abs=1e-12)
        assert effect[12, 0] == pytest.approx(at_tip)


def test_survey_matters_only_as_the_pins_enter(make, one_row) -> None:
    problem = build(make(one_row(), u_axis_deg=0.2).assembly())
    assert not np.any(problem.seat.effect["survey"])
    assert np.abs(problem.entries[0].effect["survey"]).max() == pytest.approx(2.4, rel=0.01)


def test_walls_are_relieved_and_not_counted(make, one_row) -> None:
    made = make(one_row())
    wall = replace(made.faces[0], kind="wall", normal=np.array([1.0, 0.0, 0.0]))
    problem = build(replace(made, faces=(*made.faces, wall)).assembly())
    assert problem.seat.nominal[-1] == pytest.approx(0.030)
    assert not problem.seat.contact.counted[-1]
    assert problem.seat.contact.counted.sum() == 8


def test_pins_of_one_depth_enter_in_one_pose(make, one_row) -> None:
    problem = build(make(one_row(), lean_deg=1.0).assembly())
    assert [len(pose.contact.discs) for pose in problem.entries] == [6]


def test_longer_pins_are_held_twice_where_the_shorter_ones_enter(make, one_row) -> None:
    """2.0 mm: six tips and three mouths passed; 2.4 mm: the three long tips, the short ones free."""
    first, second = build(make(one_row(), depths=(2.5, 2.1)).assembly()).entries
    radii = [pose.nominal[2 * len(pose.contact.discs) :] for pose in (first, second)]
    assert np.sum(radii[0] < 1.0) == 9
    assert np.flatnonzero(radii[1] < 1.0).tolist() == [0, 1, 2]


def test_a_single_pin_always_enters(make, one_row) -> None:
    made = make(one_row(), pins=1)
    alone = replace(made.field, pins=made.field.pins[:1], covariance=made.field.covariance[:4, :4])
    assert build(replace(made, field=alone).assembly()).entries == ()


def test_the_choice_of_draw_does_not_decide_the_entry(make, one_row) -> None:
    """At the entry the bridge is free to shift, so another draw, 1 deg away, is absorbed.

    What is left is second order: the bridge leans a little as it enters, and one abutment enters later.
    """
    made = make(one_row(), lean_deg=0.8, u_axis_deg=0.0)
    found = []
    for lean in (0.0, np.radians(1.0)):
        pose = build(replace(made, draw=np.array([np.sin(lean), 0.0, np.cos(lean)])).assembly()).entries[0]
        lacking, _ = solve_lacking(pose.contact, pose.nominal[None], 0.12)
        found.append(lacking[0])
    assert found[1] == pytest.approx(found[0], abs=5e-4)
