"""The batch card and the cementing card."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pinseat.case.model import Case
from pinseat.casting import recipe, step
from pinseat.casting.model import RecipeResult
from pinseat.ledger.handover import Handover
from pinseat.reference import value
from pinseat.report import recipe_words
from pinseat.report.recipe_charts import cement_chart, mould_chart
from pinseat.report.recipe_sheet import cement_card, recipe_card, write_cards
from pinseat.report.setting import page_count
from pinseat.report.style import look
from tests.unit.casting.bench import NOTHING, SHEET, UP, bar, case, measured, pair

META = {"code": "pinseat 0.1.0", "case": "5d1f3c77" * 8}
HOSTILE = '#panic() $x$ *b* _i_ "q" \\ <a> @b // = Überbrückung Мост γέφυρα ' + "y" * 230

FULL: dict[str, Any] = {
    "lot": "P-0421",
    "liquid_percent": 60,
    "liquid_ml_per_100g": 24,
    "pattern_g": 1.42,
    "due": "2026-03-05 16:30",
    "thinnest_mm": 0.4,
    "connector_width_mm": 2.0,
    "connector_height_mm": 2.0,
    "sheet": SHEET,
    "bars": [bar(50.0 + 5.0 * i, -0.9 + 0.07 * i, f"lot {i}") for i in range(9)],
}


def up() -> Handover:
    return Handover(field=pair(), draw=UP)


def written(folder: Path, of: Case) -> tuple[Path, ...]:
    return write_cards(folder, of, recipe.run(of, up()), step.run(of, up()), META)


def card(of: Case) -> dict[str, Any]:
    return recipe_card(of, recipe.run(of, up()), step.run(of, up()), META)


CASES = {
    "full": {"casting": FULL},
    "bare": {},
    "stopped": {"wet": True, "alloy": "nickel chromium"},
    "unplaced": {"measured": measured(**NOTHING, investment=1.4), "casting": {"sheet": SHEET}},
    "hostile": {"title": HOSTILE, "casting": {**FULL, "lot": HOSTILE}},
    "tight": {"pins_mm": 0.69, "cement": {"force_N": 200, "start_min": 4.0}, "casting": FULL},
}


@pytest.mark.parametrize("name", CASES)
def test_each_card_is_one_page_whatever_the_case(name: str, tmp_path: Path) -> None:
    files = written(tmp_path, case(**CASES[name]))
    assert [path.name for path in files[:2]] == ["recipe.pdf", "cementing.pdf"]
    assert [page_count(path.read_bytes()) for path in files[:2]] == [1, 1]
    assert all(path.is_file() for path in files)


def test_same_recipe_same_bytes(tmp_path: Path) -> None:
    of = case(casting=FULL)
    first, again = written(tmp_path / "a", of), written(tmp_path / "b", of)
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in again]


def test_what_is_weighed_stands_large_and_rounded_as_a_balance_reads() -> None:
    told = card(case(casting=FULL))["recipe"]
    assert [part[0] for part in told["parts"]] == ["powder", "special liquid", "water"]
    mix = recipe.run(case(casting=FULL), up()).mould.recommended
    assert mix is not None
    assert told["parts"][1][1:] == [f"{mix.special_g:.2f} g", f"{mix.special_ml:.1f} ml"]
    assert told["verdict"] in ("clear", "caution", "stop")


def test_gypsum_card_has_no_special_liquid() -> None:
    told = card(case(wet=True, alloy="gold type 3"))["recipe"]
    assert [part[0] for part in told["parts"]] == ["powder", "water"]


def test_a_stop_takes_the_recipe_off_the_card() -> None:
    told = card(case(wet=True, alloy="nickel chromium"))
    assert told["recipe"] is None
    assert "sulfur" in told["stop"][0]
    assert card(case(alloy="nickel chromium"))["stop"] == []


def test_every_step_has_its_tick_time_and_hazard() -> None:
    day = card(case(casting=FULL))["day"]
    assert len(day) == 8
    assert all(len(one["start"]) == 5 and one["date"] == "2026-03-05" for one in day)
    assert sum(bool(one["caution"]) for one in day) == 7  # setting alone has none of its own


def test_open_findings_stand_on_their_card_and_clear_ones_do_not() -> None:
    of = case(**CASES["tight"])
    result = recipe.run(of, up())
    assert result.cement is not None
    bench, chair = card(of)["findings"], cement_card(of, result.cement, result.findings, META)["findings"]
    opened = [one for one in result.findings if one.verdict != "clear"]
    assert len(bench) + len(chair) == len(opened)
    assert any("steady finger" in one["says"] for one in chair)
    assert not any("finger" in one["says"] for one in bench)


def test_force_on_the_card_is_never_more_than_the_most() -> None:
    of = case(cement={"force_N": 200})
    result = recipe.run(of, up())
    assert result.cement is not None
    told = cement_card(of, result.cement, result.findings, META)
    assert told["clock"][0][2].endswith("then at most 100 N and only while it still closes")
    assert told["never"].startswith("Never force")


def test_charts_show_every_point_and_the_times_that_count() -> None:
    result = recipe.run(case(casting=FULL), up())
    assert result.cement is not None
    with look():
        mould, cement = mould_chart(result.mould), cement_chart(result.cement)
    assert len(mould.axes[0].containers) == len(result.mould.evidence)
    words = {text.get_text() for text in cement.axes[0].texts}
    assert words == {"set on", "stop", "too late"}


def lines(of: Case) -> dict[str, str]:
    result: RecipeResult = recipe.run(of, up())
    return dict(recipe_words.lines(result))


def test_screen_says_what_to_weigh_and_when_to_stop() -> None:
    told = lines(case(casting=FULL))
    assert [head for head in told if head != "one bar more"] == [
        "rests on",
        "as stated",
        "recommended",
        "weigh",
        "melt",
        "begin",
        "cement",
    ]
    assert "g special liquid" in told["weigh"]
    assert told["begin"].startswith("2026-03-05 07:05")
    assert "never force" in told["cement"]


def test_screen_asks_for_what_is_missing() -> None:
    told = lines(case())
    assert "weigh the pattern" in told["melt"]
    assert "begin" not in told
    assert "may be expected to rise" in told["one bar more"]


def test_melt_is_rounded_up_to_the_half_gram_with_its_doubt() -> None:
    metal = recipe.run(case(casting=FULL), up()).metal
    assert metal is not None
    take = recipe_words.to_take_g(metal)
    assert take % 0.5 == 0.0
    assert metal.melt_g + 1.645 * metal.u_melt_g <= take < metal.melt_g + 1.645 * metal.u_melt_g + 0.5


def test_what_is_taken_for_granted_is_told_by_basis() -> None:
    names = ("recipe.special_liquid_density_g_ml", "alloy.gold_type_3.density_g_cm3", "bite.molar_N")
    told = recipe_words.granted([value(name) for name in names])
    assert told == "Assumed: special liquid density 1.22 g/ml. From memory: gold type 3 density 15.5 g/cm³."
    assert recipe_words.granted([]) == ""
