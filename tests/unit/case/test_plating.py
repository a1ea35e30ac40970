"""The plating part of a case: hours, moments, pieces that do not go together, tooth numbers."""

from pathlib import Path

import pytest

from pinseat.case.document import load_case
from pinseat.case.plating import Plating
from pinseat.errors import CaseError

HEAD = """
number = "7"
missing = [21]
notation = "FDI"
[callipers]
layout = [{ tooth = 11, number = 1, x_mm = 0.0, y_mm = 0.0, guide_length_mm = 8.0 }]
[[abutments]]
tooth = 11
pins = 1
hole_diameter_mm = 0.7
hole_depth_mm = 2.5
cast_pin_diameter_mm = 0.6
"""


def load(folder: Path, text: str, head: str = HEAD) -> Plating:
    (folder / "case.toml").write_text(head + text, encoding="utf-8")
    return load_case(folder).plating


def test_hours_and_moments_are_put_into_one_form(tmp_path: Path) -> None:
    plating = load(
        tmp_path, '[plating]\nunstaffed = ["8.00-9:30", "20:00 – 07:30"]\nstart = "2026-03-02T16:00"\n'
    )
    assert plating.unstaffed == ("08:00-09:30", "20:00-07:30")
    assert plating.start == "2026-03-02 16:00"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('unstaffed = ["night"]', 'these are no hours of a day ("night"); write them as "20:00-07:30"'),
        ('unstaffed = ["20:00-20:00"]', "these are no hours of a day"),
        ('start = "2026-02-30 16:00"', 'this is no day with a time ("2026-02-30 16:00")'),
        ('pieces = [{ name = "x" }]', "nothing gives the size of this piece"),
        ('pieces = [{ name = "x", area_mm2 = -5 }]', "this is too small (-5; expected more than 0.5)"),
        (
            "pieces = [{ tooth = 11, area_mm2 = 50, outline_mm = [[0, 0], [5, 0], [5, 5]], depth_mm = 1 }]",
            "the size of this piece is given twice",
        ),
        ("pieces = [{ tooth = 11 }, { tooth = 11 }]", 'two pieces have one name ("11")'),
        ('pieces = [{ name = "x", outline_mm = [[0, 0], [5, 0], [5, 5]] }]', "an outline without depth"),
        ('pieces = [{ name = "x", outline_mm = [[0, 0], [5, 0]], depth_mm = 1 }]', "needs three corners"),
        (
            'pieces = [{ name = "x", outline_mm = [[0, 0], [5, 5], [5, 0], [0, 5]], depth_mm = 1 }]',
            "this outline crosses itself",
        ),
        (
            'rods = [{ piece = "12" }]',
            'there is no such piece for the rod ("12"; expected one of 11)',
        ),
        ('shields = [{ piece = "12", hole_mm = 3 }]', "there is no such piece for the shield"),
        ('thieves = [{ piece = "12" }]', "there is no such piece for the thief"),
        ('shields = [{ piece = "11", hole_mm = 12 }]', "the hole is as wide as the shield"),
        ("masks = [{ at = [0, 0, 0], radius_mm = 1 }]", "a patch to be covered is a place on a scan"),
        (
            "two_plates = { near_mm = 50, far_mm = 20, near_g = 1, far_g = 1, area_mm2 = 9, current_mA = 9 }",
            "farther",
        ),
        (
            "cell = { area_mm2 = 400, readings = [{ distance_mm = 20, current_mA = 5, voltage_V = 0.2 }] }",
            "one distance cannot tell",
        ),
        ('bath = { name = "gold cyanide" }', "this is not one of the choices"),
        ("bath = { efficiency_percent = 120 }", "expected at most 100"),
    ],
)
def test_what_does_not_go_together_is_told(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(CaseError) as error:
        load(tmp_path, f"[plating]\n{text}\n")
    assert says in str(error.value)
    assert "plating" in str(error.value)


def test_universal_numbers_reach_the_pieces(tmp_path: Path) -> None:
    head = (
        HEAD.replace('"FDI"', '"Universal"')
        .replace("missing = [21]", "missing = [9]")
        .replace("tooth = 11", "tooth = 8")
    )
    plating = load(tmp_path, "[[plating.pieces]]\ntooth = 8\narea_mm2 = '74,0'\n", head)
    assert [(p.tooth, p.area_mm2) for p in plating.pieces] == [(11, 74.0)]


def test_without_a_word_everything_is_left_open(tmp_path: Path) -> None:
    plating = load(tmp_path, "")
    assert plating.bath.name is None
    assert plating.pieces == ()
