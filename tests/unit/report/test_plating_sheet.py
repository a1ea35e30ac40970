"""The plating sheet: one page, its numbers, its cautions, and never a recipe."""

import csv
import io
import math
import re
import tomllib
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pinseat.case.log import Entry, NamedReading
from pinseat.case.model import Abutment, Case, Chain
from pinseat.case.plating import Bath, Piece, Plating, Step
from pinseat.plating.programme import programme
from pinseat.plating.result import (
    MappedPiece,
    PlatingResult,
    ProgrammeResult,
    Spread,
    Suggestion,
    ThicknessMap,
)
from pinseat.plating.step import by_areas
from pinseat.report.console import step_summary
from pinseat.report.pages import tidy
from pinseat.report.plating_sheet import changes_toml, sheet_words, supply_csv, write_plating_sheet
from pinseat.report.plating_words import bench_lines, console_lines, set_words
from pinseat.report.setting import page_count

META = {"code": "test"}


def case(pieces: int = 3, die: Any = "silver plated", **bath: Any) -> Case:
    stated = tuple(Piece(name=f"piece {i}", area_mm2=50 + 7 * i) for i in range(pieces))
    abutment = Abutment(tooth=11, pins=2, hole_diameter_mm=0.7, hole_depth_mm=2.0, cast_pin_diameter_mm=0.6)
    return Case(
        number="invented-7",
        missing=(21,),
        abutments=(abutment,),
        chain=Chain(die=die),
        plating=Plating(pieces=stated, bath=Bath(**bath)),
    )


def mapped(plated: PlatingResult, minimum: float = 0.6) -> PlatingResult:
    """With an invented map in which everything grows evenly."""
    hours = np.linspace(0.0, 20.0, 21)
    pieces = tuple(
        MappedPiece(s.name, s.area_mm2, 10.0, 0.8, 0.3, 1.5, 0.5, 0.7, 1.4, math.nan, 150.0, 90.0)
        for s in plated.shares
    )
    found = ThicknessMap(
        pieces=pieces,
        hours=hours,
        minimum_mm=minimum * hours / 20.0,
        mean_mm=0.9 * hours / 20.0,
        rim_mm=1.4 * hours / 20.0,
        hours_95=15.0,
        hours_100=17.0,
        thinnest_piece="piece 1",
        thinnest_band="floor",
        thinnest_mm=np.zeros(3),
        spreads=(Spread("exchange current", 1.0, 100.0, "A/m²", 0.7, 0.4),),
        minimum_range_mm=(0.4, 0.7),
        voltage_V=0.41,
        start_least=0.5,
        wasted_g=0.1,
        mass_g=2.0,
        closure=2e-4,
        correction=0.03,
        residual=1e-9,
        cells=70000,
        notes=("an invented map",),
    )
    change = Suggestion("insulated rod, bare end 2 mm, 3 mm above the floor of piece 1", 11.0, 0.5, 1.1)
    return replace(plated, map=found, suggestions=(change,))


def planned(one: Case, plated: PlatingResult, *entries: Entry) -> ProgrammeResult:
    return programme(one, plated, entries, UTC)


def text_of(plain: Any) -> str:
    if isinstance(plain, dict):
        return " ".join(text_of(value) for value in plain.values())
    return " ".join(map(text_of, plain)) if isinstance(plain, list | tuple) else str(plain)


