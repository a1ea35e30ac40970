from __future__ import annotations

import json
import math

import numpy as np
import pytest

from pinseat.case.rebuild import rebuild
from pinseat.case.results import to_plain
from pinseat.errors import ImpressionError
from pinseat.impression.checks import bends_first
from pinseat.impression.injection import stations
from pinseat.impression.model import ImpressionResult, Undercuts
from pinseat.impression.step import run
from pinseat.impression.timetable import at_temperature, set_after_min, timetable
from pinseat.ledger.faces import Face
from pinseat.ledger.handover import Handover
from tests.unit.impression.conftest import SIX, THREE, UP, case_of, computed, projections


def test_without_a_survey_there_is_nothing_to_reckon_with():
    with pytest.raises(ImpressionError, match="run survey first"):
        run(case_of(THREE), Handover())


def test_the_same_input_gives_the_same_bytes_and_comes_back_from_json():
    case = case_of(SIX, projections=projections(p11_1=2.12))
    first, second = (json.dumps(to_plain(computed(SIX, case))) for _ in range(2))
    assert first == second
    again = rebuild(ImpressionResult, json.loads(first))
    assert json.dumps(to_plain(again)) == first


def test_the_row_adds_its_parts_and_leaves_the_play_out():
    result = computed(SIX, case_of(SIX))
    rubber, tray, hand, play = result.parts
    assert [part.route for part in result.parts] == ["rubber", "tray", "put back", "play in hole"]
    assert result.row.position.u == pytest.approx(math.hypot(rubber.position.u, hand.position.u))
    assert result.row_with_play.tilt.u == pytest.approx(math.hypot(result.row.tilt.u, play.tilt.u))
    assert result.row.scale.mean == pytest.approx(rubber.scale.mean + tray.scale.mean)
    assert result.row.depth.mean == pytest.approx(rubber.depth.mean + hand.depth.mean)
    assert result.row.scale.basis == "assumed"
    assert "computed from the rubber" in result.row.depth.source


def test_the_play_is_that_of_this_case():
    none = computed(SIX, case_of(SIX, pin=0.7)).parts[-1]
    assert (none.position.u, none.tilt.u) == (0.0, 0.0)
    wide = computed(SIX, case_of(SIX, pin=0.6)).parts[-1]
    assert wide.position.u == pytest.approx(25.0 / math.sqrt(2.0))
    assert wide.tilt.u == pytest.approx(math.degrees(math.sqrt(2.0) * 0.025 / 2.1))


def test_a_warm_room_cools_less_and_hurries_more():
    cold, warm = (computed(SIX, case_of(SIX, room_degC=t)) for t in (18, 28))
    assert warm.shrinkage_percent < cold.shrinkage_percent
    assert warm.timetable[2].at_min < cold.timetable[2].at_min


def test_the_makers_sheet_replaces_what_is_remembered():
    clock = timetable(case_of(SIX, working_time_min=2.0, setting_time_min=5.0))
    seat = next(m for m in clock if m.do.startswith("tray home"))
    assert seat.at_min == pytest.approx(1.5)
    assert "maker's sheet" in seat.note
    assert clock[3].at_min < 5.0
    times = [m.at_min for m in clock]
    assert times == sorted(times)


@pytest.mark.parametrize("rubber", ["polysulfide", "polyether", "addition silicone"])
@pytest.mark.parametrize("room", [10.0, 23.0, 35.0])
def test_every_clock_runs_forward(rubber, room):
    clock = timetable(case_of(SIX, room_degC=room, chain={"impression": rubber}))
    times = [m.at_min for m in clock]
    assert times == sorted(times)
    assert all(math.isfinite(t) for t in times)


def test_too_short_a_working_time_is_said():
    result = computed(SIX, case_of(SIX, working_time_min=1.2, room_degC=30))
    finding = next(f for f in result.findings if f.code == "impression.time")
    assert finding.verdict == "stop"


def test_times_between_their_figures():
    assert at_temperature(6.0, 4.3, 23.0) == pytest.approx(6.0)
    assert at_temperature(6.0, 4.3, 37.0) == pytest.approx(4.3)
    assert set_after_min(0.0, 9.0, 6.0) == 6.0
    assert set_after_min(9.0, 9.0, 6.0) == 9.0


def under(depth, x, count=50):
    turn = np.linspace(0, 2 * np.pi, count)
    points = np.column_stack([x + np.cos(turn), np.sin(turn), np.full(count, -1.0)])
    return points, np.tile([1.0, 0.0, 0.0], (count, 1)), np.full(count, depth)


