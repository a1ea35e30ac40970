"""The impression in ``case.toml``: tray, room, and what was read on pins, die and casting."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pinseat.case.fields import Number, Part

Stage = Literal["hole", "impression", "die", "casting"]
"""Where a projection is read, in the order of the work."""

PIN = 'tooth and number, such as "11-2"'


class Projection(Part):
    """How far one pin stands out, or how deep its hole is, at one stage of the work."""

    pin: str = Field(description=PIN)
    at: Stage = Field(
        "impression",
        description="hole: how deep the pin stands in the tooth; impression: how far it stands out "
        "of the rubber; die: depth of the hole in the die; casting: length of the cast pin",
    )
    mm: tuple[Number, ...] = Field(min_length=1, description="each repeat of the reading")
    u_mm: Number = Field(
        0.02, gt=0.0, lt=1.0, description="standard uncertainty of one reading; 0.02 is assumed"
    )


class BetweenPins(Part):
    """Distance between two pins as they stand in the impression."""

    pins: tuple[str, str] = Field(description='as numbered on the pins, such as ["11-1", "22-1"]')
    mm: tuple[Number, ...] = Field(min_length=1, description="each repeat, over pin centres at the rubber")
    u_mm: Number = Field(0.05, gt=0.0, lt=1.0, description="standard uncertainty of one reading")


class PinDiameter(Part):
    """Diameter of the pin that stands in one place of the impression."""

    pin: str = Field(description=f"the place: {PIN}")
    mm: Number = Field(gt=0.1, lt=3.0, description="diameter read there")
    u_mm: Number = Field(0.01, gt=0.0, lt=0.5, description="standard uncertainty of the reading")


class ImpressionWork(Part):
    """Tray, room and readings of the impression; its rubber is named under ``[chain]``."""

    tray: Literal["custom", "stock"] = Field(
        "custom", description="a tray made for this case, or a bought one"
    )
    tray_file: str | None = Field(
        None,
        description="mesh of the tray in the coordinates of the scan, mm, inside the case folder; "
        "left out, the tray made here is taken, else a uniform bulk",
    )
    bulk_mm: Number | None = Field(
        None,
        gt=0.2,
        lt=15.0,
        description="thickness of rubber between teeth and tray where no tray is at hand; left out, that of "
        "two sheets of relief, or of a stock tray",
    )
    u_bulk_mm: Number = Field(
        0.3, ge=0.0, lt=5.0, description="standard uncertainty of a stated bulk, unevenness included"
    )
    room_degC: Number = Field(23.0, ge=10.0, le=35.0, description="temperature of the room and the bench")
    pin_material: Literal["plastic", "metal"] = Field(
        "plastic", description="what the impression pins are made of"
    )
    working_time_min: Number | None = Field(
        None,
        gt=0.3,
        lt=20.0,
        description="from the maker's sheet, at 23 degC; replaces the remembered figure",
    )
    setting_time_min: Number | None = Field(
        None,
        gt=0.5,
        lt=40.0,
        description="from the maker's sheet, at 23 degC; replaces the remembered figure",
    )
    projections: tuple[Projection, ...] = Field((), description="readings of single pins")
    distances: tuple[BetweenPins, ...] = Field((), description="readings between pins in the impression")
    diameters: tuple[PinDiameter, ...] = Field((), description="diameters of pins in the impression")
