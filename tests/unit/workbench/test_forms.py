from __future__ import annotations

import re

import pytest

from pinseat.case.model import Case
from pinseat.errors import CaseError
from pinseat.workbench import forms
from pinseat.workbench.html import tag
from pinseat.workbench.words import home

CASE = {
    "number": '7 <script>alert("x")</script>',
    "notation": "FDI",
    "missing": [21],
    "abutments": [
        {
            "tooth": 11,
            "pins": 3,
            "hole_diameter_mm": "0,70",
            "hole_depth_mm": 2.5,
            "cast_pin_diameter_mm": 0.6,
        },
        {"tooth": 22, "pins": 2, "hole_diameter_mm": 0.7, "hole_depth_mm": "?", "cast_pin_diameter_mm": 0.6},
    ],
}


def test_every_part_of_a_case_has_its_fields() -> None:
    for key in Case.model_fields:
        name = Case.model_fields[key].alias or key
        assert "data-place" in str(forms.part(name, CASE)) or "data-add" in str(forms.part(name, CASE)), name


def test_teeth_stand_side_by_side_and_what_is_missing_is_marked() -> None:
    html = str(forms.part("abutments", CASE))
    places = re.findall(r'data-place="([^"]*)"', html)
    assert "[&#34;abutments&#34;, 0, &#34;cast_pin_diameter_mm&#34;]" in places
    assert "[&#34;abutments&#34;, 1, &#34;cast_pin_diameter_mm&#34;]" in places
    missing = re.findall(r"<input[^>]*aria-invalid[^>]*>", html)
    assert len(missing) == 1
    assert "hole_depth_mm" in missing[0]
    assert 'placeholder="to be filled in"' in missing[0]


def test_what_a_person_typed_stays_words() -> None:
    html = str(forms.part("number", CASE))
    assert "<script>" not in html
    assert "&lt;script&gt;" in html


@pytest.mark.parametrize(
    ("place", "text", "value"),
    [
        (("missing",), "12 11", [12, 11]),
        (("abutments", 0, "cast_pin_diameter_mm"), "0,62", 0.62),
        (("abutments", 0, "pins"), "3", 3),
        (("abutments", 0, "at"), "1,5 -2 3.25", [1.5, -2.0, 3.25]),
        (("seat", "limit_um"), "", None),
        (("chain", "die"), "silver plated", "silver plated"),
        (("margins", 0, "closed"), "no", False),
    ],
)
def test_typed_text_becomes_what_the_file_holds(place: tuple, text: str, value: object) -> None:
    typed = forms.typed(place, text)
    assert typed == value
    assert type(typed) is type(value)


@pytest.mark.parametrize(
    ("place", "text"),
    [
        (("abutments", 0, "pins"), "2,5"),
        (("abutments", 0, "pins"), "two"),
        (("abutments", 0, "at"), "1 2"),
        (("nowhere",), "1"),
        (("abutments", 0, "nowhere"), "1"),
        (("seat", "limit_um"), "1,234.5"),
    ],
)
def test_what_cannot_be_typed_is_refused_in_words(place: tuple, text: str) -> None:
    with pytest.raises(CaseError):
        forms.typed(place, text)


def test_each_part_has_one_home() -> None:
    steps = ["scan", "survey", "tray", "impression", "plating", "casting", "seating", "report"]
    assert home("abutments", steps) == ""
    assert home("pins", steps) == "survey"
    assert home("chain", steps) == "casting"
    assert home("plating", steps) == "plating"
    assert home("seat", steps) == "seating"


def test_tags_escape_and_nest() -> None:
    assert str(tag("a", "<b>", tag("i", "x"), [None, "y"], href='"', data_x=0, hidden=False)) == (
        '<a href="&#34;" data-x="0">&lt;b&gt;<i>x</i>y</a>'
    )
