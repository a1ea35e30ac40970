"""How sheet, readings and bars become one law of the mould, and what the ledger takes from it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pinseat.case.casting import SheetPoint
from pinseat.casting.compensation import others, recommended_mix, with_law
from pinseat.casting.copies import ledger_rows
from pinseat.casting.mould import NO_LOT, MouldLaw, axis_of, expansion, law_of, percent
from pinseat.casting.scale import net_scale
from tests.unit.casting.bench import NOTHING, SHEET, bar, case, measured


def law(**casting) -> MouldLaw:
    made = case(measured=measured(**NOTHING, alloy=-1.5), casting=casting)
    return law_of(made.casting, axis_of(made.chain.investment), ledger_rows(made))


def test_sheet_alone_gives_its_own_line_and_the_standards_doubt() -> None:
    found = law(sheet=SHEET)
    assert percent(found.change(50.0).centre) == pytest.approx(1.3, abs=1e-9)
    assert percent(found.change(100.0).centre) == pytest.approx(2.0, abs=1e-9)
    level = math.sqrt(found.belief.ratio[0, 0]) * found.belief.scatter
    assert level == pytest.approx(0.15 / math.sqrt(3.0) * found.belief.mean[0])  # +-15 %, rectangular
    assert found.basis == "published"
    assert found.covers == ("investment",)


@pytest.mark.parametrize(
    ("casting", "words"),
    [
        ({}, "a single figure of another product"),
        ({"sheet": SHEET[:1]}, "a single factory figure, no casting of your own"),
        ({"sheet": SHEET}, "2 points of the maker's sheet, no casting of your own"),
        (
            {"sheet": SHEET, "bars": [bar(60, -0.1)]},
            "1 test casting, lot A of your own, with the maker's sheet",
        ),
        (
            {"bars": [bar(60, -0.1), bar(70, 0.0, "B")]},
            "2 test castings of 2 lots of your own, with assumptions",
        ),
    ],
)
def test_what_the_recipe_rests_on_is_said(casting, words: str) -> None:
    assert words in law(**casting).label


def test_setting_and_thermal_expansion_multiply() -> None:
    parts = SheetPoint(hygroscopic_percent=1.2, thermal_percent=0.6)
    assert percent(expansion(parts)) == pytest.approx(100.0 * (1.012 * 1.006 - 1.0), rel=1e-12)


def test_many_bars_leave_nothing_of_the_sheet() -> None:
    """Forty exact bars on a line of their own: the law is that line, wherever the sheet lay."""
    mixes = np.linspace(50.0, 100.0, 40)
    bars = [bar(float(m), -0.8 + 0.01 * float(m)) for m in mixes]
    found = law(sheet=SHEET, bars=bars)
    assert percent(found.change(80.0, "A").centre) == pytest.approx(0.0, abs=0.01)
    assert found.belief.mean[1] == pytest.approx(0.01, rel=0.03)
    assert found.change(80.0, "A").u < 0.05


def test_no_bar_is_as_the_sheet_and_the_alloy_together() -> None:
    """A bar so badly measured that it says nothing changes nothing."""
    vague = {**bar(75.0, 0.4), "u_mm": 0.99}
    found, plain = law(sheet=SHEET, bars=[vague]), law(sheet=SHEET)
    together = percent(plain.change(75.0).centre) - 1.5
    assert percent(found.change(75.0).centre) == pytest.approx(together, abs=0.05)


def test_bars_against_the_die_hold_the_wax_too() -> None:
    assert law(bars=[bar(70, -0.2)], bars_against="die").covers == ("investment", "alloy", "pattern")


def test_a_new_lot_is_less_sure_than_a_known_one() -> None:
    found = law(sheet=SHEET, bars=[bar(70, -0.1), bar(70, -0.11), bar(75, -0.03)])
    assert found.change(70.0, "B").u > 1.2 * found.change(70.0, "A").u
    assert found.change(70.0, "").u == pytest.approx(found.change(70.0, "B").u)


def test_bars_without_a_lot_are_a_lot_of_their_own() -> None:
    found = law(bars=[{**bar(70, -0.1), "lot": ""}])
    assert found.lots == (NO_LOT,)
    assert found.change(70.0, "").u > found.change(70.0, NO_LOT).u


def test_lot_drift_is_seen() -> None:
    """Two lots 0.2 % apart, four bars each: the difference comes out with its sign, shrunk a little."""
    mixes = (60.0, 70.0, 80.0, 90.0)
    bars = [bar(m, -1.0 + 0.012 * m, "old") for m in mixes] + [bar(m, -0.8 + 0.012 * m, "new") for m in mixes]
    found = law(sheet=SHEET, bars=bars)
    difference = found.change(75.0, "new").centre - found.change(75.0, "old").centre
    assert 0.1 < difference < 0.2


def test_kriging_formula_gives_the_same_prediction() -> None:
    """The same belief with all coefficients integrated out: a Gaussian conditioned on the bars.

    cov(y_i, y_j) = s0^2 (x_i V x_j + [i = j] w_i); mean of a new casting = prior + k^T K^-1 (y - prior).
    """
    bars = [bar(60, -0.3), bar(75, -0.05), bar(75, -0.2, "B"), bar(95, 0.3, "B", 0.02)]
    found, before = law(sheet=SHEET, bars=bars), law(sheet=SHEET)
    lots = {"A": 0, "B": 1}
    s, spread = 0.05, 0.05
    v = np.diag([before.belief.ratio[0, 0], before.belief.ratio[1, 1], *[(spread / s) ** 2] * 2])
    prior = np.array([before.belief.mean[0] + 100.0 * math.log(1.0 - 0.015), before.belief.mean[1], 0.0, 0.0])
    rows, y, w = [], [], []
    for one in bars:
        row = np.zeros(4)
        row[:2] = 1.0, one["liquid_percent"] - 75.0
        row[2 + lots[one["lot"]]] = 1.0
        rows.append(row)
        y.append(100.0 * math.log(one["after_mm"] / 40.0))
        u = 100.0 * one["u_mm"] * math.hypot(1 / 40.0, 1 / one["after_mm"])
        w.append(1.0 + (u / s) ** 2)
    x, new = np.array(rows), np.array([1.0, 5.0, 0.0, 1.0])
    k = x @ v @ x.T + np.diag(w)
    expected = new @ prior + new @ v @ x.T @ np.linalg.solve(k, np.array(y) - x @ prior)
    assert found.change(80.0, "B").centre == pytest.approx(expected, abs=1e-9)


def test_recommended_mix_leaves_no_net_error() -> None:
    made = case(casting={"sheet": SHEET, "bars": [bar(60, -0.4), bar(80, -0.05)]})
    rows = ledger_rows(made)
    found = law_of(made.casting, "liquid_percent", rows)
    best, unbounded = recommended_mix(made, found, rows)
    assert best == unbounded
    assert found.change(best).centre + others(found, rows).centre == pytest.approx(0.0, abs=1e-12)
    assert net_scale(with_law(made, rows)).mean == pytest.approx(0.0, abs=1e-9)


def test_a_mix_is_not_sought_beyond_what_was_seen() -> None:
    made = case(
        measured=measured(**NOTHING, alloy=-2.5),
        casting={"sheet": [SHEET[0], SHEET[0] | {"liquid_percent": 70, "total_percent": 1.6}]},
    )
    rows = ledger_rows(made)
    best, unbounded = recommended_mix(made, law_of(made.casting, "liquid_percent", rows), rows)
    assert best == pytest.approx(71.0)  # a twentieth of the range beyond the sheet
    assert unbounded > 100.0


def test_the_ledger_takes_the_stated_mix_and_counts_no_doubt_twice() -> None:
    casting = {"sheet": SHEET, "bars": [bar(60, -0.4), bar(80, -0.05)], "liquid_percent": 60}
    made = case(measured=measured(**NOTHING), casting=casting)
    rows = with_law(made, ledger_rows(made))
    investment, alloy = rows[3], rows[4]
    found = law_of(made.casting, "liquid_percent", ledger_rows(made))
    assert net_scale(rows).mean == pytest.approx(percent(found.change(60.0).centre), abs=1e-9)
    assert alloy.scale.u == 0.0
    assert alloy.scale.mean == -1.75
    assert net_scale(rows).u == pytest.approx(found.change(60.0).u, rel=0.02)
    assert investment.scale.basis == "measured here"
    assert "60 % special liquid" in investment.scale.source


def test_without_sheet_or_bars_the_ledger_is_as_it_was() -> None:
    made = case()
    assert with_law(made, ledger_rows(made)) == ledger_rows(made)


def test_a_reading_under_measured_stays_as_stated() -> None:
    made = case(measured=measured(**NOTHING, investment=1.40, alloy=-1.52), casting={"sheet": SHEET})
    assert with_law(made, ledger_rows(made)) == ledger_rows(made)
    found = law_of(made.casting, "liquid_percent", ledger_rows(made))
    assert not found.placed


def test_claimed_probabilities_come_true() -> None:
    """Laboratories drawn from the stated prior: what is claimed of the next casting happens as often.

    Each draws scatter, level, slope and lot, casts five bars, and asks whether its next casting lies within
    0.12 % of what was expected. 600 laboratories leave 0.02 in the share; three times that is allowed.
    """
    from pinseat.casting.regression import within

    rng = np.random.default_rng(12)
    before = law(sheet=SHEET)
    claimed, came = [], 0
    for _ in range(600):
        s = before.belief.deviation / math.sqrt(rng.gamma(2.0, 0.5))  # 1/s^2 ~ Gamma(n/2, n s0^2/2), n = 4
        scale = s / 0.05
        level = (
            before.belief.mean[0] - 1.51 + scale * 0.05 * math.sqrt(before.belief.ratio[0, 0]) * rng.normal()
        )
        slope = before.belief.mean[1] * (1.0 + 0.3 * scale * rng.normal())
        lots = {name: scale * 0.05 * rng.normal() for name in ("A", "B")}

        def cast(mix: float, lot: str, s=s, level=level, slope=slope, lots=lots) -> float:
            return percent(level + slope * (mix - 75.0) + lots[lot] + s * rng.normal())

        bars = [
            bar(m, cast(m, lot), lot) for m, lot in ((60, "A"), (70, "A"), (70, "A"), (85, "A"), (80, "B"))
        ]
        student = law(sheet=SHEET, bars=bars).change(75.0, "B")
        claimed.append(within(student, -student.centre, 0.0, 0.12))
        came += abs(100.0 * math.log1p(cast(75.0, "B") / 100.0) - student.centre) <= 0.12
    assert came / 600.0 == pytest.approx(float(np.mean(claimed)), abs=0.06)


def test_an_exact_reading_alone_is_the_law_at_its_mix() -> None:
    made = case(measured=measured(**NOTHING, investment=1.40), casting={"liquid_percent": 60})
    found = law_of(made.casting, "liquid_percent", ledger_rows(made))
    assert percent(found.change(60.0).centre) == pytest.approx(1.40, abs=1e-4)
    assert found.change(60.0).u == pytest.approx(1e-4, rel=1e-6)
    assert found.change(80.0).u > 0.05


def test_a_sheet_that_does_not_rise_leaves_the_slope_open() -> None:
    flat = law(sheet=[{"liquid_percent": mix, "total_percent": 0.0} for mix in (50, 100)])
    assert flat.belief.mean[1] == 0.0
    assert flat.change(100.0).u > 0.0
