"""The page of a comparison of two scans."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinseat.compare.certain import with_certain
from pinseat.compare.model import (
    ChangedPlace,
    CompareResult,
    Deviation,
    Laid,
    MeasuredRow,
    PinChange,
    ScaleChange,
    Span,
)
from pinseat.ledger.findings import Finding
from pinseat.ledger.pins import Pin, PinField
from pinseat.mesh.model import Mesh
from pinseat.report.compare_sheet import write_compare_sheet
from pinseat.report.compare_words import headline, pin_words, screen_lines, sheet_words
from pinseat.report.pages import tidy
from pinseat.report.setting import page_count

META = {"code": "0.1.0+3f9a61c2", "first scan": "9f2d", "second scan": "550d"}
HOSTILE = '#panic() $x$ *b* _i_ "q" \\ <a> @b // = Überbrückung'


def pin(name: str, depth_mm: float = 0.0, *, seen: bool = True) -> PinChange:
    u = np.array([0.002, 0.002, 0.001, 0.001, 0.004, 0.001])
    change = np.array([0.001, 0.002, 0.0005, 0.0, depth_mm, 0.0003])
    return PinChange(
        name, 2.2, 2.0, 0.03, 0.06, 1e3 * depth_mm if seen else None, 4.0 if seen else None, 0.3, 1.0,
        change, np.diag(u**2), change[:4], (),
    )  # fmt: skip


def result(count: int = 5, places: int = 3, name: str = "later.stl") -> CompareResult:
    pins = with_certain([pin(f"11-{i + 1}", 0.08 if i == 0 else 0.0) for i in range(count)])
    laid = Laid(np.eye(3), np.zeros(3), 3.1, 9.0, 0.006, 14.0, 0.97, 0.99, False)
    patch = [
        ChangedPlace(np.array([4.0 + i, 3.0, 0.5]), 12.0, -60.0, -104.0, "11-1" if i == 0 else "")
        for i in range(places)
    ]
    row = MeasuredRow("die", "scale", 0.012, 0.02, f"scans {name} and teeth compared")
    found = Finding(
        "compare.pin_depth", "pin 11-1", "The pin stands out.", "stop", 80.0, 4.0, "um", 50.0, "x", "press"
    )
    return CompareResult(
        "teeth.stl", name, laid, (ScaleChange("shared surface", 0.012, 0.02),),
        (Span((11, 22), 14.19, 14.194, 4.0, 6.0, 1.7),), pins, (), tuple(patch), 50.0, 0.95, (row,),
        (found, Finding("compare.pose", "both scans", "How well.", "clear", 9.0, None, "um", 20.0, "x")),
    )  # fmt: skip


def scanned() -> tuple[Deviation, PinField]:
    x, y = np.meshgrid(np.arange(0.0, 12.0, 0.4), np.arange(0.0, 8.0, 0.4))
    index = np.arange(x.size, dtype=np.int32).reshape(x.shape)
    a, b, c, d = (p.ravel() for p in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    mesh = Mesh(
        np.column_stack((x.ravel(), y.ravel(), 0.05 * (x * y).ravel() / 8.0)),
        np.concatenate((np.column_stack((a, b, c)), np.column_stack((a, c, d)))),
    )
    distance = np.where(x.ravel() > 11.0, np.nan, 0.1 * np.sin(x.ravel()))
    foot = np.array([3.0, 3.0, 0.1])
    pins = (Pin(11, 1, foot, np.array([0.0, 0.0, 1.0]), 0.65, 2.0, 0.02, 0.001, 0.02),)
    return Deviation(mesh, distance, distance), PinField(pins, np.zeros((4, 4)), "scan")


@pytest.mark.parametrize("given", [result(24, 40, HOSTILE), replace(result(0, 0), spans=(), rows=())])
def test_one_page_whatever_is_on_it(given, tmp_path):
    found, pins = scanned()
    written = write_compare_sheet(tmp_path, given, found, pins if given.pins else None, META)
    assert page_count(written[0].read_bytes()) == 1
    assert {path.name for path in written} == {
        "compare.pdf",
        "compare.glb",
        "compare.ply",
        "compare.png",
        "compare.svg",
    }
    assert written[1].read_bytes()[:4] == b"glTF"


def test_the_same_comparison_gives_the_same_bytes(tmp_path):
    found, pins = scanned()
    one = write_compare_sheet(tmp_path / "a", result(), found, pins, META)
    two = write_compare_sheet(tmp_path / "b", result(), found, pins, META)
    assert [path.read_bytes() for path in one] == [path.read_bytes() for path in two]


def test_every_number_has_its_uncertainty_and_every_change_its_word():
    plain = tidy(sheet_words(result(), META, []))
    assert plain["pins"][0]["said"] == "farther out"
    assert plain["pins"][1]["said"] == "no change seen"
    assert plain["pins"][0]["depth"][1][1] == "4.0"
    assert plain["verdict"]["word"] == "stop"
    assert "80.0\u00a0±\u00a04.0\u00a0µm" in plain["verdict"]["why"]
    assert plain["rows"][0][0] == "[[measured]]"


def test_a_depth_that_was_not_seen_is_left_out_and_not_zero():
    assert "depth" not in pin_words(pin("11-1", seen=False))
    unseen = replace(result(), pins=(pin("11-1", seen=False),))
    assert sheet_words(unseen, META, [])["pins"][0]["depth"] is None


def test_clear_says_so_in_words():
    clear = Finding("compare.pose", "both scans", "How well.", "clear")
    assert headline((clear,))["word"] == "clear"


def test_the_screen_names_each_pin_and_each_place_once():
    lines = list(screen_lines(result()))
    assert [head for head, _ in lines].count("pin 11-1") == 1
    assert sum("at the farthest" in words for _, words in lines) == 2  # the one at a pin is the pin's
