"""A tray for an invented arch with known pins, which stay clear; and the hand-made tray's known failure."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.case.model import Case
from pinseat.demo.cases import Scenario, build
from pinseat.demo.truth import TruePin
from pinseat.ledger.handover import Handover
from pinseat.ledger.pins import Pin, PinField
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.rays import Rays
from pinseat.survey.step import run as survey
from pinseat.tray import step
from pinseat.tray.checks import pile_finding
from pinseat.tray.sheets import pile

Made = tuple[Scenario, step.Tray]


@pytest.fixture(scope="module")
def span() -> Made:
    scenario = build("span", triangles=120_000)
    found = survey(scenario.case, Handover(), mesh=scenario.mesh)
    coarse = scenario.case.tray.model_copy(update={"grid_mm": 0.4})
    case = scenario.case.model_copy(update={"tray": coarse})
    given = Handover(field=found.field, faces=found.faces, draw=found.window.centre)
    return scenario, step.run(case, given, mesh=scenario.mesh)


def axis_points(pin: TruePin, lean: float, turn: float, lift: np.ndarray) -> np.ndarray:
    """Points on a true pin's axis, tilted about its foot and moved."""
    side = np.linalg.svd(pin.axis[None])[2][1:]
    way = np.cos(lean) * pin.axis + np.sin(lean) * (np.cos(turn) * side[0] + np.sin(turn) * side[1])
    along = np.linspace(0.0, pin.protrusion_mm, 60)
    return pin.foot + lift + along[:, None] * way


def test_true_pins_clear_the_tray_at_rest_and_on_a_wobbling_way(span: Made) -> None:
    """By moving each true pin through tilts, shifts and lifts: the tray comes no nearer than asked."""
    scenario, tray = span
    assert tray.mesh is not None
    assert scenario.truth is not None
    asked, draw = tray.result.asked, tray.result.draw
    search = Nearest(tray.mesh)
    rng = np.random.Generator(np.random.Philox(8))
    across = np.linalg.svd(draw[None])[2][1:]
    for pin in scenario.truth.pins:
        moved = [axis_points(pin, 0.0, 0.0, np.zeros(3))]
        for _ in range(12):
            shift = rng.uniform(0.0, 2.0 * np.pi)
            lift = -rng.uniform(0.0, 6.0) * draw
            lift = lift + asked.wobble_mm * (np.cos(shift) * across[0] + np.sin(shift) * across[1])
            moved.append(axis_points(pin, np.radians(asked.wobble_deg), rng.uniform(0, 2 * np.pi), lift))
        far = np.abs(search.search(np.concatenate(moved)).distance_mm) - 0.5 * pin.diameter_mm
        assert far.min() > asked.pin_relief_mm - 0.10  # survey finds a pin's end to some hundredths


def test_the_tray_comes_off_along_the_draw_and_stands_on_the_teeth(span: Made) -> None:
    scenario, tray = span
    assert tray.mesh is not None
    assert scenario.mesh is not None
    assert {f.code for f in tray.result.findings if f.verdict == "stop"} == set()
    assert tray.cast is not None
    assert not Rays(tray.cast).blocked(tray.mesh.vertices, tray.result.draw).any()
    touching = Nearest(tray.cast).search(tray.mesh.vertices[::3], within_mm=0.2)
    places = tray.mesh.vertices[::3][touching.face >= 0]
    for place in places:
        assert min(np.linalg.norm(stop.at - place) for stop in tray.result.stops) < 2.0
    assert {stop.kind for stop in tray.result.stops} <= {"cusp", "ridge"}
    assert tray.result.sound is not None
    assert tray.result.sound.genus == tray.result.sound.genus_designed


def test_stops_stand_on_no_prepared_tooth(span: Made) -> None:
    scenario, tray = span
    assert scenario.truth is not None
    for stop in tray.result.stops:
        assert min(np.linalg.norm(stop.at - pin.foot) for pin in scenario.truth.pins) > 5.0


def test_four_sheets_over_pins_of_4_2_mm_collide_by_1_4_mm() -> None:
    """Worked by hand: 4 x 0.7 = 2.8 mm of sheets, the pin stands 4.2 - 2.8 = 1.4 mm out of them; for a gap of
    1.0 mm (4.2 + 1.0) / 0.7 = 7.4, so eight. Lateral sweep (2 deg, 0.3 mm): 0.3 + 4.2 sin 2 deg = 0.447 mm.
    """
    four = pile("11-1", 4.2, sheet_mm=0.7, gap_mm=1.0, sheets=4, radius_mm=0.3, shift_mm=0.3, tilt_deg=2.0)
    assert four.gap_mm == pytest.approx(-1.4)
    assert four.sheets_needed == 8
    assert four.sweep_mm == pytest.approx(0.4466, abs=1e-4)
    assert four.side_mm == pytest.approx(0.3 + 0.4466 + 1.0, abs=1e-4)
    found = pile_finding(four, 1.0, "stated")
    assert found.verdict == "stop"
    assert found.value == pytest.approx(-1.4)
    assert "1.40 mm out of the sheets" in found.says
    assert found.do.startswith("lay 8 sheets over it in all, at least 1.7 mm to every side")


def test_the_same_in_a_case_without_a_scan() -> None:
    """From pins measured by callipers: stop, with the number, and eight sheets asked for."""
    up = np.array([0.0, 0.0, 1.0])
    pins = tuple(
        Pin(tooth, i + 1, np.array([x, y, 0.0]), up, 0.6, 4.2, 0.0, 0.0, 0.02)
        for tooth, i, x, y in ((11, 0, 0.0, 0.0), (11, 1, 3.0, 0.0), (22, 0, 14.0, 2.0))
    )
    field = PinField(pins, np.zeros((12, 12)), "callipers")
    case = Case.model_validate(
        {
            "number": "T-2",
            "missing": (21,),
            "abutments": [
                {
                    "tooth": 11,
                    "pins": 2,
                    "hole_diameter_mm": 0.7,
                    "hole_depth_mm": 2.5,
                    "cast_pin_diameter_mm": 0.6,
                },
                {
                    "tooth": 22,
                    "pins": 1,
                    "hole_diameter_mm": 0.7,
                    "hole_depth_mm": 2.5,
                    "cast_pin_diameter_mm": 0.6,
                },
            ],
            "tray": {"sheet_mm": 0.7, "pin_sheets": 4, "pin_gap_mm": 1.0},
        }
    )
    result = step.run(case, Handover(field=field, draw=up)).result
    found = [f for f in result.findings if f.code == "tray.sheets"]
    assert [f.verdict for f in found] == ["stop"] * 3
    assert all(f.value == pytest.approx(-1.4) for f in found)
    assert all("lay 8 sheets" in f.do for f in found)
    assert result.hand.patch_sheets == (4, 4)
