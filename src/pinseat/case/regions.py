"""Surfaces that matter and margin lines, as a person picks and corrects them on the scan."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pinseat.case.fields import Number, Part, Point, Whole

RegionKind = Literal["prepared", "wall", "groove", "ledge", "neighbour"]


class RegionEdit(Part):
    """A correction by hand: a round patch that the region must take in, or must leave out."""

    action: Literal["include", "exclude"] = Field(description="take the patch in, or leave it out")
    at: Point = Field(description="centre of the patch, in the scan's own coordinates, mm")
    radius_mm: Number = Field(0.5, gt=0.0, le=10.0, description="radius of the patch")


class RegionPick(Part):
    """A surface that matters, grown on the scan from one point in it."""

    kind: RegionKind = Field(
        description="prepared: all that was cut, up to a closed margin. wall and groove guide the bridge; "
        "neighbour: a surface beside the gap that the bridge must pass. These three bound the draw"
    )
    tooth: Whole = Field(
        description="number of the tooth, in the notation of the case; a neighbour is no abutment"
    )
    at: Point = Field(description="any point well inside the surface, in the scan's own coordinates, mm")
    limit_mm2: Number | None = Field(
        None, gt=0.0, le=1000.0, description="largest area; a larger region has leaked"
    )
    corrections: tuple[RegionEdit, ...] = Field((), description="corrections by hand")


class MarginPick(Part):
    """The margin line of a tooth: given point by point, or traced along the ridge between a few points."""

    tooth: Whole = Field(description="number of the abutment tooth, in the notation of the case")
    points: tuple[Point, ...] = Field(
        min_length=2, description="along the margin, in the scan's own coordinates, mm"
    )
    closed: bool = Field(True, description="whether the line goes on from the last point to the first")
    traced: bool = Field(
        False, description="whether to follow the sharpest edge from point to point, not the straight way"
    )
