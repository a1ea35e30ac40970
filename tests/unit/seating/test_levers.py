"""Changes that apply, and gains that are really there."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pinseat.seating.bridges import Bridges, seat_bridges
from pinseat.seating.levers import SURE, changes, compare, levers
from pinseat.seating.problem import build, net_factor

TRIALS = 4_000


def bridges(assembly, seed: int = 1) -> Bridges:
    return seat_bridges(build(assembly), limit_mm=assembly.limit_mm, trials=TRIALS, seed=seed)


def families(assembly) -> set[str]:
    return {change.family for change in changes(assembly)}


def test_offered_gains_come_back_when_recomputed_with_other_bridges(make, five) -> None:
    assembly = make(*five, hole=0.71).assembly()
    found = levers(assembly, bridges(assembly), seed=1)
    assert len(found) == 3
    assert [lever.gain for lever in found] == sorted((lever.gain for lever in found), reverse=True)
    by_words = {change.words: change for change in changes(assembly)}
    before = bridges(assembly, seed=99).home.mean()
    for lever in found:
        assert lever.gain > SURE * lever.u_gain
        assert lever.after.probability - lever.before.probability == pytest.approx(lever.gain, abs=1e-12)
        again = bridges(by_words[lever.change].assembly, seed=99).home.mean() - before
        assert again == pytest.approx(lever.gain, abs=5.0 * lever.u_gain)


def test_each_family_is_offered_once(make, five) -> None:
    assembly = make(*five, hole=0.70).assembly()
    family = {change.words: change.family for change in changes(assembly)}
    found = [family[lever.change] for lever in levers(assembly, bridges(assembly), seed=1, most=20)]
    assert len(found) == len(set(found)) >= 3


def test_nothing_is_offered_where_nothing_can_be_gained(make, one_row) -> None:
    assembly = make(one_row(tilt=0.01, position=1.0), u_axis_deg=0.0).assembly()
    before = bridges(assembly)
    assert before.home.all()
    assert levers(assembly, before, seed=1) == ()


def test_pairing_makes_the_gain_surer_than_two_separate_counts(make, five) -> None:
    assembly = make(*five, hole=0.71).assembly()
    lever = levers(assembly, bridges(assembly), seed=1)[-1]
    assert lever.u_gain < math.hypot(lever.before.standard_error, lever.after.standard_error)


def test_a_change_that_only_brings_a_binding_bridge_nearer_is_told_with_its_gain_in_clearance(
    make, one_row
) -> None:
    """1.2 % over 16 mm leaves every pin stuck; pins 0.02 mm thinner only lessen what is lacking."""
    assembly = make(one_row(scale=(1.2, 0.05), position=5.0, tilt=0.05)).assembly()
    found = levers(assembly, bridges(assembly), seed=1)
    thinner = next(lever for lever in found if "thinner" in lever.change)
    assert (thinner.before.probability, thinner.after.probability) == (0.0, 0.0)
    assert thinner.gain_lacking_um == pytest.approx(10.0, abs=0.5)  # 0.75 - 0.62 leaves room for 0.02 only


def test_mould_is_set_to_a_net_scale_of_nil(make, five) -> None:
    assembly = make(*five).assembly()
    lowered = next(change for change in changes(assembly) if change.family == "mould")
    assert net_factor(assembly.rows) > 1.0
    assert net_factor(lowered.assembly.rows) == pytest.approx(1.0, abs=1e-12)
    assert lowered.words == "lower the mould's expansion from 1.70 % to 1.65 %"


def test_a_scale_read_over_the_span_is_known_to_the_reading(make, five) -> None:
    assembly = make(*five).assembly()
    span = max(np.linalg.norm(a - b) for a in assembly.mouths for b in assembly.mouths)
    measured = next(change for change in changes(assembly) if change.family == "die span")
    scales = [row.scale for row in measured.assembly.rows if row.copy in ("impression", "die")]
    assert math.hypot(*(scale.u for scale in scales)) == pytest.approx(100.0 * 0.010 / span)
    assert [scale.mean for scale in scales] == [0.0, 0.0]


def test_a_scale_already_known_better_is_not_measured_again(make, one_row) -> None:
    rows = (one_row("impression", scale=(0.0, 0.01)), one_row("die", scale=(0.0, 0.01)))
    assert "die span" not in families(make(*rows).assembly())


def test_wide_holes_and_short_pins_are_left_alone(make, five) -> None:
    wide = make(*five, hole=0.77).assembly()
    assert "clearance" not in families(wide)
    short = make(*five, depths=(1.65, 1.65)).assembly()
    assert "length" not in families(short)


def test_thinner_pins_stay_within_the_widest_clearance(make, five) -> None:
    assembly = make(*five, hole=0.74).assembly()
    for change in changes(assembly):
        assert (change.assembly.hole_mm - change.assembly.pin_mm).max() <= 0.150 + 1e-9
        assert change.assembly.length_mm.min() >= 1.5 - 1e-9


def test_a_worse_material_is_not_tried(make, five) -> None:
    tried = {change.words for change in changes(make(*five).assembly()) if change.family == "impression"}
    assert not any("polysulfide" in words for words in tried)


def test_a_leaning_hole_is_cut_anew_along_the_others(make, five) -> None:
    assembly = make(*five, lean_deg=0.0, u_axis_deg=0.0).assembly()
    axes = assembly.axes.copy()
    lean = math.radians(2.5)
    axes[4] = [math.sin(lean), 0.0, math.cos(lean)]
    leaning = replace(assembly, axes=axes)
    found = levers(leaning, bridges(leaning), seed=1)
    assert found[0].change == "cut the hole of pin 22-2 anew along the others (it leans 2.5 deg)"
    assert "recut" not in families(assembly)


def test_no_gain_is_no_lever() -> None:
    lacking = np.linspace(-0.02, 0.01, 1000)
    same = Bridges(np.zeros(1000), lacking, lacking, lacking <= 0.0)
    assert compare("do nothing", same, same) is None


def test_every_candidate_is_a_bridge_that_can_be_built(make, five) -> None:
    """Tight holes, long leaning pins, an old impression material: nearly every kind of change applies."""
    old = replace(five[0], route="polysulfide", depth=replace(five[0].depth, mean=25.0, u=14.4))
    assembly = make(old, *five[1:], hole=0.67, lean_deg=1.0, depths=(3.0, 3.0)).assembly()
    found = changes(assembly)
    assert {change.family for change in found} >= {
        "clearance", "length", "mould", "test casting", "die span", "pin check", "impression", "recut"
    }  # fmt: skip
    assert len({change.words for change in found}) == len(found)
    for change in found:
        problem = build(change.assembly)
        assert np.all(np.isfinite(problem.mean(problem.seat)))
        assert problem.factor(problem.seat).shape == build(assembly).factor(problem.seat).shape


def test_a_smaller_stock_pin_is_named_by_its_size(make, five) -> None:
    assembly = make(*five, hole=0.70).assembly()
    thick = replace(assembly, pin_mm=np.full(6, 0.65))
    words = [change.words for change in changes(thick) if change.family == "clearance"]
    assert words[0] == "use the smaller stock pin, 0.61 mm instead of 0.65 mm"
