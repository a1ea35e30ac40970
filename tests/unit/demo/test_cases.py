from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from pinseat.case.document import load_case
from pinseat.demo.bench import GUIDE_MM, SPIRAL_DEG, bench
from pinseat.demo.cases import Scenario, build, write
from pinseat.demo.surface import edges_of
from pinseat.errors import CaseError
from pinseat.survey.assign import number_pins


@pytest.fixture(scope="module")
def front() -> Scenario:
    return build("front", triangles=150_000)


def test_front_has_the_pins_it_should(front: Scenario) -> None:
    assert front.truth is not None
    assert front.case.missing == (21,)
    assert [(a.tooth, a.pins) for a in front.case.abutments] == [(11, 3), (22, 2)]
    assert [p.name for p in front.truth.pins] == ["11-1", "11-2", "11-3", "22-1", "22-2"]
    for pin in front.truth.pins:
        assert pin.diameter_mm == pytest.approx(0.65)
        assert pin.protrusion_mm == pytest.approx(3.0, abs=0.03)
        assert np.degrees(np.arccos(pin.axis @ front.truth.draw)) < 0.3


def test_front_is_as_large_as_asked_for_and_in_two_pieces(front: Scenario) -> None:
    assert front.mesh is not None
    assert len(front.mesh.faces) == pytest.approx(150_000, rel=0.05)
    _, of_face = edges_of(front.mesh.faces)
    assert np.bincount(of_face.ravel()).max() == 2
    size = front.mesh.vertices.max(axis=0) - front.mesh.vertices.min(axis=0)
    assert 50.0 < np.linalg.norm(size) < 110.0


def test_points_of_the_case_lie_on_the_scan(front: Scenario) -> None:
    assert front.mesh is not None
    places = [c.point for c in front.case.contacts]
    places += [a.at for a in front.case.abutments if a.at is not None]
    assert len(places) > 12
    for place in places:
        assert np.linalg.norm(front.mesh.vertices - np.array(place), axis=1).min() < 0.25


def test_span_prepares_both_canines() -> None:
    span = build("span", triangles=120_000)
    assert span.truth is not None
    assert [(a.tooth, a.pins) for a in span.case.abutments] == [(13, 4), (23, 4)]
    feet = np.array([p.foot for p in span.truth.pins])
    assert np.linalg.norm(feet[:4].mean(axis=0) - feet[4:].mean(axis=0)) == pytest.approx(29.0, abs=1.0)


@pytest.mark.parametrize("name", ["front", "span"])
def test_pins_are_numbered_as_the_survey_numbers_them(name: str) -> None:
    made = build(name, triangles=120_000)
    assert made.truth is not None
    pins = made.truth.pins
    feet, teeth = np.array([p.foot for p in pins]), [p.tooth for p in pins]
    numbered = number_pins(feet, teeth, made.case.abutments, made.truth.draw)
    assert [f"{tooth}-{number}" for tooth, number in numbered] == [p.name for p in pins]


def test_another_seed_is_another_case_of_the_same_kind() -> None:
    one, two = build("bench"), build("bench", seed=3)
    assert one.toml != two.toml
    assert one.case.missing == two.case.missing


def test_bench_folder_can_be_loaded(tmp_path: Path) -> None:
    write("bench", tmp_path / "new" / "bench")
    folder = tmp_path / "new" / "bench"
    case = load_case(folder)
    assert case == build("bench").case
    assert case.scan is None
    assert case.callipers is not None
    assert len(case.callipers.readings) == 6
    known = json.loads((folder / "truth.json").read_text())
    assert [pin["name"] for pin in known["pins"]] == ["11-1", "11-2", "22-1"]
    assert "invented" in (folder / "note.txt").read_text()


def test_scanned_folder_can_be_loaded_and_does_not_change(tmp_path: Path) -> None:
    for name in ("a", "b"):
        write("span", tmp_path / name, seed=9)
    case = load_case(tmp_path / "a")
    assert case.scan is not None
    for file in ("case.toml", "truth.json", "note.txt", case.scan.file):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def test_the_fault_of_the_bench_case_does_not_show_between_free_ends() -> None:
    made = bench(1, {})
    feet = np.array([p.foot for p in made.pins])
    axes = np.array([p.axis for p in made.pins])
    ends = feet + GUIDE_MM * axes
    for i, j in ((0, 1), (0, 2), (1, 2)):
        base, tip = (np.linalg.norm(p[i] - p[j]) for p in (feet, ends))
        assert abs(tip - base) < 0.02
    lean = np.degrees(np.arccos(axes[:, 2]))
    assert lean.max() == pytest.approx(SPIRAL_DEG, abs=0.01)


@pytest.mark.parametrize(("name", "triangles"), [("back", 300_000), ("front", 50_000)])
def test_what_cannot_be_made_is_said(name: str, triangles: int) -> None:
    with pytest.raises(CaseError, match=r"no such demo|shows no pins"):
        build(name, triangles=triangles)
