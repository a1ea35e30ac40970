"""Pins from calliper readings."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pinseat.case.model import Callipers
from pinseat.errors import SurveyError
from pinseat.ledger.handover import Handover
from pinseat.survey.callipers import Network, Solved, field_of, network, sights, solve
from pinseat.survey.step import run

PINS = {"11-1": (0.0, 0.0), "11-2": (3.0, 1.5), "22-1": (16.0, 0.0), "22-2": (18.5, -1.0)}


def callipers(readings: list[dict[str, object]], names: tuple[str, ...] = tuple(PINS)) -> Callipers:
    layout = [
        {"tooth": n[:2], "number": n[3:], "x_mm": PINS[n][0], "y_mm": PINS[n][1], "guide_length_mm": 6.0}
        for n in names
    ]
    return Callipers.model_validate({"layout": layout, "readings": readings})


def every_reading(net: Network, state: np.ndarray, rng: np.random.Generator) -> list[dict[str, object]]:
    taken = []
    for i, first in enumerate(net.names):
        for j, second in enumerate(net.names):
            for kind in ("base", "tip", "tip to base"):
                if i < j or (kind == "tip to base" and i != j):
                    true = net.row(state, kind, i, j)[0]
                    taken.append({"kind": kind, "pins": [first, second], "mm": [true + 0.02 * rng.normal()]})
    return taken


def test_derivatives_of_a_reading():
    net = network(callipers([]))
    state = net.prior + 0.05 * np.random.default_rng(1).normal(size=20)
    for kind in ("base", "tip", "tip to base"):
        _, row = net.row(state, kind, 0, 2)
        by_steps = [
            (net.row(state + 1e-6 * e, kind, 0, 2)[0] - net.row(state - 1e-6 * e, kind, 0, 2)[0]) / 2e-6
            for e in np.eye(20)
        ]
        np.testing.assert_allclose(row, by_steps, atol=1e-8)


def test_splay_is_recovered_within_its_stated_uncertainty():
    rng = np.random.default_rng(2)
    net, play = network(callipers([])), dict.fromkeys(PINS, 0.04)
    off = []
    for _ in range(20):
        state = net.prior + net.u_prior * rng.normal(size=20)
        solved = solve(net, callipers(every_reading(net, state, rng)).readings)
        true = sights(net, Solved(state, solved.covariance, solved.misfit), play)
        seen = sights(net, solved, play)
        off += [(a.splay_deg - b.splay_deg) / a.u_deg for a, b in zip(seen, true, strict=True)]
    assert 0.90 <= np.mean(np.abs(off) < 1.96) <= 0.99


def test_no_reading_leaves_the_prior():
    net = network(callipers([]))
    solved = solve(net, ())
    np.testing.assert_allclose(solved.state, net.prior)
    np.testing.assert_allclose(np.sqrt(np.diag(solved.covariance)), net.u_prior)


def test_two_pins_are_blind_across_their_line():
    given = callipers(
        [
            {"kind": "base", "pins": ["11-1", "22-1"], "mm": [16.0]},
            {"kind": "tip", "pins": ["11-1", "22-1"], "mm": [16.0]},
        ],
        ("11-1", "22-1"),
    )
    net = network(given)
    solved = solve(net, given.readings)
    along, across = sights(net, solved, {"11-1": 0.04, "22-1": 0.04})
    assert not along.blind
    assert across.blind
    assert across.words == "splay across the line of pins 11-1 and 22-1"


def test_the_field_keeps_the_order_of_the_case_and_its_covariance(made):
    given = callipers([{"kind": "base", "pins": ["11-1", "22-1"], "mm": [16.0]}])
    net = network(given)
    field = field_of(
        net, solve(net, given.readings), given.layout, [made.abutment(22, 2), made.abutment(11, 2)]
    )
    assert [pin.name for pin in field.pins] == ["22-1", "22-2", "11-1", "11-2"]
    assert field.covariance.shape == (16, 16)
    assert abs(field.covariance[:4, 8:12]).max() > 0.01  # readings leave pins correlated
    assert math.degrees(math.sqrt(field.covariance[2, 2])) == pytest.approx(3.0, rel=1e-6)


def bench(made, readings: list[dict[str, object]]):  # type: ignore[no-untyped-def]
    given = callipers(readings).model_dump()
    return made.case(made.abutment(11, 2), made.abutment(22, 2), callipers=given)


def test_blind_readings_give_cannot_tell_and_the_next_reading(made):
    result = run(bench(made, [{"kind": "base", "pins": ["11-1", "22-1"], "mm": [16.0]}]), Handover())
    verdicts = {finding.code: finding for finding in result.findings}
    assert verdicts["survey.draw"].verdict == "cannot tell"
    assert verdicts["survey.sight"].verdict == "cannot tell"
    assert verdicts["survey.sight"].do.startswith("take one more reading")
    assert result.blind
    assert result.field.basis == "callipers"
    assert {face.basis for face in result.faces} == {"assumed from crown size"}


def test_a_slip_of_the_pen_is_named(made):
    net = network(callipers([]))
    taken = every_reading(net, net.prior, np.random.default_rng(3))
    wrong = next(k for k, one in enumerate(taken) if one["kind"] == "tip")
    taken[wrong] = {**taken[wrong], "mm": [float(taken[wrong]["mm"][0]) + 1.0]}  # type: ignore[index]
    result = run(bench(made, taken), Handover())
    stops = [f for f in result.findings if f.code == "survey.reading"]
    assert len(stops) == 1
    assert stops[0].verdict == "stop"
    assert stops[0].where == "reading between the free ends of pins 11-1 and 11-2"


def test_repeats_that_disagree_are_asked_about(made):
    reading = {"kind": "base", "pins": ["11-1", "22-1"], "mm": [16.0, 16.01, 16.3]}
    found = [f for f in run(bench(made, [reading]), Handover()).findings if f.code == "survey.repeat"]
    assert [f.verdict for f in found] == ["caution"]
    assert found[0].value == pytest.approx(0.29)


@pytest.mark.parametrize(
    ("names", "readings", "words"),
    [
        (("11-1", "11-1"), [], "laid out twice"),
        (("11-1",), [{"kind": "tip", "pins": ["11-1", "22-1"], "mm": [1.0]}], "not in the layout"),
        (("11-1",), [{"kind": "tip", "pins": ["11-1", "11-1"], "mm": [1.0]}], "between two pins"),
    ],
)
def test_a_layout_that_makes_no_sense_is_refused(names, readings, words):
    with pytest.raises(SurveyError, match=words):
        network(callipers(readings, names))


def test_a_pin_beyond_those_of_the_case_is_refused(made):
    given = callipers([]).model_dump()
    with pytest.raises(SurveyError, match="the case does not state"):
        run(made.case(made.abutment(11, 1), made.abutment(22, 2), callipers=given), Handover())
