"""What a person states about the plating of the cups."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from pinseat.case.fields import Number, Part, Point, Whole

BathName = Literal["silver cyanide-free", "silver cyanide", "acid copper"]
Preparation = Literal["pin ledge", "three-quarter crown", "full crown", "inlay", "saddle"]

_SPAN = re.compile(r"\s*([01]?\d|2[0-3])[:.]([0-5]\d)\s*[-–]\s*([01]?\d|2[0-3])[:.]([0-5]\d)\s*")


def _hours(text: Any) -> str:
    """Two times of the day as ``20:00-07:30``."""
    found = _SPAN.fullmatch(text) if isinstance(text, str) else None
    if found is None or found[1].zfill(2) + found[2] == found[3].zfill(2) + found[4]:
        do = 'write them as "20:00-07:30"'
        raise PydanticCustomError("clock", "{what}", {"what": "these are no hours of a day", "do": do})
    return f"{found[1].zfill(2)}:{found[2]}-{found[3].zfill(2)}:{found[4]}"


def _moment(text: Any) -> str:
    """A day and a time as ``2026-03-02 16:00``."""
    try:
        return datetime.strptime(str(text).strip().replace("T", " ")[:16], "%Y-%m-%d %H:%M").strftime(
            "%Y-%m-%d %H:%M"
        )
    except ValueError:
        do = 'write it as "2026-03-02 16:00", by the clock on the wall'
        what = "this is no day with a time"
        raise PydanticCustomError("clock", "{what}", {"what": what, "do": do}) from None


Hours = Annotated[str, BeforeValidator(_hours)]
"""Two times of the day, such as ``20:00-07:30``."""
Moment = Annotated[str, BeforeValidator(_moment)]
"""A day with its time by the clock on the wall, such as ``2026-03-02 16:00``."""
_PIECE = "name of the piece, as under [[plating.pieces]], or the tooth's number"


class Bath(Part):
    """The bath: a set of reference values, and what you know better."""

    name: BathName | None = Field(
        None,
        description="the set of values to start from; when left out, silver without cyanide, or acid copper "
        "for a copper die",
    )
    conductivity_S_m: Number | None = Field(
        None, gt=0.1, lt=200.0, description="conductivity of the bath, measured or from the maker's sheet"
    )
    u_conductivity_S_m: Number | None = Field(None, ge=0.0, lt=100.0, description="its standard uncertainty")
    exchange_current_A_m2: Number | None = Field(
        None,
        gt=1e-3,
        lt=1e4,
        description="exchange current density; without it the whole range of the set is shown",
    )
    efficiency_percent: Number | None = Field(
        None, gt=1.0, le=100.0, description="share of the charge that becomes metal"
    )
    density_limit_A_dm2: Number | None = Field(
        None, gt=0.01, lt=100.0, description="highest current density, from the maker's sheet of your bath"
    )
    temperature_degC: Number | None = Field(None, gt=0.0, lt=90.0, description="temperature of the bath")
    stirred: bool = Field(True, description="whether the bath is moved")


class Piece(Part):
    """One thing that is plated. One of area, outline or tooth with preparation gives its size."""

    name: str = Field("", description="your name for it; the tooth's number when left out")
    tooth: Whole | None = Field(
        None, description="number of the tooth, in the notation of the case", examples=[11]
    )
    preparation: Preparation | None = Field(
        None, description="how the tooth was cut, or saddle; a pin ledge when left out"
    )
    area_mm2: Number | None = Field(
        None, gt=0.5, lt=5000.0, description="metallised area: floor, walls and what is not masked"
    )
    outline_mm: tuple[tuple[Number, Number], ...] = Field(
        (), description="corners of the cup's mouth, in order, read with a ruler from any corner"
    )
    depth_mm: Number | None = Field(None, ge=0.0, lt=20.0, description="depth of the cup below its mouth")


class Tail(Part):
    """Bare wire that hangs in the bath: it takes metal that the cups do not get."""

    length_mm: Number = Field(gt=0.0, lt=500.0, description="bare length in the bath")
    diameter_mm: Number = Field(gt=0.01, lt=5.0, description="diameter of the wire")


class Rod(Part):
    """An auxiliary anode: a rod or wire let down into one cup, insulated down to its bare end."""

    piece: str = Field(min_length=1, description=_PIECE)
    diameter_mm: Number = Field(1.0, gt=0.1, lt=5.0, description="diameter of the rod")
    bare_mm: Number = Field(
        2.0, gt=0.0, lt=100.0, description="bare length at its end; a bare wire: all that is in the bath"
    )
    above_floor_mm: Number = Field(3.0, gt=0.2, lt=30.0, description="from its end to the floor of the cup")
    current_mA: Number | None = Field(
        None,
        gt=0.0,
        lt=1e4,
        description="what it gives of the main current, on a supply of its own; when left out it hangs with "
        "the anode and gives little, being small",
    )


class Shield(Part):
    """An insulating plate with a round hole over one cup: it keeps current off what lies outside the hole."""

    piece: str = Field(min_length=1, description=_PIECE)
    hole_mm: Number = Field(gt=0.3, lt=50.0, description="diameter of the hole")
    width_mm: Number = Field(12.0, gt=1.0, lt=200.0, description="diameter of the plate")
    thickness_mm: Number = Field(1.5, ge=1.0, lt=20.0, description="thickness of the plate")
    above_mm: Number = Field(
        1.0, gt=0.3, lt=50.0, description="from the highest place of the cup's margin to the plate"
    )


class Thief(Part):
    """A ring of bare wire about the mouth of one cup, on the same supply: it takes what the rim would get."""

    piece: str = Field(min_length=1, description=_PIECE)
    diameter_mm: Number = Field(1.0, gt=0.1, lt=5.0, description="diameter of the wire")
    beside_mm: Number = Field(
        1.5,
        gt=0.0,
        lt=20.0,
        description="from the cup's widest reach to the middle of the wire, seen from above",
    )
    above_mm: Number = Field(
        1.0, gt=0.2, lt=20.0, description="from the highest place of the cup's margin to the wire"
    )


class Step(Part):
    """One step of your own programme, after the start current and the first look."""

    current_mA: Number = Field(gt=0.0, lt=1e4, description="for all pieces together")
    hours: Number = Field(gt=0.0, lt=500.0, description="how long")
    wax_mm: Number = Field(
        0.0,
        ge=0.0,
        lt=10.0,
        description="further band, from the edge of the bare metal, that is covered before this step, once "
        "it is thick enough",
    )


class Mask(Part):
    """A round patch of a scanned piece that is covered with wax or varnish."""

    at: Point = Field(description="centre of the patch, in the scan's own coordinates, mm")
    radius_mm: Number = Field(gt=0.1, lt=20.0, description="radius of the patch")


class AnodePlate(Part):
    """The anode."""

    distance_mm: Number = Field(
        60.0, gt=3.0, lt=1000.0, description="from the mouths of the cups to the anode"
    )
    width_mm: Number = Field(50.0, gt=1.0, lt=1000.0, description="width of the plate in the bath")
    height_mm: Number = Field(50.0, gt=1.0, lt=1000.0, description="height of the plate in the bath")


class CellReading(Part):
    """One reading in a small cell with two plates of the bath's metal: a current and its voltage."""

    distance_mm: Number = Field(gt=0.5, lt=1000.0, description="between the two plates")
    current_mA: Number = Field(gt=0.0, lt=1e5, description="through the cell")
    voltage_V: Number = Field(gt=0.0, lt=50.0, description="at the plates, not at the supply")


