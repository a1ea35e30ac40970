"""Teeth scanned twice with known changes: pose, changed pins and impression, against the demo's truth.

Small stretches of an arch and few seeds here; twenty seeds and whole arches are in ``benchmarks/compare.py``.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace

import numpy as np
import pytest

from pinseat.case.model import Case
from pinseat.chain.compare import compare
from pinseat.compare.model import CompareResult, Side
from pinseat.compare.step import run
from pinseat.demo import text
from pinseat.demo.bridge import CENTRAL, PinSet
from pinseat.demo.changed import Change, Pair, changed_pair, impression_pair
from pinseat.demo.plans import FRONT, Plan, patch_plan
from pinseat.demo.scanner import Scanner
from pinseat.demo.truth import Truth
from pinseat.ledger.handover import Handover
from pinseat.mesh.model import Mesh
from pinseat.mesh.registration import register
from pinseat.mesh.working_copy import working_copy
from pinseat.mesh.write import stl_bytes
from pinseat.numerics.similarity import turn_of
from pinseat.survey.step import run as survey

PINS = PinSet((0.65, 0.05), (3.0, 0.4), (0.0, 1.5), 0.15)
CHANGES = (Change(11, 1, pulled_mm=0.08), Change(11, 3, bent_deg=1.2))


def plan(seed: int) -> Plan:
    return patch_plan(seed, (12, 11, 21), (21,), (CENTRAL,), PINS)


@dataclass(frozen=True, eq=False)
class Seen:
    pair: Pair
    first: Side
    second: Side
    result: CompareResult


def side(name: str, stated: Plan, mesh: Mesh, truth: Truth) -> Side:
    case = Case.model_validate(tomllib.loads(text.scanned_case(stated, truth)))
    sound = working_copy(mesh).mesh
    field = survey(case.model_copy(update={"contacts": ()}), Handover(), mesh=sound).field
    return Side(name, sound, field)


def compared(seed: int) -> Seen:
    stated = plan(seed)
    pair = changed_pair(
        stated, seed, changes=CHANGES, worn_share=0.08, scanner=Scanner(warp_um=8.0), edge_mm=0.12
    )
    first = side("first", stated, pair.first, pair.truth)
    second = side("second", stated, pair.second, pair.second_truth)
    return Seen(pair, first, second, run(first, second)[0])


@pytest.fixture(scope="module", params=[1])
def seen(request) -> Seen:
    return compared(request.param)


def test_changed_pins_are_found_and_the_others_declared_unchanged(seen):
    by_place = {}
    for pin, found in zip(seen.first.pins.pins, seen.result.pins, strict=True):
        true = min(seen.pair.truth.pins, key=lambda t: float(np.linalg.norm(t.foot - pin.foot)))
        by_place[true.name] = found
    assert {name: found.certain for name, found in by_place.items()} == {
        "11-1": ("farther out",),
        "11-2": (),
        "11-3": ("bent",),
    }
    pulled, bent = by_place["11-1"], by_place["11-3"]
    assert pulled.depth_um == pytest.approx(80.0, abs=3.0 * pulled.u_depth_um)
    assert pulled.u_depth_um < 8.0
    assert bent.tilt_deg == pytest.approx(1.2, abs=3.0 * bent.u_tilt_deg)
    assert bent.u_tilt_deg < 0.15


def test_no_scale_or_span_error_is_made_up(seen):
    for scale in seen.result.scales:
        assert abs(scale.change_percent) < 3.0 * scale.u_percent
    assert seen.result.spans == ()  # one abutment


def test_the_worn_places_are_on_the_map(seen):
    """A tenth of a millimetre in the middle of each; they may touch and count as one."""
    away = [place for place in seen.result.places if not place.at]
    assert 1 <= len(away) <= 3
    assert min(place.farthest_um for place in away) == pytest.approx(-100.0, abs=20.0)


def test_an_impression_of_the_same_teeth_is_turned_over_and_fits(seen):
    """The second scan's back for its front: the same pose, the same distances."""
    mesh = seen.second.mesh
    negative = Mesh(mesh.vertices, np.ascontiguousarray(mesh.faces[:, ::-1]))
    result, _ = run(replace(seen.first, pins=None), Side("impression", negative))
    assert result.laid.negative
    assert result.laid.rotation == pytest.approx(seen.result.laid.rotation, abs=1e-4)
    assert result.within_share == pytest.approx(seen.result.within_share, abs=0.01)


def test_a_pin_too_far_out_of_the_impression_is_found_from_files(tmp_path):
    """Pins of 5.0 mm; 2.0 mm of each should stand out of the rubber, one stands 0.24 mm farther out."""
    pins = PinSet((0.65, 0.0), (3.0, 0.02), (0.0, 0.5), 0.1)
    stated = patch_plan(4, (12, 11, 21), (21,), (CENTRAL,), pins)
    proud = (Change(11, 2, pulled_mm=0.24),)
    pair = impression_pair(
        stated, 4, length_mm=5.0, changes=proud, scanner=Scanner(warp_um=8.0), edge_mm=0.12
    )
    case, scan = tmp_path / "teeth", tmp_path / "impression.stl"
    (case / "scans").mkdir(parents=True)
    (case / "case.toml").write_text(text.scanned_case(stated, pair.truth), encoding="utf-8")
    (case / stated.scan_file).write_bytes(stl_bytes(pair.first))
    scan.write_bytes(stl_bytes(pair.second))
    result = compare(case, scan, copy="impression").result
    assert result.laid.negative
    assert {pin.name: pin.certain for pin in result.pins} == {
        "11-1": (),
        "11-2": ("farther out",),
        "11-3": (),
    }
    depth = {pin.name: (pin.depth_um, pin.u_depth_um) for pin in result.pins}
    for name, true_um in (("11-1", 0.0), ("11-2", 240.0), ("11-3", 0.0)):
        assert depth[name][0] == pytest.approx(true_um, abs=3.0 * depth[name][1])
        assert depth[name][1] < 30.0
    assert [f.verdict for f in result.findings if f.where == "pin 11-2"] == ["stop"]
    assert [row.error for row in result.rows] == ["scale", "position", "tilt", "depth"]
    assert (case / "results/compare.pdf").is_file()


def test_the_pose_of_a_whole_arch_is_that_of_the_truth():
    """Without a warp the true pose is known: to 2 um and 0.01 deg, though 8 % of the surface was worn."""
    changes = (Change(11, 1, pulled_mm=0.08), Change(22, 2, bent_deg=1.2))
    pair = changed_pair(
        FRONT, 3, changes=changes, worn_share=0.08, scanner=Scanner(warp_um=0.0), edge_mm=0.10
    )
    assert min(len(pair.first.faces), len(pair.second.faces)) > 280_000
    laid = register(pair.first, pair.second)
    there = laid.rotation.T @ (laid.middle - laid.shift)
    off_um = 1e3 * np.linalg.norm(laid.middle - pair.rotation @ there - pair.shift)
    off_deg = np.degrees(np.linalg.norm(turn_of(laid.rotation @ pair.rotation.T)))
    assert off_um < 2.0
    assert off_deg < 0.01
    u = np.sqrt(np.diag(laid.covariance))
    assert off_um < 3e3 * np.linalg.norm(u[:3])
    assert off_deg < 3.0 * np.degrees(np.linalg.norm(u[3:6]))
    assert laid.scale == pytest.approx(1.0, abs=3.0 * u[6])
