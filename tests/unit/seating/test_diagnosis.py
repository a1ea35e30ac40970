"""What a try-in shows, what it tells, and that neither threads nor order matter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.diagnosis import bridge
from pinseat.case.tryin import OpeningReading, PinReading, SpanReading, TryIn
from pinseat.demo.faulty import any_bridges
from pinseat.errors import SeatingError
from pinseat.seating.assembly import Assembly
from pinseat.seating.diagnosis import (
    FEW,
    diagnose,
    die_holes,
    like_this,
    probabilities,
    tempered,
    weights,
)
from pinseat.seating.faults import CAUSES, Errors, all_cells
from pinseat.seating.nextcheck import mutual_information_bits, next_checks
from pinseat.seating.observations import Bridges, die_look, foretold, likelihood, looks_of, opening_look
from pinseat.seating.remedies import Remedy, first_choice
from pinseat.seating.tried import Tried, hold_up

Made = tuple[Assembly, np.ndarray, Bridges]


@pytest.fixture(scope="module")
def made() -> Made:
    assembly, die = bridge(2)
    return assembly, die, any_bridges(assembly, die, 150, seed=4)


def nothing(assembly: Assembly, k: int = 1) -> Errors:
    n, f = len(assembly.names), len(assembly.faces)
    return Errors(
        np.zeros(k),
        np.zeros((k, n, 2)),
        np.zeros((k, n, 2)),
        np.zeros((k, n)),
        np.zeros((k, f)),
        np.zeros((k, n + f)),
    )


def tried(assembly: Assembly, errors: Errors) -> Tried:
    k, n = errors.depth.shape
    return hold_up(assembly, errors, np.zeros((k, n)), np.zeros((k, 2 * n)))


def test_a_perfect_bridge_goes_home_and_touches_nothing(made: Made) -> None:
    seen = tried(made[0], nothing(made[0]))
    assert seen.home[0]
    assert seen.starts.all()
    assert not seen.rubs.any()
    assert not seen.bottoms.any()
    assert seen.opening_mm == pytest.approx(0.0, abs=2e-3)


def test_a_pin_too_long_stands_on_its_tip(made: Made) -> None:
    """0.25 mm too long over a relief of 0.1 mm: the tip is 0.15 mm early, and some margin opens by more."""
    errors = nothing(made[0])
    errors.depth[0, 2] = 0.25
    seen = tried(made[0], errors)
    assert seen.bottoms[0].tolist() == [False, False, True, False]
    assert seen.opening_mm.max() >= 0.15
    assert not seen.home[0]


def test_a_speck_on_a_margin_holds_it_off_by_its_height(made: Made) -> None:
    assembly, errors = made[0], nothing(made[0])
    errors.speck[0, len(assembly.names) + 5] = 0.2
    seen = tried(assembly, errors)
    assert seen.opening_mm[0, 5] == pytest.approx(0.2, abs=2e-3)  # the margin itself, over the speck
    assert not seen.home[0]
    assert not seen.bottoms.any()


def test_a_bent_margin_is_open_though_everything_is_down(made: Made) -> None:
    errors = nothing(made[0])
    errors.surface[0, 3] = 0.3
    seen = tried(made[0], errors)
    assert seen.opening_mm[0, 3] == pytest.approx(0.3, abs=5e-3)
    assert not seen.rubs.any()


def test_a_span_too_long_by_more_than_the_play_does_not_start(made: Made) -> None:
    errors = nothing(made[0])
    errors.scale[0] = 0.02
    seen = tried(made[0], errors)
    assert not seen.starts.all()
    assert seen.opening_mm.min() > 1.0


def test_what_happened_before_the_die_does_not_show_on_it(made: Made) -> None:
    _, _, bridges = made
    proud = bridges.sample.cause == CAUSES.index("proud seat")
    long = bridges.sample.cause == CAUSES.index("long pin")
    assert bridges.die.home[proud].mean() > 3.0 * bridges.die.home[long].mean()


def test_every_cell_of_a_cause_is_as_probable(made: Made) -> None:
    cells = all_cells(made[0])
    assert np.bincount(cells.cause, cells.prior) == pytest.approx(np.ones(len(CAUSES)))
    assert (cells.high >= cells.low).all()


def test_importance_weights_give_back_the_plain_probabilities(made: Made) -> None:
    """Only the die is looked at: drawing where it matters changes no probability beyond its error."""
    assembly, die, _ = made
    seen = [(die_look(), 1.0)]
    plain = any_bridges(assembly, die, 800, seed=8)
    staged = like_this(assembly, seen, die, 800, seed=9)
    one, other = (probabilities(b, weights(b, seen)) for b in (plain, staged))
    assert other == pytest.approx(one, abs=0.04)


def test_same_seed_same_answer_and_order_does_not_matter(made: Made) -> None:
    assembly, die, _ = made
    seen = [(opening_look((i,), assembly, 0.025), 0.05 * i) for i in range(6)]
    one, again, turned = (
        diagnose(assembly, s, die, wanted=0.9, seed=3, each=150) for s in (seen, seen, seen[::-1])
    )
    assert one == again
    assert [c.cause for c in turned.causes] == [c.cause for c in one.causes]
    assert [c.probability for c in turned.causes] == pytest.approx(
        [c.probability for c in one.causes], abs=1e-9
    )


def test_few_alike_make_it_shy_and_say_so(made: Made) -> None:
    assembly, die, _ = made
    odd = [(opening_look((i,), assembly, 0.005), 0.9 if i % 2 else 0.0) for i in range(8)]
    found = diagnose(assembly, odd, die, wanted=0.9, seed=3, each=150)
    assert found.effective_bridges == pytest.approx(FEW, rel=0.02)
    assert any(finding.code == "diagnosis.unlike" for finding in found.findings)
    assert tempered(np.zeros(500), FEW) == pytest.approx(1.0 / 500.0)


def test_a_check_that_was_done_is_not_asked_for_again(made: Made) -> None:
    _, _, bridges = made
    even = np.full(len(bridges), 1.0 / len(bridges))
    first = next_checks(bridges, even, [])
    assert [c.bits for c in first] == sorted((c.bits for c in first), reverse=True)
    assert all(c.bits <= np.log2(len(CAUSES)) for c in first)
    again = next_checks(bridges, even, [die_look()])
    assert "die" not in " ".join(c.words for c in again)


def test_information_of_a_known_channel() -> None:
    """Binary symmetric channel: 1 - H(0.1) = 0.531 bit (Cover and Thomas, 7.1.4; from memory)."""
    assert mutual_information_bits(np.array([[0.45, 0.05], [0.05, 0.45]])) == pytest.approx(0.531, abs=5e-4)


def test_a_reading_far_off_counts_as_a_slip_not_as_a_proof() -> None:
    assembly, _ = bridge(2)
    look = opening_look((0,), assembly, 0.025)
    told = likelihood(look, 0.5, np.array([0.5, 0.0]))
    assert 3.0 < told[0] - told[1] < 9.0


def test_the_cheapest_that_is_nearly_as_good_comes_first_and_never_a_cut() -> None:
    few = Remedy("clean", 0.3, 0.01, "minutes")
    good, better = Remedy("cast", 0.8, 0.01, "casting"), Remedy("impress", 0.95, 0.01, "impression")
    cut = Remedy("ream", 0.99, 0.01, "holes", "dentine")
    assert first_choice((few, good, better, cut)) == good
    assert first_choice((cut,)) is None
    assert first_choice((replace(few, probability=0.0), cut)) is None


def test_everything_stated_becomes_a_look(made: Made) -> None:
    assembly = made[0]
    tryin = TryIn(
        openings=(
            OpeningReading(tooth=11, um=80.0),
            OpeningReading(tooth=22, um=200.0, side="towards the gap", u_um=40.0),
            OpeningReading(tooth=22, um=50.0, point=(11.0, 2.0, -1.0)),
        ),
        starts=("11-1",),
        stuck=("22-1",),
        bottoms=("22-2",),
        clean=("11-2",),
        on_die="stands open",
        loupe="nothing found",
        pins=(PinReading(pin="22-2", length_mm=2.6, lean_deg=1.0),),
        spans=(SpanReading(pins=("11-1", "22-1"), casting_mm=16.05, teeth_mm=16.0),),
    )
    looks = looks_of(tryin, assembly)
    assert [look.kind for look, _ in looks] == [
        *["opening"] * 3, "starts", "starts", "rubs", "bottoms", "length", "lean", "span", "die", "loupe"
    ]  # fmt: skip
    assert len(looks[0][0].at) == 4
    near = assembly.faces[looks[1][0].at[0]].point
    assert near[0] == min(face.point[0] for face in assembly.faces if face.tooth == 22)
    assert [x for _, x in looks][3:7] == [1.0, 0.0, 0.0, 1.0]
    assert looks[-3][1] == pytest.approx(0.05)
    assert all(np.isfinite(foretold(look, made[2])).all() for look, _ in looks)


@pytest.mark.parametrize(
    ("tryin", "says"),
    [
        (TryIn(), "nothing was seen"),
        (TryIn(starts=("11-9",)), "no such pin"),
        (TryIn(openings=(OpeningReading(tooth=13, um=50.0),)), "no margin"),
    ],
)
def test_what_cannot_be_weighed_is_refused(made: Made, tryin: TryIn, says: str) -> None:
    with pytest.raises(SeatingError, match=says):
        looks_of(tryin, made[0])


def test_the_die_has_the_holes_of_the_impression_pins(make, five) -> None:
    case = make(*five).case
    assembly = make(*five).assembly()
    assert np.array_equal(die_holes(assembly, case.abutments), assembly.hole_mm)
    stated = [a.model_copy(update={"impression_pin_diameter_mm": 0.68}) for a in case.abutments]
    assert die_holes(assembly, stated) == pytest.approx(0.68)
