"""The step: what it makes, what it refuses, and that it does not depend on where the scan lies."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from pinseat.case.tray import Tray as Stated
from pinseat.errors import TrayError
from pinseat.ledger.handover import Handover
from pinseat.ledger.pins import Pin, PinField
from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import components, edges
from pinseat.tray.ask import asked_of
from pinseat.tray.step import Tray, run

from .conftest import DRAW, case_of, handover, pins

COARSE = 0.5


def codes(tray: Tray, verdict: str) -> set[str]:
    return {f.code for f in tray.result.findings if f.verdict == verdict}


def test_a_tray_is_made_and_everything_about_it_is_clear(made: Tray) -> None:
    result = made.result
    assert result.made
    assert made.mesh is not None
    assert (edges(made.mesh).count == 2).all()
    assert components(made.mesh).max() == 0
    assert codes(made, "stop") == set()
    assert {s.kind for s in result.stops} <= {"cusp", "ridge"}
    assert result.handle == "grip on the body, on the line of pull"
    assert result.sound is not None
    assert result.sound.genus == result.sound.genus_designed == 0


def test_the_map_shows_the_room_over_each_place(made: Tray) -> None:
    assert made.relief_mm is not None
    assert made.cast is not None
    crown = (np.abs(made.cast.vertices[:, 0] - 9.0) < 1.0) & (made.cast.vertices[:, 2] > 6.3)
    assert np.nanmedian(made.relief_mm[crown]) == pytest.approx(2.6, abs=0.3)
    assert made.block_out_mm is not None
    bulge = np.abs(made.cast.vertices[:, 2] - 0.8) < 0.3
    assert 0.1 < made.block_out_mm[bulge].max() < 1.2
    assert made.result.block_out_cm3 is not None
    assert made.result.block_out_cm3 > 0.0


def test_doses_add_up_to_the_gap(made: Tray, scan: Mesh) -> None:
    """Volume over area inside is a thickness: more than half the relief, less than pockets and block-out."""
    doses = made.result.doses
    assert doses is not None
    assert doses.tray_g == pytest.approx(1.18 * doses.tray_cm3)
    gap = 1e3 * (doses.light_cm3 + doses.heavy_cm3)
    inside = 0.8 * 100.0 * doses.adhesive_cm2
    assert 1.4 < gap / inside < 4.0
    assert doses.light_cm3 > 0.1


def test_moving_and_turning_the_whole_case_changes_nothing(made: Tray, scan: Mesh) -> None:
    turn = Rotation.from_euler("xyz", [35.0, -70.0, 140.0], degrees=True).as_matrix()
    shift = np.array([120.0, -40.0, 15.0])
    field = pins()
    moved = tuple(
        Pin(p.tooth, p.number, turn @ p.foot + shift, turn @ p.axis, 0.6, 3.0, 0.01, 0.005, 0.01)
        for p in field.pins
    )
    there = Mesh(scan.vertices @ turn.T + shift, scan.faces)
    other = run(
        case_of(grid_mm=0.4),
        Handover(field=PinField(moved, field.covariance, "scan"), draw=turn @ DRAW),
        mesh=there,
    )
    a, b = made.result, other.result
    assert b.handle == a.handle
    for one, two in zip(a.stops, b.stops, strict=True):
        assert np.linalg.norm(turn @ one.at + shift - two.at) < 0.1
    for one, two in zip(a.pins, b.pins, strict=True):
        assert two.swept_mm == pytest.approx(one.swept_mm, abs=0.005)
    assert a.sound is not None
    assert b.sound is not None
    assert b.sound.volume_mm3 == pytest.approx(a.sound.volume_mm3, rel=2e-3)
    assert other.mesh is not None
    assert made.mesh is not None
    back = (other.mesh.vertices - shift) @ turn
    assert np.abs(back.min(axis=0) - made.mesh.vertices.min(axis=0)).max() < 0.05


def test_the_same_case_gives_the_same_bytes(made: Tray, scan: Mesh) -> None:
    again = run(case_of(grid_mm=0.4), handover(), mesh=scan)
    assert again.mesh is not None
    assert made.mesh is not None
    assert again.mesh.vertices.tobytes() == made.mesh.vertices.tobytes()
    assert again.mesh.faces.tobytes() == made.mesh.faces.tobytes()
    assert again.result.findings == made.result.findings


def test_holes_for_the_rubber_are_counted_and_keep_clear_of_stops(scan: Mesh) -> None:
    tray = run(case_of(grid_mm=COARSE, retention_hole_mm=2.0), handover(), mesh=scan)
    sound = tray.result.sound
    assert sound is not None
    assert sound.genus == sound.genus_designed > 5
    assert "tray.sound" not in codes(tray, "stop")
    assert "tray.stop_touches" not in codes(tray, "stop")


def test_without_a_handle(scan: Mesh) -> None:
    tray = run(case_of(grid_mm=COARSE, handle=False), handover(), mesh=scan)
    assert tray.result.handle == "none"
    assert tray.mesh is not None
    assert tray.mesh.vertices[:, 2].max() < 14.0


def test_sheets_without_their_thickness_are_refused_with_the_stock_list(scan: Mesh) -> None:
    for stated in ({"relief_sheets": 2}, {"pin_sheets": 4}):
        with pytest.raises(TrayError, match=r"baseplate wax 1\.3 mm") as caught:
            run(case_of(**stated), handover(), mesh=scan)
        assert "casting wax 0.7 mm" in str(caught.value)
        assert "sheet_mm" in caught.value.do


def test_relief_in_sheets_is_the_same_as_in_millimetres(scan: Mesh) -> None:
    tray = run(case_of(grid_mm=COARSE, relief_sheets=3, sheet_mm=0.7), handover(), mesh=scan)
    assert tray.result.asked.relief_mm == pytest.approx(2.1)
    assert tray.result.gaps[0].percentiles_mm[1] == pytest.approx(2.1, abs=0.03)
    assert tray.result.hand.sheets == 3


def test_a_limit_names_who_set_it() -> None:
    assert "assumed by this project" in asked_of(Stated()).pin_gap_source
    assert asked_of(Stated(pin_gap_mm=1.0)).pin_gap_source == "pin_gap_mm under [tray], as stated"


def test_relief_thinner_than_the_pins_need_stops_and_writes_no_body(scan: Mesh) -> None:
    tray = run(
        case_of(grid_mm=COARSE, relief_mm=0.8, pin_extra_mm=0.0, pin_gap_mm=1.5), handover(), mesh=scan
    )
    assert not tray.result.made
    assert tray.mesh is None
    (found,) = (f for f in tray.result.findings if f.code == "tray.relief")
    assert (found.verdict, found.limit) == ("stop", 1.5)
    assert "0.70" in found.do


def test_a_stop_on_a_prepared_tooth_stops_and_writes_no_body(scan: Mesh) -> None:
    picked = ((0.0, 1.5, 4.0), (18.0, 1.8, 7.2), (-18.0, 1.8, 7.2))
    tray = run(case_of(grid_mm=COARSE, stops=picked), handover(), mesh=scan)
    assert tray.mesh is None
    (found,) = (f for f in tray.result.findings if f.code == "tray.stop_on_prepared")
    assert (found.verdict, found.where) == ("stop", "stop 1")
    assert "11" in found.says
    assert found.do


def test_a_stop_in_the_room_of_a_pin_stops(scan: Mesh) -> None:
    picked = ((6.0, 0.0, 5.9), (18.0, 1.8, 7.2), (-18.0, 1.8, 7.2))
    tray = run(case_of(grid_mm=COARSE, stops=picked), handover(), mesh=scan)
    assert tray.mesh is None
    assert "tray.stop_in_pin_room" in codes(tray, "stop")


def test_two_stops_are_too_few_and_three_in_line_tip(scan: Mesh) -> None:
    two = run(case_of(grid_mm=COARSE, stops=((18.0, 1.8, 7.2), (-18.0, 1.8, 7.2))), handover(), mesh=scan)
    assert two.mesh is None
    assert "tray.stops" in codes(two, "stop")
    line = ((18.0, 1.8, 7.2), (9.0, 1.8, 7.2), (-18.0, 1.8, 7.2))
    three = run(case_of(grid_mm=COARSE, stops=line), handover(), mesh=scan)
    assert "tray.stops_steady" in codes(three, "stop")


def test_a_picked_stop_off_the_scan_is_refused(scan: Mesh) -> None:
    with pytest.raises(TrayError, match="picked stop lies off the scan") as caught:
        run(case_of(stops=((9.0, 0.0, 20.0),)), handover(), mesh=scan)
    assert caught.value.where == "tray.stops, point 1"


def test_a_border_off_the_scan_is_refused_and_named(scan: Mesh) -> None:
    drawn = ((-20.0, 5.5, -2.0), (20.0, 5.5, -2.0), (20.0, -25.0, -2.0))
    with pytest.raises(TrayError, match="border leaves the scan") as caught:
        run(case_of(border=drawn), handover(), mesh=scan)
    assert caught.value.where == "tray.border, point 3"
    assert caught.value.do


def test_a_drawn_border_is_followed(scan: Mesh) -> None:
    def on_gum(x: float, y: float) -> tuple[float, float, float]:
        near = scan.vertices[np.argmin(((scan.vertices - [x, y, -2.0]) ** 2).sum(axis=1))]
        return tuple(near.tolist())

    drawn = tuple(on_gum(x, y) for x in (-24.0, -12.0, 0.0, 12.0, 24.0) for y in (-6.5, 6.5))
    tray = run(case_of(grid_mm=COARSE, border=drawn, handle=False), handover(), mesh=scan)
    assert tray.mesh is not None
    assert tray.mesh.vertices[:, 2].min() == pytest.approx(-2.0, abs=0.8)
    assert tray.result.border == "drawn, 10 points"


def test_a_scrap_of_a_scan_is_refused(scan: Mesh) -> None:
    keep = (np.abs(scan.vertices[:, 0]) < 3.0) & (scan.vertices[:, 2] > 2.0)
    scrap = Mesh(scan.vertices, np.ascontiguousarray(scan.faces[keep[scan.faces].all(axis=1)]))
    with pytest.raises(TrayError, match="too small for a tray"):
        run(case_of(), handover(), mesh=scrap)


def test_without_a_survey_there_is_no_tray(scan: Mesh) -> None:
    with pytest.raises(TrayError, match="not been surveyed"):
        run(case_of(), Handover(), mesh=scan)


def test_from_callipers_there_is_a_plan_and_no_body() -> None:
    tray = run(case_of(), handover())
    assert not tray.result.made
    assert tray.mesh is None
    assert "no scan" in tray.result.why_not
    assert len(tray.result.hand.piles) == 2
    assert tray.result.hand.outline == ()
    assert tray.result.hand.filler_cm3 is None


def test_from_callipers_the_impression_pins_count_where_their_length_is_stated() -> None:
    """Guide pins of 3 mm; impression pins of 5.0 mm in holes of 2.5 mm stand out 2.5 mm."""
    field = PinField(pins().pins, pins().covariance, "callipers")
    case = case_of()
    stated = case.model_copy(
        update={"abutments": (case.abutments[0].model_copy(update={"impression_pin_length_mm": 5.0}),)}
    )
    given = Handover(field=field, draw=DRAW)
    assert run(case, given).result.hand.piles[0].projection_mm == pytest.approx(3.0)
    assert run(stated, given).result.hand.piles[0].projection_mm == pytest.approx(2.5)