@pytest.mark.parametrize(("depth", "verdict"), [(0.4, "clear"), (0.8, "caution"), (1.6, "stop")])
def test_strain_is_depth_over_thickness(depth, verdict):
    result = computed(SIX, case_of(SIX, bulk_mm=3.0, u_bulk_mm=0.1), undercuts=Undercuts(*under(depth, 1.0)))
    (squeeze,) = result.removal.squeezes
    assert squeeze.strain_percent == pytest.approx(100.0 * depth / 3.0)
    assert squeeze.set_um == pytest.approx(1000.0 * depth * 0.005)
    finding = next(f for f in result.findings if f.code == "impression.strain")
    assert finding.verdict == verdict


def test_undercut_of_teeth_that_may_lie_outside_the_tray_is_a_caution():
    result = computed(SIX, case_of(SIX, bulk_mm=3.0), undercuts=Undercuts(*under(1.6, 60.0)))
    assert next(f for f in result.findings if f.code == "impression.strain").verdict == "caution"


def test_lean_grows_as_the_tray_comes_up():
    removal = computed(SIX, case_of(SIX, depth=2.0)).removal
    assert removal.lean_deg == pytest.approx(1.4384, abs=1e-4)
    assert np.all(np.diff(removal.lean_at_deg) >= 0.0)
    assert removal.lean_at_deg[-1] == 90.0
    assert removal.free_after_mm == 2.0
    assert removal.pivot_mm == pytest.approx(2.0**2 / (4 * 0.05), rel=0.03)


def test_a_pin_that_leans_has_less_to_give():
    from dataclasses import replace

    lean = np.radians(1.0)
    axis = np.array([np.sin(lean), 0.0, np.cos(lean)])
    field = replace(THREE, pins=(replace(THREE.pins[0], axis=axis), *THREE.pins[1:]))
    removal = computed(field, case_of(field, depth=2.0)).removal
    assert removal.lean_deg == pytest.approx(0.4384, abs=1e-4)
    assert removal.limited_by == "11-1"


def test_metal_pins_endanger_the_tooth_and_plastic_ones_give():
    plastic, metal = (computed(SIX, case_of(SIX, pin_material=m)) for m in ("plastic", "metal"))
    assert bends_first(plastic.removal)
    assert not bends_first(metal.removal)
    fracture = next(f for f in metal.findings if f.code == "impression.fracture")
    assert fracture.verdict == "caution"
    assert "plastic pins" in fracture.do
    assert fracture.uncertainty is not None


def test_polysulfide_is_told_off_by_the_standard():
    result = computed(SIX, case_of(SIX, chain={"impression": "polysulfide"}))
    finding = next(f for f in result.findings if f.code == "impression.recovery")
    assert finding.limit == 96.5
    assert finding.verdict == "caution"


def test_injection_goes_from_closed_ends_outward():
    places = [(2.0, 5.0), (2.0, 0.0)]
    faces = [Face("groove", 11, np.array([4.0, y, z]), UP, "picked on the scan") for y, z in places]
    order = stations(SIX, faces, UP)
    assert [one.number for one in order] == list(range(1, len(order) + 1))
    assert order[0].kind == "groove"
    assert order[0].start @ UP < order[0].end @ UP
    assert [one.kind for one in order if one.tooth == 22] == ["pin"] * 3


def test_one_picked_place_of_a_groove_is_drawn_along_the_draw():
    order = stations(THREE, [Face("groove", 11, np.array([4.0, 0.0, 1.0]), UP, "stated")], UP)
    assert order[0].end - order[0].start == pytest.approx([0.0, 0.0, 3.0])


def test_every_finding_says_what_to_do_unless_clear():
    case = case_of(SIX, projections=projections(p11_1=2.34), bulk_mm=1.0)
    result = computed(SIX, case, undercuts=Undercuts(*under(0.5, 1.0)))
    for finding in result.findings:
        assert finding.says.endswith(".")
        assert finding.verdict == "clear" or finding.do
        assert finding.value is None or finding.unit
        assert finding.limit is None or finding.limit_source


def test_the_order_of_the_pins_changes_nothing():
    from dataclasses import replace

    readings = projections(p11_1=2.34, p11_2=2.1, p22_3=1.9)
    order = [4, 0, 5, 2, 1, 3]
    turned = replace(SIX, pins=tuple(SIX.pins[i] for i in order))
    case = case_of(SIX, projections=readings)
    first, second = computed(SIX, case), computed(turned, case)
    by_name = {pin.name: pin for pin in second.projections}
    for pin in first.projections:
        assert by_name[pin.name].opening_um == pytest.approx(pin.opening_um, abs=1e-4)
        assert by_name[pin.name].remedy == pin.remedy
    assert second.row.position.u == pytest.approx(first.row.position.u)
    assert second.tally == first.tally