class Cell(Part):
    """A two-distance cell: the same two plates, as wide and high as the cell, at two distances or more."""

    area_mm2: Number = Field(gt=1.0, lt=1e6, description="wetted area of each plate")
    u_voltage_V: Number = Field(
        0.002, gt=0.0, lt=1.0, description="standard uncertainty of a reading of the voltage"
    )
    u_distance_mm: Number = Field(
        0.3, ge=0.0, lt=20.0, description="standard uncertainty of a distance between the plates"
    )
    readings: tuple[CellReading, ...] = Field(min_length=1, description="currents and voltages")


class TwoPlates(Part):
    """Two cathodes at different distances from one anode, weighed: how well the bath throws."""

    near_mm: Number = Field(gt=0.5, lt=1000.0, description="from the anode to the nearer cathode")
    far_mm: Number = Field(gt=0.5, lt=1000.0, description="from the anode to the farther cathode")
    near_g: Number = Field(gt=0.0, lt=1000.0, description="metal on the nearer cathode")
    far_g: Number = Field(gt=0.0, lt=1000.0, description="metal on the farther cathode")
    u_g: Number = Field(0.005, gt=0.0, lt=10.0, description="standard uncertainty of each weight gained")
    area_mm2: Number = Field(gt=1.0, lt=1e6, description="area of each cathode")
    current_mA: Number = Field(gt=0.0, lt=1e5, description="through both together")


