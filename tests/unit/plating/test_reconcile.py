"""Mass against charge: agrees, an outage or a current elsewhere, and what is on the pieces now."""

import pytest

from pinseat.case.log import Entry
from pinseat.case.plating import Bath as StatedBath
from pinseat.plating.baths import Bath, bath_of
from pinseat.plating.charge import SWITCHED_OFF
from pinseat.plating.pieces import Piece, oval
from pinseat.plating.reconcile import LogState, reconcile, remaining_h
from pinseat.plating.weights import together, weighings

from .test_charge import at


def bath() -> Bath:
    return bath_of(StatedBath(efficiency_percent=97), "silver plated")


def pieces(*areas: float) -> list[Piece]:
    return [
        Piece(str(11 + i), None, "cup", area, 0.0, oval(6, 6), 2.0, "stated") for i, area in enumerate(areas)
    ]


FIVE = pieces(74, 58, 66, 91, 47)
FULL_H = 10.834
"""Hours of 50 mA for 0.60 mm on 336 mm2 at 97 %, by hand."""


def state(*entries: Entry) -> LogState:
    return reconcile(entries, FIVE, bath())


def test_without_weights_the_charge_tells() -> None:
    now = state(
        at(0, current=50), at(3, current=50), at(6, current=50), at(9, current=50), at(FULL_H, current=50)
    )
    assert now.balance is None
    assert now.mass_g == pytest.approx(2.115, abs=0.002)
    assert now.mean_mm == pytest.approx(0.600, abs=0.0005)
    assert now.running
    assert remaining_h(0.6, now, FIVE, bath(), 50.0) == pytest.approx(0.0, abs=0.01)


def weighed(gained_g: float) -> LogState:
    hours = [at(h, current=50) for h in (0, 2, 4, 6, 8, 10)]
    before = at(0, weight_before=40.0)
    after = at(FULL_H + 0.2, weight_after=40.0 + gained_g)
    return state(before, *hours, at(FULL_H, seen=SWITCHED_OFF), after)


def test_mass_and_charge_that_agree() -> None:
    now = weighed(2.11)
    assert now.balance is not None
    assert now.balance.agrees
    assert now.balance.efficiency == pytest.approx(0.968, abs=0.001)
    assert now.mass_g == pytest.approx(2.11)
    assert not now.running


def test_too_little_metal_has_two_explanations() -> None:
    """By hand: 22 % short of 541.7 mAh at 50 mA is 11 mA elsewhere all the time, or 2.4 h without current."""
    now = weighed(2.115 * 0.78)
    assert now.balance is not None
    assert not now.balance.agrees
    assert now.balance.elsewhere_mA == pytest.approx(11.0, abs=0.1)
    assert now.balance.outage_h == pytest.approx(0.22 * FULL_H, abs=0.03)
    assert now.mean_mm == pytest.approx(0.6 * 0.78, abs=0.001)


@pytest.mark.parametrize("word", [{"outage": 143}, {"elsewhere": 11}])
def test_the_answer_makes_them_agree(word: dict[str, float]) -> None:
    entries = [at(h, current=50) for h in (0, 2, 4, 6, 8, 10)]
    entries += [at(FULL_H, seen=SWITCHED_OFF), at(FULL_H + 0.1, weight_after=41.65), at(FULL_H + 0.3, **word)]
    now = state(at(0, weight_before=40.0), *entries)
    assert now.balance is not None
    assert now.balance.agrees
    assert now.mass_g == pytest.approx(1.65)


def test_too_much_metal_shows_as_negative() -> None:
    now = weighed(2.5)
    assert now.balance is not None
    assert not now.balance.agrees
    assert now.balance.elsewhere_mA < 0.0


def test_after_a_weighing_the_charge_goes_on_from_the_balance() -> None:
    entries = [at(h, current=50) for h in (0, 2, 4)]
    entries += [
        at(5, seen=SWITCHED_OFF),
        at(5.1, weight_after=40.9),
        at(5.2, current=50),
        at(7.2, current=50),
    ]
    now = state(at(0, weight_before=40.0), *entries)
    rate = 50 * 0.97 * 3.6e-3 * 1.117975
    assert now.mass_g == pytest.approx(0.9 + 2 * rate, rel=1e-5)


def test_pieces_weighed_one_by_one_have_their_own_thickness() -> None:
    entries = [at(0, current=50), at(2, seen=SWITCHED_OFF)]
    for i, piece in enumerate(FIVE):
        entries.append(at(0, piece=piece.name, weight_before=5.0 + i))
        entries.append(at(2.2, piece=piece.name, weight_after=5.0 + i + 0.08))
    now = state(*entries)
    assert now.by_piece_mm["11"] == pytest.approx(1e3 * 0.08 / 10.49 / 74)
    assert now.balance is not None
    assert now.balance.weighing.gained_g == pytest.approx(0.40)
    partly = weighings(entries[:4])
    assert together(partly, [piece.name for piece in FIVE]) is None


def test_a_piece_lighter_after_than_before_gives_no_thickness() -> None:
    now = state(
        at(0, weight_before=40.0), at(0, current=50), at(2, seen=SWITCHED_OFF), at(2.1, weight_after=39.5)
    )
    assert now.balance is None
    assert now.mass_g == pytest.approx(100 * 0.97 * 3.6e-3 * 1.117975, rel=1e-5)


def test_an_empty_log_says_nothing() -> None:
    now = state()
    assert (now.entries, now.mass_g, now.mean_mm, now.running) == (0, 0.0, 0.0, False)
