"""The sheet of readings to take."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
import typst
from matplotlib.patches import Circle

from pinseat.case.model import Case
from pinseat.report.pages import clean, tidy
from pinseat.report.readings_sheet import pin_sketch, sheet_words, write_readings_sheet
from pinseat.report.setting import page_count, template
from pinseat.report.style import look
from pinseat.survey.plan import plan

META = {"code version": "pinseat 0.1.0", "case hash": "5d1f3c77"}
HOSTILE = '#panic() $x$ *b* _i_ "q" \\ <a> @b // = Überbrückung Мост γέφυρα ' + "y" * 230


def bench(pins: dict[int, int], title: str = "", u_layout_mm: float = 0.5) -> Case:
    """So many guide pins on a ring round each tooth, the teeth 18 mm apart."""
    abutments = [
        {
            "tooth": tooth,
            "pins": count,
            "hole_diameter_mm": 0.7,
            "hole_depth_mm": 2.5,
            "cast_pin_diameter_mm": 0.62,
        }
        for tooth, count in pins.items()
    ]
    layout = [
        {
            "tooth": tooth,
            "number": k + 1,
            "x_mm": 18.0 * at + 2.5 * math.cos(2.0 * math.pi * k / count + 0.3),
            "y_mm": 2.0 * math.sin(2.0 * math.pi * k / count + 0.3),
            "guide_length_mm": 8.0,
        }
        for at, (tooth, count) in enumerate(pins.items())
        for k in range(count)
    ]
    callipers = {"layout": layout, "u_layout_mm": u_layout_mm}
    return Case.model_validate(
        {"number": "T-9", "title": title, "missing": [21], "abutments": abutments, "callipers": callipers}
    )


def written(folder, case: Case) -> bytes:
    path = write_readings_sheet(folder, case, plan(case), META)
    assert path == folder / "results" / "readings.pdf"
    return path.read_bytes()


@pytest.mark.parametrize(
    ("pins", "pages"),
    [({11: 1, 22: 1}, 1), ({11: 2, 22: 1}, 1), ({11: 2, 22: 2}, 1), ({11: 3, 22: 3}, 2), ({13: 6, 23: 6}, 3)],
)
@pytest.mark.parametrize("title", ["", "A long title of a case, " * 8])
def test_it_fits_its_pages_whatever_the_case(pins, pages, title, tmp_path) -> None:
    assert 1 <= page_count(written(tmp_path, bench(pins, title))) <= pages


def test_the_same_plan_gives_the_same_bytes(tmp_path) -> None:
    case = bench({11: 2, 22: 1})
    assert written(tmp_path / "a", case) == written(tmp_path / "b", case)


def test_every_reading_of_the_plan_stands_on_it_once_with_its_numbers() -> None:
    case = bench({11: 2, 22: 1})
    made = plan(case)
    words = sheet_words(case, made, META)
    rows = [(group["kind"], row) for group in words["groups"] for row in group["rows"]]
    assert [row["number"] for _, row in rows] == [str(k) for k in range(1, len(made.steps) + 1)]
    for step in made.steps:
        joined = " to ".join(step.pins) if step.kind == "tip to base" else " and ".join(step.pins)
        (row,) = [row for kind, row in rows if kind == step.kind and row["pins"] == joined]
        assert row["expected"] == f"{step.expected_mm:.1f} ± {step.u_expected_mm:.1f}"
        assert (row["without"], row["with"]) == (f"{step.u_before_deg:.2f}", f"{step.u_after_deg:.2f}")
        assert all(name in row["shows"] for name in step.shows.split("pins ")[1].split(" and "))
    assert words["task"] == f"{len(made.steps)} readings, each twice, in any order"
    assert "spiral" in words["note"]


def test_what_stays_unseen_is_told_with_what_would_see_it() -> None:
    case = bench({11: 1, 22: 1})
    words = sheet_words(case, plan(case), META)
    assert [one["words"] for one in words["unseen"]] == ["splay across the line of pins 11-1 and 22-1"]
    assert "photograph" in words["unseen"][0]["do"]
    assert words["seen"] == "These readings tell 1 of 2 possible splays from none."


def found(case: Case, selector: str) -> list[dict[str, object]]:
    plain = tidy(sheet_words(case, plan(case), META)) | {"sketch": ""}
    source = template("readings.typ").replace(b"image(data.sketch, width: 96mm", b"rect(width: 96mm")
    source = source.replace(b', alt: "The pins from above with their numbers."', b"")
    inputs = {"data": json.dumps(plain), "size": "9", "most": "3"}
    return json.loads(typst.query(source, selector, sys_inputs=inputs, ignore_system_fonts=True))


def test_words_of_a_person_are_never_read_as_markup() -> None:
    case = bench({11: 1, 22: 1}, HOSTILE)
    assert found(case, "<case-title>")[0]["child"]["text"] == clean(HOSTILE)  # type: ignore[index]


def test_each_reading_has_two_boxes_to_write_in() -> None:
    case = bench({11: 2, 22: 1})
    assert len(found(case, "<to-write-in>")) == 2 * len(plan(case).steps)


def test_the_sketch_shows_every_pin_in_its_place_and_the_right_side_left() -> None:
    case = bench({22: 1, 11: 2})
    assert case.callipers is not None
    layout = case.callipers.layout
    with look():
        axes = pin_sketch(layout).axes[0]
    dots = np.array([patch.center for patch in axes.patches if isinstance(patch, Circle)])
    place = np.array([[pin.x_mm, pin.y_mm] for pin in layout])
    assert dots[0, 0] > dots[1:, 0].max()  # tooth 22 is the patient's left
    for i in range(3):
        apart = np.linalg.norm(dots - dots[i], axis=1)
        np.testing.assert_allclose(apart, np.linalg.norm(place - place[i], axis=1), atol=1e-9)


def test_nothing_more_to_read_is_said(tmp_path) -> None:
    case = bench({11: 1, 22: 1})
    done = replace(plan(case), steps=())
    assert sheet_words(case, done, META)["task"] == "nothing more to read"
    assert page_count(write_readings_sheet(tmp_path, case, done, META).read_bytes()) == 1
