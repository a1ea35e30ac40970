"""What a person states about a case: the content of ``case.toml``.

Every field has its meaning, unit and default here; the JSON Schema is made from these classes, so an editor
shows the same words. Unknown keys are refused (see :mod:`pinseat.case.document` for the suggestions).
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pinseat.case.casting import Casting, Cement
from pinseat.case.fields import TOOTH, Number, Part, Point, Whole
from pinseat.case.impression import ImpressionWork
from pinseat.case.plating import Plating
from pinseat.case.regions import MarginPick, RegionPick
from pinseat.case.tray import Tray
from pinseat.case.tryin import Mechanics, TryIn

DieRoute = Literal["silver plated", "copper plated", "gypsum", "epoxy", "printed"]
Impression = Literal["polysulfide", "polyether", "addition silicone"]


class Scan(Part):
    """The scan of the prepared teeth with the impression pins standing in their holes."""

    file: str = Field(description="path inside the case folder, such as scans/upper.stl")
    unit: Literal["um", "mm", "cm", "m", "in"] | None = Field(
        None, description="unit of the file; pinseat asks when it is left out"
    )
    sha256: str | None = Field(None, description="content hash; checked at each run when given")
    scanner: Literal["intraoral", "desktop"] = Field("intraoral", description="kind of scanner")
    trueness_um: Number | None = Field(
        None,
        ge=0.0,
        lt=500.0,
        description="how far the form of the scan is off over an arch, root mean square, from the scanner's "
        "own check; as published for its kind when left out",
    )


class Abutment(Part):
    """One prepared tooth, its holes and the cast pins that will go into them."""

    tooth: Whole = Field(description=TOOTH, examples=[11])
    pins: Whole = Field(ge=0, le=6, description="how many pins stand in this tooth", examples=[3])
    at: Point | None = Field(
        None,
        description="any point on the tooth, in the scan's own coordinates, mm; needed when the scan shows "
        "less than an arch",
    )
    hole_diameter_mm: Number = Field(
        gt=0.2, lt=3.0, description="diameter of the hole, from the drill or a gauge", examples=[0.7]
    )
    hole_depth_mm: Number = Field(
        gt=0.3, lt=8.0, description="depth of the hole along its axis", examples=[2.5]
    )
    cast_pin_diameter_mm: Number = Field(
        gt=0.1, lt=3.0, description="diameter of the cast pin", examples=[0.62]
    )
    floor_relief_mm: Number = Field(
        0.10, ge=0.0, lt=2.0, description="how far the cast pin stops short of the floor"
    )
    impression_pin_diameter_mm: Number | None = Field(
        None, gt=0.1, lt=3.0, description="diameter of the pin that stands in the scan"
    )
    impression_pin_length_mm: Number | None = Field(
        None,
        gt=0.5,
        lt=20.0,
        description="whole length of that pin; less the hole depth it is how far the pin should stand out",
    )


class PinEdit(Part):
    """A correction by hand: add a pin that was not found, move one, or reject one."""

    action: Literal["add", "move", "reject"] = Field(description="what to do with the pin")
    tooth: Whole = Field(description=TOOTH)
    number: Whole | None = Field(None, ge=1, description="which pin of the tooth; not needed to add")
    foot: Point | None = Field(
        None, description="where the axis meets the tooth, in the scan's own coordinates, mm"
    )
    tip: Point | None = Field(None, description="centre of the free end, in the scan's own coordinates, mm")


class ContactPick(Part):
    """A place where casting and tooth meet, picked on the scan."""

    kind: Literal["margin", "ledge", "wall", "groove"] = Field(
        description="margins and ledges count for the opening; walls and grooves only stop the casting"
    )
    tooth: Whole = Field(description=TOOTH)
    point: Point = Field(description="in the scan's own coordinates, mm")
    normal: Point | None = Field(None, description="out of the tooth; taken from the scan when left out")


class Layout(Part):
    """Where a pin stands, roughly, when there is no scan: a ruler on a sketch is enough."""

    tooth: Whole = Field(description=TOOTH)
    number: Whole = Field(ge=1, description="which pin of the tooth: 1, 2, ...")
    x_mm: Number = Field(description="along the arch")
    y_mm: Number = Field(description="towards the cheek or lip")
    guide_length_mm: Number = Field(gt=0.5, lt=30.0, description="length of the guide pin above the tooth")


class Reading(Part):
    """One calliper reading between two pins."""

    kind: Literal["base", "tip", "tip to base"] = Field(
        description="between the two feet, the two free ends, or the first pin's end and the second's foot"
    )
    pins: tuple[str, str] = Field(description='such as ["11-1", "22-1"]')
    mm: tuple[Number, ...] = Field(min_length=1, description="each repeat of the reading, over pin centres")
    u_mm: Number = Field(0.02, gt=0.0, lt=1.0, description="standard uncertainty of one reading")


class Photo(Part):
    """The angle between two guide pins in a photograph, taken level, from a metre or more."""

    seen: Literal["along the line", "from the side"] = Field(
        description="along the line of the two feet, or square to it; each shows what the other cannot"
    )
    pins: tuple[str, str] = Field(description='such as ["11-1", "22-1"]; from the first to the second')
    deg: tuple[Number, ...] = Field(
        min_length=1,
        description="each repeat. From the side: positive when the free ends stand farther apart than the "
        "feet. Along the line, from the first pin to the second: positive when the second leans to the left",
    )
    u_deg: Number = Field(0.5, gt=0.0, lt=10.0, description="standard uncertainty of one angle")


class Callipers(Part):
    """The case without a scan."""

    layout: tuple[Layout, ...] = Field(description="where each pin stands, roughly")
    u_layout_mm: Number = Field(
        0.5, gt=0.0, lt=5.0, description="standard uncertainty of each layout coordinate"
    )
    readings: tuple[Reading, ...] = Field((), description="calliper readings between two pins")
    photos: tuple[Photo, ...] = Field((), description="angles between two pins, read in photographs")


class Chain(Part):
    """Which materials the copies go through."""

    impression: Impression = Field("addition silicone", description="the rubber of the impression")
    die: DieRoute = Field("silver plated", description="what the die is made of")
    pattern: Literal["inlay wax", "pattern resin"] = Field(
        "inlay wax", description="what the pattern is made of"
    )
    investment: Literal["gypsum bonded", "phosphate bonded"] = Field(
        "gypsum bonded", description="what the pattern is invested in"
    )
    alloy: Literal[
        "gold type 3",
        "gold type 4",
        "silver palladium",
        "high palladium",
        "nickel chromium",
        "cobalt chromium",
    ] = Field("gold type 3", description="the alloy that is cast")


class Measured(Part):
    """A reading that replaces one assumed entry of the fit ledger."""

    copy_: Literal["impression", "die", "pattern", "investment", "alloy"] = Field(
        alias="copy", description="which copy was measured"
    )
    error: Literal["scale", "position", "tilt", "depth"] = Field(description="which of its errors")
    mean: Number = Field(description="% for scale, um for position and depth, deg for tilt")
    u: Number = Field(ge=0.0, description="standard uncertainty, same unit")
    how: str = Field(description="instrument and date, or how it was found")


class Seat(Part):
    """What counts as seated, and how sure one wants to be."""

    limit_um: Number = Field(120.0, gt=0.0, le=1000.0, description="largest marginal opening accepted")
    wanted_probability: Number = Field(
        0.90, gt=0.5, lt=1.0, description="probability of going home that one wants to have"
    )
    tilt_pivot: Literal["mouth", "mid-pin"] = Field(
        "mouth", description="the point about which a copied pin tilts; matters as much as the tilt itself"
    )
    seed: Whole = Field(1, ge=0, lt=2**32, description="same seed, same virtual bridges")


class Case(Part):
    """A whole case."""

    schema_: Literal[1] = Field(1, alias="schema", description="layout of this file")
    number: str = Field(
        min_length=1, description="your own case number; never a patient's name", examples=["26-014"]
    )
    title: str = Field("", description="a line for yourself")
    notation: Literal["FDI", "Universal"] | None = Field(
        None, description="how teeth are numbered in this file; asked when the numbers could be either"
    )
    missing: tuple[Whole, ...] = Field(
        description="teeth the bridge replaces, numbered like the abutments", examples=[[21]]
    )
    abutments: tuple[Abutment, ...] = Field(min_length=1, description="the prepared teeth")
    scan: Scan | None = Field(None, description="a scan with the pins standing in their holes")
    callipers: Callipers | None = Field(None, description="readings in place of a scan")
    pins: tuple[PinEdit, ...] = Field((), description="corrections by hand to the pins found on the scan")
    regions: tuple[RegionPick, ...] = Field((), description="surfaces that matter, picked on the scan")
    margins: tuple[MarginPick, ...] = Field((), description="margin lines, picked on the scan")
    contacts: tuple[ContactPick, ...] = Field((), description="places where casting and tooth meet")
    tray: Tray = Field(Tray(), description="the impression tray")
    chain: Chain = Field(Chain(), description="materials of the copies")
    impression: ImpressionWork = Field(
        ImpressionWork(), description="tray, room and readings of the impression"
    )
    measured: tuple[Measured, ...] = Field((), description="readings that replace assumed errors")
    casting: Casting = Field(Casting(), description="mould, metal, test castings and the day's timetable")
    cement: Cement = Field(Cement(), description="the luting cement and how it will be used")
    seat: Seat = Field(Seat(), description="what counts as seated")
    plating: Plating = Field(Plating(), description="the plating of the cups; all of it can be left out")
    tryin: TryIn = Field(TryIn(), description="what was seen and measured at the try-in")
    mechanics: Mechanics = Field(
        Mechanics(), description="what gives way or guides, beyond straight pins and rigid parts"
    )