class Plating(Part):
    """The plating of the cups: all of it can be left out."""

    bath: Bath = Field(Bath(), description="the bath")
    pieces: tuple[Piece, ...] = Field(
        (), description="what is plated; each abutment and the ridge under each pontic when left out"
    )
    current_mA: Number | None = Field(
        None,
        gt=0.0,
        lt=1e4,
        description="main current for all pieces together; 10 mA a piece (common practice) when left out",
    )
    minimum_mm: Number | None = Field(
        None,
        gt=0.01,
        lt=5.0,
        description="thinnest shell anywhere on the working surface; 0.5 mm (common practice) when left out",
    )
    stop_mean_mm: Number | None = Field(
        None,
        gt=0.01,
        lt=5.0,
        description="mean thickness at which to stop; 0.75 mm (common practice) when left out",
    )
    mean_mm: Number | None = Field(
        None, gt=0.01, lt=5.0, description="plate to this mean thickness, whatever the thinnest spot has then"
    )
    rim_limit_mm: Number | None = Field(
        None,
        gt=0.05,
        lt=10.0,
        description="thickest the rim may grow; twice the mean at which to stop (assumed) when left out",
    )
    mask_mm: Number = Field(
        0.0,
        ge=0.0,
        lt=10.0,
        description="band inside the rim, from the margin downwards, that is covered with wax or varnish",
    )
    flange_mm: Number = Field(
        0.0,
        ge=0.0,
        lt=20.0,
        description="how far bare metallising reaches past the margin; 0 when it is covered up to there",
    )
    film_ohm: Number = Field(
        0.0,
        ge=0.0,
        lt=1e5,
        description="resistance of the bare metallising film per square, ohm: between two bars as long as "
        "they are apart; 0 when it conducts well",
    )
    steps: tuple[Step, ...] = Field(
        (), description="your own steps after the first look, in place of one main current"
    )
    tails: tuple[Tail, ...] = Field((), description="bare wire in the bath")
    anode: AnodePlate = Field(AnodePlate(), description="the anode plate")
    rods: tuple[Rod, ...] = Field((), description="auxiliary anodes")
    shields: tuple[Shield, ...] = Field((), description="insulating plates over cups")
    thieves: tuple[Thief, ...] = Field((), description="bare wires that take metal in place of rims")
    masks: tuple[Mask, ...] = Field((), description="patches on a scan that are covered, besides mask_mm")
    pins: Literal["metal", "insulating"] = Field(
        "metal", description="whether the pins that stand in the cups take metal"
    )
    mouth: Literal["up", "down", "sideways"] = Field(
        "up", description="where the cups open to: depleted liquid rises out of a mouth that looks up"
    )
    unstaffed: tuple[Hours, ...] = Field(
        (),
        description='hours at which nobody is there, by the clock on the wall, such as "20:00-07:30"',
    )
    start: Moment | None = Field(
        None, description='when it is to be switched on, by the clock on the wall, such as "2026-03-02 16:00"'
    )
    cell: Cell | None = Field(None, description="readings in a two-distance cell, which calibrate the bath")
    two_plates: TwoPlates | None = Field(
        None, description="weights of two cathodes, which calibrate the bath"
    )
