from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pinseat.ledger.findings import Finding
from pinseat.report.advice import all_findings, next_action, opening_at, opening_words


def test_findings_come_with_the_worst_first(binds) -> None:
    verdicts = [f.verdict for f in all_findings(binds.survey, binds.casting, binds.seating)]
    assert verdicts == sorted(verdicts, key=["stop", "cannot tell", "caution", "clear"].index)
    assert len(verdicts) == len(binds.survey.findings) + len(binds.casting.findings)


def test_a_stop_is_dealt_with_first(binds) -> None:
    assert next_action(binds.survey, binds.casting, binds.seating).startswith("Widen the hole of pin 11-1")


def test_without_a_stop_the_lever_that_gains_most_is_named(binds, home) -> None:
    assert next_action(home.survey, home.casting, binds.seating) == "Ream the holes of 11 to 0.75 mm."


def test_an_open_question_asks_for_its_reading(unknown) -> None:
    assert "splay of pin 11-1" in next_action(unknown.survey, unknown.casting, unknown.seating)
    asks = Finding(
        "survey.blind", "", "cannot be seen", "cannot tell", do="measure tip to base from 11-1 to 22-1"
    )
    survey = replace(unknown.survey, findings=(*unknown.survey.findings, asks))
    assert next_action(survey, unknown.casting, unknown.seating) == "Measure tip to base from 11-1 to 22-1."


def test_a_bridge_that_goes_home_needs_nothing(home) -> None:
    assert next_action(home.survey, home.casting, home.seating).startswith("Nothing needs changing")


def test_nothing_helps_is_said_plainly(home, binds) -> None:
    seating = replace(binds.seating, levers=())
    assert next_action(home.survey, home.casting, seating).startswith("No single change helps enough")


@pytest.mark.parametrize(
    ("share", "expected"), [(0.5, 40.0), (0.75, 60.0), (0.9, 72.0), (0.95, math.inf), (0.1, 40.0)]
)
def test_opening_is_read_between_quantiles(home, share: float, expected: float) -> None:
    seating = replace(
        home.seating,
        quantiles=np.array([0.5, 0.75, 0.9, 0.99]),
        opening_um=np.array([40.0, 60.0, 72.0, np.inf]),
    )
    assert opening_at(seating, share) == expected


def test_a_bridge_that_cannot_go_on_has_no_opening(twelve, home) -> None:
    assert opening_words(twelve.seating) == "fewer than 90 in 100 bridges go on at all"
    assert opening_words(home.seating) == "up to 94 µm in 90 of 100 bridges"


def test_a_guessed_mould_is_tested_before_a_bridge_that_goes_home_is_cast(home) -> None:
    """A good chance of seating must not hide that it rests on an assumed expansion."""
    rows = tuple(
        replace(row, scale=replace(row.scale, basis="assumed")) if row.copy == "investment" else row
        for row in home.casting.fit.rows
    )
    untested = Finding(
        "casting.investment", "phosphate bonded investment", "a guess", "caution", do="cast a test bar"
    )
    casting = replace(
        home.casting, fit=replace(home.casting.fit, rows=rows), findings=(*home.casting.findings, untested)
    )
    said = next_action(home.survey, casting, home.seating)
    assert said == "The mould's expansion is a guess. Before the bridge is cast, cast a test bar."
