"""What a case states about casting and cement: read, and refused where it does not go together."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pinseat.case.document import load_case, problems

from .conftest import BENCH

Write = Callable[..., Path]

CASTING = """
[chain]
investment = "phosphate bonded"
alloy = "silver palladium"

[casting]
lot = "P-0421"
liquid_ml_per_100g = 24
pattern_g = "0,94"
due = "2026-03-05 16:00"
sheet = [
  { liquid_percent = 50, setting_percent = 0.35, thermal_percent = 0.95 },
  { liquid_percent = 100, total_percent = 2.05 },
]

[[casting.bars]]
lot = "P-0388"
made = "2026-01-12"
liquid_percent = 70
before_mm = "30,01"
after_mm = 29.96

[cement]
kind = "glass ionomer"
viscosity = [{ min = 1, Pa_s = 60 }, { min = 2, Pa_s = 150 }]
"""


def test_casting_and_cement_are_read(write: Write) -> None:
    case = load_case(write(BENCH + CASTING))
    assert case.casting.pattern_g == 0.94
    assert case.casting.sheet[0].thermal_percent == 0.95
    assert case.casting.bars[0].before_mm == 30.01
    assert case.casting.bars[0].u_mm == 0.01
    assert case.cement.viscosity[1].Pa_s == 150.0


def test_a_case_that_says_nothing_has_neither_sheet_nor_bars(write: Write) -> None:
    case = load_case(write(BENCH))
    assert case.casting.sheet == case.casting.bars == ()
    assert case.cement.kind == "zinc phosphate"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("liquid_percent = 70", "water_powder = 0.40", ["phosphate-bonded", "water_powder"]),
        ("liquid_percent = 70\n", "", ["at which mix", "liquid_percent"]),
        ("total_percent = 2.05", "total_percent = 2.05, thermal_percent = 1.0", ["beside its parts"]),
        ("total_percent = 2.05", "thermal_percent = 1.0", ["not whole", "total_percent"]),
        (
            "setting_percent = 0.35, thermal",
            "setting_percent = 0.35, hygroscopic_percent = 1.2, thermal",
            ["not both"],
        ),
        ("after_mm = 29.96", "after_mm = 2.996", ["no casting changes", "-90.0 %"]),
        ("{ min = 2, Pa_s = 150 }", "{ min = 0.5, Pa_s = 150 }", ["do not rise"]),
        ("{ min = 2, Pa_s = 150 }", "{ min = 2, Pa_s = 15 }", ["does not get thinner"]),
        ('kind = "glass ionomer"', "working_min = 1.2", ["after the working time"]),
        ('due = "2026-03-05 16:00"', 'due = "Thursday"', ["casting.due"]),
        ("pattern_g", "patern_g", ["pattern_g"]),
        ("liquid_ml_per_100g = 24", "liquid_ml_per_100g = 24\nwater_powder = 0.4", ["water_powder"]),
    ],
)
def test_a_slip_is_named(write: Write, old: str, new: str, words: list[str]) -> None:
    said = problems(write(BENCH + CASTING, (old, new)))
    assert len(said) == 1, said
    for word in words:
        assert word in said[0]


@pytest.mark.parametrize(("copy", "refused"), [("investment", True), ("alloy", False), ("pattern", False)])
def test_what_the_bars_show_is_not_stated_twice(write: Write, copy: str, refused: bool) -> None:
    reading = f'\n[[measured]]\ncopy = "{copy}"\nerror = "scale"\nmean = 0.1\nu = 0.05\nhow = "microscope"\n'
    said = problems(write(BENCH + CASTING + reading))
    assert bool(said) is refused
    if refused:
        assert "take the scale of investment out of [[measured]]" in said[0]


def test_bars_against_the_die_show_the_wax_too(write: Write) -> None:
    reading = '\n[[measured]]\ncopy = "pattern"\nerror = "scale"\nmean = 0.1\nu = 0.05\nhow = "microscope"\n'
    against = ('lot = "P-0421"', 'lot = "P-0421"\nbars_against = "die"')
    (said,) = problems(write(BENCH + CASTING + reading, against))
    assert "investment and pattern" in said
