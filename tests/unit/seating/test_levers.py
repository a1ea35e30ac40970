"""Changes that apply, and gains that are really there."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pinseat.seating.bridges import Bridges, seat_bridges
from pinseat.seating.changes import changes
from pinseat.seating.levers import SURE, best_of_family, compared, helps, levers, pairs_of, try_changes
from pinseat.seating.places import with_pins
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


def test_no_gain_is_no_lever(make, five) -> None:
    lacking = np.linspace(-0.02, 0.01, 1000)
    same = Bridges(np.zeros(1000), lacking, lacking, lacking <= 0.0)
    lever = compared(changes(make(*five).assembly())[0], same, same)
    assert (lever.gain, lever.u_gain, lever.gain_lacking_um) == (0.0, 0.0, 0.0)
    assert not helps(lever, same)


def test_what_can_hurt_says_so_in_full(make, five) -> None:
    for change in changes(make(*five, hole=0.70).assembly()):
        if any(word in change.words for word in ("ream", "anew", "guide", "bevel", "one more pin")):
            assert "dentine" in change.caution
        if any(word in change.words for word in ("thinner", "shorter", "smaller", "taper", "leave out")):
            assert "holds less" in change.caution
    found = levers(make(*five, hole=0.70).assembly(), bridges(make(*five, hole=0.70).assembly()), seed=1)
    assert any(lever.caution and lever.in_full.endswith(lever.caution) for lever in found)


def test_added_pins_leave_every_other_random_number_alone(make, five) -> None:
    """An added pin in holes so wide that it never touches is no change at all."""
    assembly = make(*five, hole=0.71).assembly()
    more = with_pins(assembly)
    old, deeper = np.arange(8) < 6, np.where(np.arange(8) < 6, 0.0, 2.0)
    before = bridges(assembly).lacking_mm
    assert np.allclose(bridges(replace(more, present=old)).lacking_mm, before, atol=1e-7)
    loose = replace(
        more,
        hole_mm=np.where(old, more.hole_mm, 50.0),
        depth_mm=more.depth_mm + deeper,
        relief_mm=more.relief_mm + deeper,
    )
    assert np.allclose(bridges(loose).lacking_mm, before, atol=1e-7)


def test_a_pin_left_out_can_only_help_and_one_more_only_bind(make, five) -> None:
    assembly = make(*five, hole=0.71).assembly()
    before = bridges(assembly)
    for change in changes(assembly):
        if change.family in ("fewer pins", "more pins"):
            after = bridges(change.assembly)
            less = before.lacking_mm - after.lacking_mm
            assert less.min() >= -1e-7 if change.family == "fewer pins" else less.max() <= 1e-7


def test_two_changes_together_are_the_bridge_with_both(make, five) -> None:
    assembly = make(*five, hole=0.70).assembly()
    before = bridges(assembly)
    tried = changes(assembly)
    best = best_of_family(tried, try_changes(tried, before, seed=1), before)
    assert len({change.family for change, _ in best}) == len(best) >= 4
    joined = pairs_of(best)
    assert len(joined) == len(best[:5]) * (len(best[:5]) - 1) // 2
    for pair, lever in zip(joined, try_changes(joined, before, seed=1), strict=True):
        assert bridges(pair.assembly).home.mean() == lever.after.probability
        assert lever.u_gain < 0.02
    top = max(try_changes(joined, before, seed=1), key=lambda lever: lever.gain)
    assert top.gain >= best[0][1].gain


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
        columns = problem.factor(problem.seat).shape[1] - 8 * change.assembly.spare
        assert columns == build(assembly).factor(build(assembly).seat).shape[1]


def test_a_smaller_stock_pin_is_named_by_its_size(make, five) -> None:
    assembly = make(*five, hole=0.70).assembly()
    thick = replace(assembly, pin_mm=np.full(6, 0.65))
    words = [change.words for change in changes(thick) if change.family == "clearance"]
    assert words[0] == "use the smaller stock pin, 0.61 mm instead of 0.65 mm"