@pytest.mark.parametrize(("pieces", "field"), [(1, False), (3, True), (14, True)])
def test_it_fits_one_page_and_is_the_same_twice(tmp_path: Path, pieces: int, field: bool) -> None:
    one = case(pieces)
    plated = mapped(by_areas(one)) if field else by_areas(one)
    plan = planned(one, plated)
    figures = tmp_path / "results" / "figures"
    figures.mkdir(parents=True)
    (figures / "thickness.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg" width="9" height="6"/>')
    first = [p.read_bytes() for p in write_plating_sheet(tmp_path, one, plated, plan, META)]
    again = [p.read_bytes() for p in write_plating_sheet(tmp_path, one, plated, plan, META)]
    assert first == again
    assert page_count(first[0]) == 1


def test_the_sheet_says_what_to_set_and_where_it_is_thin() -> None:
    one = case()
    plated = mapped(by_areas(one))
    plain = sheet_words(one, plated, planned(one, plated), META)
    assert plain["set"]["current"] == "30 mA"
    assert "floor of piece 1" in plain["thin"]
    assert "95 % of the surface has 0.50 mm after 15.0 h" in plain["thin"]
    assert "between 0.40 and 0.70 mm" in plain["spread"]
    assert plain["changes"] == [
        "Insulated rod, bare end 2 mm, 3 mm above the floor of piece 1: minimum everywhere after 11.0 h "
        "(by the rates of the bare cups), thinnest 0.50 mm, rims 1.10 mm."
    ]
    assert plain["pieces"]["rows"][0]["minimum"] == "0.30"


def test_the_steps_for_the_supply_carry_the_charge() -> None:
    one = case()
    plated = by_areas(one)
    plan = planned(one, plated)
    rows = list(csv.DictReader(io.StringIO(supply_csv(plan))))
    assert [row["what"] for row in rows] == ["start", "main", "main"]
    charge = sum(float(row["duration_h"]) * float(row["current_mA"]) for row in rows)
    assert charge == pytest.approx(plated.pool.hours * plated.pool.current_mA, rel=1e-3)
    ends = [float(r["from_h"]) + float(r["duration_h"]) for r in rows]
    assert [float(r["from_h"]) for r in rows[1:]] == pytest.approx(ends[:-1], abs=2e-3)


@pytest.mark.parametrize(
    ("die", "name", "says"),
    [
        ("silver plated", None, "Free of cyanide is not harmless"),
        ("silver plated", "silver cyanide", "any acid frees its gas"),
        ("copper plated", "acid copper", "must never come near cyanide"),
    ],
)
def test_the_hazard_of_the_bath_stands_on_the_sheet_and_no_recipe(die: str, name: Any, says: str) -> None:
    one = case(die=die, name=name)
    plated = by_areas(one)
    words = text_of(sheet_words(one, plated, planned(one, plated), META))
    assert says in words
    for always in (
        "Qualified people only",
        "local law",
        "exhaust",
        "hypochlorite",
        "never for the drain",
        "Isolated",
    ):
        assert always in words
    assert not re.search(r"\d\s*(g/L|g/l|mol/L|mol/m3|ml/l)\b|nitrate|sulfate|KCN|AgCN|CuSO", words)


def test_the_log_stands_on_sheet_and_console() -> None:
    one = case()
    plated = mapped(by_areas(one))
    entries = tuple(
        Entry(
            kind="plating",
            time=f"2026-03-02T{hour:02d}:00:00Z",
            readings=(NamedReading(what="current", value=30, unit="mA"),),
        )
        for hour in (8, 10, 12)
    )
    plan = planned(one, plated, *entries)
    lines = dict(sheet_words(one, plated, plan, META)["log"])
    assert lines["supply"] == "on, 30.0 mA"
    assert lines["charge"].startswith("120.0 ± 1.4 mAh in 4.0 h")
    assert "thinnest about" in lines["metal"]
    assert "by the clock on the wall" in lines["to go"]
    told = dict(bench_lines(plated, plan, "by areas alone", "{torn"))
    assert told["reckoned"] == "by areas alone"
    assert "5 letters" in told["torn line"]
    heads = [head for head, _ in console_lines(plated, plan)]
    assert heads[:3] == ["set", "stop", "log"]
    assert "thinnest" in heads


def test_what_is_not_reached_says_so() -> None:
    one = case()
    plated = mapped(by_areas(one), minimum=0.2)
    assert plated.map is not None
    never = replace(plated, map=replace(plated.map, hours_95=math.inf, hours_100=math.inf))
    said = dict(console_lines(never, planned(one, never)))["thinnest"]
    assert said.endswith("0.50 mm everywhere is not reached")


def test_changes_can_be_copied_into_the_case_and_say_whether_they_were_grown() -> None:
    one = case()
    plated = mapped(by_areas(one))
    (change,) = plated.suggestions
    grown = replace(change, toml="[[plating.steps]]\ncurrent_mA = 8\nhours = 11\n", grown=True)
    text = changes_toml(replace(plated, suggestions=(grown,)))
    assert tomllib.loads(text) == {"plating": {"steps": [{"current_mA": 8, "hours": 11}]}}
    assert "after 11.0 h (grown)" in text


def test_units_are_raised_wherever_findings_are_read() -> None:
    """A/dm2 in the data is A/dm² for people, on the page and on the console."""
    one = case(density_limit_A_dm2=0.5)
    plated = by_areas(one)
    plain = tidy(sheet_words(one, plated, planned(one, plated), META))
    said = str(plain) + step_summary(one, (), plated.findings, ()).plain
    assert "A/dm²" in said
    assert not re.search(r"\b(mm|dm|cm|m)[23]\b", said)


def test_a_plan_of_several_currents_says_each_of_them() -> None:
    plan = case().plating.model_copy(
        update={"steps": (Step(current_mA=7.5, hours=4), Step(current_mA=30, hours=6.5, wax_mm=0.5))}
    )
    one = case().model_copy(update={"plating": plan})
    plated = by_areas(one)
    assert set_words(planned(one, plated)) == (
        "3.8 mA for 1.0 h and look, then 7.5 mA for 4.0 h, then 30 mA for 6.5 h"
    )
