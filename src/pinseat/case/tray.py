"""What a person states about the impression tray."""

from __future__ import annotations

from pydantic import Field

from pinseat.case.fields import Number, Part, Point, Whole


class Tray(Part):
    """The tray: room over teeth and pins, wall, border, stops and handle."""

    relief_mm: Number | None = Field(
        None, gt=0.3, le=8.0, description="room over the teeth; two sheets of 1.3 mm when left out"
    )
    relief_sheets: Whole | None = Field(
        None, ge=1, le=12, description="the same in sheets; needs sheet_mm", examples=[2]
    )
    pin_sheets: Whole | None = Field(
        None, ge=0, le=30, description="sheets laid over the pins in all, for a tray made by hand"
    )
    sheet_mm: Number | None = Field(
        None, gt=0.1, le=3.0, description="thickness of one sheet, measured on your own stock", examples=[1.3]
    )
    pin_extra_mm: Number | None = Field(
        None,
        ge=0.0,
        le=8.0,
        description="room round what the pins can reach, beyond relief_mm; 1.0 when left out",
    )
    pin_gap_mm: Number | None = Field(
        None, ge=0.1, le=8.0, description="least clearance of a pin, also with wobble; 1.0 when left out"
    )
    wobble_deg: Number | None = Field(
        None, ge=0.0, le=15.0, description="how far the tray may lean on its way; 2 when left out"
    )
    wobble_mm: Number | None = Field(
        None, ge=0.0, le=5.0, description="how far it may be shifted sideways on its way; 0.3 when left out"
    )
    wall_mm: Number | None = Field(
        None, ge=1.0, le=6.0, description="thickness of the wall; 2.5 when left out"
    )
    past_gum_mm: Number | None = Field(
        None, ge=0.0, le=15.0, description="border past the gum line; 4 when left out"
    )
    border: tuple[Point, ...] = Field(
        (),
        description="drawn border, points all round in the scan's own coordinates, mm; replaces past_gum_mm",
    )
    stops: tuple[Point, ...] = Field(
        (), description="picked stops, in the scan's own coordinates, mm; proposed when left out"
    )
    stop_diameter_mm: Number | None = Field(
        None, ge=1.0, le=6.0, description="diameter of a stop, which ends in a dome; 2.5 when left out"
    )
    handle: bool = Field(True, description="whether the tray gets a handle on the line of pull")
    retention_hole_mm: Number | None = Field(
        None, ge=1.0, le=4.0, description="diameter of holes that hold the rubber; none when left out"
    )
    grid_mm: Number | None = Field(
        None, ge=0.1, le=0.6, description="grid that the tray is worked out on; 0.25 when left out"
    )
    waste_share: Number | None = Field(
        None, ge=0.0, le=2.0, description="rubber mixed beyond the gap's volume; 0.3 when left out"
    )
