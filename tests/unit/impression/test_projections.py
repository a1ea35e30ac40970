from __future__ import annotations

import numpy as np
import pytest

from pinseat.impression.cost import seat_of
from pinseat.impression.projections import judge
from tests.unit.impression.conftest import SIX, THREE, case_of, computed, faces_of, field_of, projections


@pytest.mark.parametrize(
    ("out", "sign", "verdict"),
    [
        (0.05, "fine", "clear"),
        (-0.05, "fine", "clear"),
        (0.06, "proud", "caution"),
        (0.12, "proud", "cannot tell"),
        (0.20, "proud", "stop"),
        (-0.20, "low", "clear"),
        (-0.60, "low", "caution"),
    ],
)
def test_proud_and_low_are_not_alike(out, sign, verdict):
    assert judge(out, 0.02, relief_mm=0.10, length_mm=2.0) == (sign, verdict)


def test_a_pin_not_read_is_not_nothing():
    found = computed(THREE, case_of(THREE, projections=projections(p11_1=2.10)))
    unread = found.projections[1].stages[1]
    assert (unread.measured_mm, unread.out_mm, unread.sign, unread.verdict) == (
        None,
        None,
        "not read",
        "cannot tell",
    )
    assert (found.tally.home, found.tally.read) == (1, 1)
    assert found.row.depth.basis == "assumed"
    tally = next(f for f in found.findings if f.code == "impression.tally")
    assert tally.verdict == "cannot tell"
    assert "11-2, 11-3: press home in the rubber and read" in tally.do


def test_a_pin_is_followed_through_every_copy():
    readings = [
        *projections("hole", p11_1=2.10),
        *projections(p11_1=2.16),
        *projections("die", p11_1=2.30),
        *projections("casting", p11_1=2.05),
    ]
    pin = computed(THREE, case_of(THREE, projections=readings)).projections[0]
    hole, rubber, die, cast = pin.stages
    assert [one.out_mm for one in pin.stages] == pytest.approx([0.0, 0.06, 0.20, 0.05])
    assert [one.since_mm for one in pin.stages[1:]] == pytest.approx([0.06, 0.14, -0.15])
    assert (hole.since_mm, cast.expected_mm) == (None, 2.0)
    assert (rubber.sign, die.sign, cast.sign) == ("proud", "proud", "fine")
    assert pin.remedy == "nothing to do"


def test_a_hole_that_was_gauged_is_what_counts():
    readings = [*projections("hole", p11_1=1.90), *projections(p11_1=2.10)]
    pin = computed(THREE, case_of(THREE, projections=readings)).projections[0]
    assert pin.stages[1].out_mm == pytest.approx(0.20)
    assert pin.remedy == "re-seat now, or later trim the cast pin by 0.20 mm"


def test_trim_is_the_remedy_once_it_is_cast():
    for stage, read in (("die", 2.34), ("casting", 2.24)):
        pin = computed(THREE, case_of(THREE, projections=projections(stage, p11_1=read))).projections[0]
        assert pin.remedy == "trim the cast pin by 0.24 mm"


def test_repeats_narrow_the_reading():
    readings = [{"pin": "11-1", "mm": [2.10, 2.12, 2.08, 2.10]}]
    stage = computed(THREE, case_of(THREE, projections=readings)).projections[0].stages[1]
    assert (stage.measured_mm, stage.u_mm) == pytest.approx((2.10, 0.01))


def test_a_scan_reads_the_hole():
    case = case_of(THREE)
    case = case.model_copy(
        update={"abutments": (case.abutments[0].model_copy(update={"impression_pin_length_mm": 5.12}),)}
    )
    hole = computed(THREE, case).projections[0].stages[0]
    assert (hole.measured_mm, hole.source) == (
        pytest.approx(2.12),
        "length of the pin less what the scan shows",
    )


def test_parallel_pins_lock_tilt_so_the_other_tooth_opens_too():
    """A floor 0.14 mm too high under one pin: how much the bridge can dip at the far tooth is set by play."""
    case = case_of(SIX)
    seat = seat_of(SIX, faces_of(SIX), case)
    assert seat is not None
    alone = [0.24, 0.0, 0.0, 0.0, 0.0, 0.0]
    # Tilt within the play of 0.1 mm over 2.0 mm of pin: at most 0.05 rad, over 21 mm at the far margin.
    assert seat.opening_um(alone) > 50.0
    tight = case_of(SIX, hole=0.601, pin=0.6)
    stiff = seat_of(SIX, faces_of(SIX), tight)
    assert stiff is not None
    own, far = stiff.opening_um(alone, 11), stiff.opening_um(alone, 22)
    assert own == pytest.approx(140.0, abs=8.0)
    assert far == pytest.approx(140.0, abs=20.0)
    assert seat.opening_um(alone, 22) < far


def test_a_short_pin_and_one_within_its_relief_cost_nothing():
    seat = seat_of(SIX, faces_of(SIX), case_of(SIX))
    assert seat is not None
    assert seat.opening_um([0.09, -0.5, 0, 0, 0, 0]) == pytest.approx(0.0, abs=1e-6)


def test_all_pins_too_long_alike_open_by_what_the_relief_does_not_take():
    seat = seat_of(SIX, faces_of(SIX), case_of(SIX))
    assert seat is not None
    assert seat.opening_um([0.24] * 6) == pytest.approx(140.0, abs=1e-4)


def test_moving_the_case_changes_no_cost():
    turn = np.linalg.qr(np.array([[0.3, 0.8, -0.2], [-0.7, 0.1, 0.6], [0.5, 0.4, 0.9]]))[0]
    turn *= np.sign(np.linalg.det(turn))
    from dataclasses import replace

    shift = np.array([40.0, -7.0, 12.0])
    pins = tuple(replace(p, foot=turn @ p.foot + shift, axis=turn @ p.axis) for p in SIX.pins)
    faces = tuple(replace(f, point=turn @ f.point + shift, normal=turn @ f.normal) for f in faces_of(SIX))
    moved = replace(SIX, pins=pins)
    case, alone = case_of(SIX), [0.24, 0, 0, 0.05, 0, 0]
    first, second = seat_of(SIX, faces_of(SIX), case), seat_of(moved, faces, case)
    assert first is not None
    assert second is not None
    assert first.opening_um(alone) == pytest.approx(second.opening_um(alone), abs=1e-3)


def test_without_a_margin_nothing_is_said_of_opening():
    assert seat_of(THREE, (), case_of(THREE)) is None


def test_one_pin_alone_is_followed_too():
    one = field_of({"11-1": (0.0, 0.0)})
    found = computed(one, case_of(one, projections=projections(p11_1=2.10)))
    assert found.tally.complete
    assert np.isfinite(found.drifts[0].shift_um).all()
