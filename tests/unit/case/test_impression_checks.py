from __future__ import annotations

import pytest

from pinseat.case.impression_checks import impression_troubles
from pinseat.case.model import PinEdit
from pinseat.case.notation import in_fdi
from tests.unit.impression.conftest import SIX, case_of


def said(**impression):
    return [str(one.what) for one in impression_troubles(case_of(SIX, **impression))]


def test_a_sound_case_has_no_trouble():
    assert (
        said(projections=[{"pin": "11-1", "mm": [2.1]}], distances=[{"pins": ["11-1", "22-1"], "mm": [15]}])
        == []
    )


@pytest.mark.parametrize(
    ("impression", "what"),
    [
        ({"projections": [{"pin": "11-4", "mm": [2.1]}]}, "no such pin"),
        ({"projections": [{"pin": "eleven", "mm": [2.1]}]}, "no name of a pin"),
        ({"projections": [{"pin": "11-1", "mm": [-0.1]}]}, "below nothing"),
        ({"projections": [{"pin": "11-1", "mm": [2.1]}] * 2}, "stands twice"),
        ({"diameters": [{"pin": "11-1", "mm": 0.6}] * 2}, "stands twice"),
        ({"distances": [{"pins": ["11-1", "11-1"], "mm": [3.0]}]}, "two different pins"),
        ({"distances": [{"pins": ["11-1", "33-1"], "mm": [3.0]}]}, "no such pin"),
        ({"distances": [{"pins": ["11-1", "11-2"], "mm": [0.0]}]}, "more than nothing"),
    ],
)
def test_troubles_are_named(impression, what):
    assert any(what in one for one in said(**impression))


def test_a_pin_keeps_its_name_when_another_is_rejected():
    case = case_of(SIX, projections=[{"pin": "11-4", "mm": [2.1]}, {"pin": "11-2", "mm": [2.1]}])
    gone = PinEdit(action="reject", tooth=11, number=2)
    troubles = list(impression_troubles(case.model_copy(update={"pins": (gone,)})))
    assert [(t.value, t.limit) for t in troubles] == [('"11-2"', "one of 11-1, 11-3, 11-4, 22-1, 22-2, 22-3")]


def test_the_same_pin_may_be_read_at_every_stage():
    stages = [{"pin": "11-1", "at": at, "mm": [2.1]} for at in ("hole", "impression", "die", "casting")]
    assert said(projections=stages) == []


def test_universal_numbers_become_fdi_in_every_reading():
    case = case_of(
        SIX,
        projections=[{"pin": "8-1", "mm": [2.1]}],
        diameters=[{"pin": "8-2", "mm": 0.6}],
        distances=[{"pins": ["8-1", "10-1"], "mm": [15.0]}],
    )
    teeth = tuple(a.model_copy(update={"tooth": t}) for a, t in zip(case.abutments, (8, 10), strict=True))
    work = in_fdi(case.model_copy(update={"abutments": teeth, "missing": (9,)})).impression
    assert (work.projections[0].pin, work.diameters[0].pin) == ("11-1", "11-2")
    assert work.distances[0].pins == ("11-1", "22-1")
