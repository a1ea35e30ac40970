"""What a person states about casting and cementing: maker's points, own test castings, masses, times."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pinseat.case.fields import Number, Part

_LIQUID = "special liquid in the mixing liquid, % by volume; the rest is water (phosphate-bonded investments)"
_WATER = "water to powder, ml to 1 g (gypsum-bonded investments)"


class SheetPoint(Part):
    """One point of the maker's sheet: the expansion at one mix."""

    liquid_percent: Number | None = Field(None, ge=0.0, le=100.0, description=_LIQUID)
    water_powder: Number | None = Field(None, gt=0.05, lt=1.0, description=_WATER)
    setting_percent: Number | None = Field(
        None, gt=-1.0, lt=5.0, description="setting expansion in the air, %"
    )
    hygroscopic_percent: Number | None = Field(
        None,
        gt=-1.0,
        lt=5.0,
        description="setting expansion in contact with water or a wet liner, %; it takes the place of that "
        "in the air",
    )
    thermal_percent: Number | None = Field(None, gt=-1.0, lt=5.0, description="thermal expansion, %")
    total_percent: Number | None = Field(
        None, gt=-1.0, lt=8.0, description="setting and thermal together, %, where the sheet gives only that"
    )


class Bar(Part):
    """One bar or ring of one's own, measured before investing and after casting."""

    lot: str = Field("", description="lot of the investment powder")
    made: str = Field("", description="date, such as 2026-03-02")
    liquid_percent: Number | None = Field(None, ge=0.0, le=100.0, description=_LIQUID)
    water_powder: Number | None = Field(None, gt=0.05, lt=1.0, description=_WATER)
    before_mm: Number = Field(
        gt=1.0, lt=200.0, description="length before: of the pattern, or of the former it was made in"
    )
    after_mm: Number = Field(gt=1.0, lt=200.0, description="the same length on the casting, cold and clean")
    u_mm: Number = Field(0.01, gt=0.0, lt=1.0, description="standard uncertainty of each of the two lengths")


class Casting(Part):
    """Mould, metal and the day's timetable."""

    lot: str = Field("", description="lot of the investment powder that will be used")
    powder_g: Number = Field(
        60.0, gt=5.0, lt=2000.0, description="powder for the ring; assumed when left out"
    )
    liquid_ml_per_100g: Number | None = Field(
        None, gt=5.0, lt=80.0, description="mixing liquid to 100 g of powder, from the maker's sheet"
    )
    liquid_percent: Number | None = Field(
        None, ge=0.0, le=100.0, description=_LIQUID + "; leave it out to take the recommended mix"
    )
    water_powder: Number | None = Field(
        None, gt=0.05, lt=1.0, description=_WATER + "; leave it out to take the recommended mix"
    )
    sheet: tuple[SheetPoint, ...] = Field((), description="points of the maker's sheet")
    bars: tuple[Bar, ...] = Field((), description="your own test castings, the oldest first")
    bars_against: Literal["pattern", "die"] = Field(
        "pattern",
        description="what the test castings are compared with: the pattern as invested, or the die or former "
        "it was made on, so that the pattern's own change counts in",
    )
    pattern_g: Number | None = Field(
        None, gt=0.0, lt=100.0, description="mass of pattern with sprue and reservoir, on the balance"
    )
    u_pattern_g: Number = Field(0.01, gt=0.0, lt=5.0, description="standard uncertainty of that mass")
    alloy_density_g_cm3: Number | None = Field(
        None, gt=3.0, lt=23.0, description="density of the alloy, from its sheet"
    )
    button_g: Number | None = Field(
        None, gt=0.0, lt=100.0, description="metal wanted in the button; assumed when left out"
    )
    thinnest_mm: Number | None = Field(
        None, gt=0.0, lt=10.0, description="thinnest place of the pattern, by thickness gauge"
    )
    connector_width_mm: Number | None = Field(
        None, gt=0.3, lt=12.0, description="smallest connector, cheek to tongue"
    )
    connector_height_mm: Number | None = Field(
        None, gt=0.3, lt=12.0, description="smallest connector, along the bite"
    )
    beam_span_mm: Number | None = Field(
        None,
        gt=1.0,
        lt=80.0,
        description="free length between the retainers; the crown widths of the missing teeth when left out",
    )
    load_N: Number | None = Field(
        None,
        gt=1.0,
        lt=2000.0,
        description="largest bite on the middle of the span; published means when left out",
    )
    due: str = Field(
        "",
        pattern=r"^(\d{4}-\d\d-\d\d[ T]\d\d:\d\d)?$",
        description="when the finished bridge has to be there, such as 2026-03-05 16:00, local time",
    )
    heat_degC_per_min: Number | None = Field(
        None, gt=0.5, lt=200.0, description="how fast the furnace heats, from the maker's sheet"
    )
    mould_degC: Number | None = Field(
        None, gt=300.0, lt=1200.0, description="temperature of the ring at casting, from the maker's sheet"
    )


class Viscosity(Part):
    """One point of viscosity against time."""

    min: Number = Field(ge=0.0, lt=60.0, description="minutes after the start of mixing")
    Pa_s: Number = Field(gt=0.001, lt=1e6, description="viscosity then, Pa s")


class Cement(Part):
    """The luting cement and how it will be used."""

    kind: Literal["zinc phosphate", "polycarboxylate", "glass ionomer", "resin"] = Field(
        "zinc phosphate", description="kind of cement"
    )
    film_um: Number | None = Field(
        None,
        gt=1.0,
        lt=200.0,
        description="film thickness from the maker's sheet; the standard's limit when left out",
    )
    working_min: Number | None = Field(
        None,
        gt=0.5,
        lt=30.0,
        description="working time from the start of mixing, at the temperature of the slab",
    )
    setting_min: Number | None = Field(None, gt=1.0, lt=60.0, description="net setting time")
    viscosity: tuple[Viscosity, ...] = Field((), description="viscosity against time, where it is known")
    start_min: Number = Field(
        1.5,
        ge=0.0,
        lt=20.0,
        description="when the bridge is set on, minutes after the start of mixing; assumed",
    )
    force_N: Number = Field(
        50.0, gt=1.0, lt=300.0, description="steady finger force on the whole bridge; assumed when left out"
    )
    vent_mm: Number = Field(
        0.0, ge=0.0, lt=1.0, description="diameter of a half-round groove along each pin; 0 for none"
    )
    covered_mm2: Number | None = Field(
        None,
        gt=0.5,
        lt=200.0,
        description="surface that one retainer covers besides its holes; assumed when left out",
    )
