"""What is seen and measured at the try-in, and how pins, holes, teeth and span give way or guide."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, Literal

from pydantic import Field

from pinseat.case.fields import TOOTH, Number, Part, Point, Whole

PIN = 'name of the pin, tooth and number, such as "11-2"'


class OpeningReading(Part):
    """How far a margin stands open, by feeler or loupe."""

    tooth: Whole = Field(description=TOOTH)
    um: Number = Field(ge=0.0, le=10_000.0, description="opening along the normal of the margin")
    u_um: Number | None = Field(
        None, gt=0.0, le=1000.0, description="standard uncertainty of the reading; assumed when left out"
    )
    side: Literal["towards the gap", "away from the gap"] | None = Field(
        None, description="which side of the tooth; the widest place of the tooth when nothing is said"
    )
    point: Point | None = Field(
        None, description="the place itself, in the scan's own coordinates, mm; goes before side"
    )


class PinReading(Part):
    """A cast pin as measured: only what was read is stated."""

    pin: str = Field(description=PIN)
    length_mm: Number | None = Field(
        None, gt=0.1, lt=8.0, description="from the place that meets the mouth of the hole to the tip"
    )
    u_length_mm: Number = Field(0.02, gt=0.0, lt=1.0, description="standard uncertainty of the length")
    lean_deg: Number | None = Field(
        None, ge=0.0, lt=45.0, description="angle between the pin and where it should point"
    )
    u_lean_deg: Number = Field(0.3, gt=0.0, lt=10.0, description="standard uncertainty of the angle")


class SpanReading(Part):
    """The distance of two pins on the casting, and of the same two holes in the teeth."""

    pins: tuple[str, str] = Field(description='such as ["11-1", "22-1"]')
    casting_mm: Number = Field(gt=0.5, lt=100.0, description="between the two cast pins, at their feet")
    teeth_mm: Number = Field(gt=0.5, lt=100.0, description="between the two holes in the teeth")
    u_mm: Number = Field(0.015, gt=0.0, lt=1.0, description="standard uncertainty of the difference")


class TryIn(Part):
    """What was seen as the bridge was tried in; whatever was not looked at is left out."""

    openings: tuple[OpeningReading, ...] = Field((), description="margins that were read")
    starts: tuple[str, ...] = Field((), description="pins that find their holes as the bridge is held up")
    stuck: tuple[str, ...] = Field((), description="pins that do not find their holes")
    rubs: tuple[str, ...] = Field((), description="pins that show a mark on their side")
    clean: tuple[str, ...] = Field((), description="pins that show no mark on their side")
    bottoms: tuple[str, ...] = Field((), description="pins that show a mark on their tip")
    hangs: tuple[str, ...] = Field((), description="pins that show no mark on their tip")
    on_die: Literal["goes home", "stands open"] | None = Field(
        None, description="how the bridge sits on its die"
    )
    loupe: Literal["nothing found", "speck or bubble found"] | None = Field(
        None,
        description="what the loupe showed in holes, at margins and inside the casting, all cleaned first",
    )
    pins: tuple[PinReading, ...] = Field((), description="cast pins that were measured")
    spans: tuple[SpanReading, ...] = Field((), description="spans read on casting and teeth")


class PinSize(Part):
    """One cast pin that differs from the others of its tooth."""

    pin: str = Field(description=PIN)
    length_mm: Number | None = Field(
        None, gt=0.1, lt=8.0, description="length in the hole when seated; else hole depth less floor relief"
    )
    diameter_mm: Number | None = Field(None, gt=0.1, lt=3.0, description="at the mouth of the hole")
    tip_diameter_mm: Number | None = Field(None, gt=0.05, lt=3.0, description="at the tip")


class Mobility(Part):
    """How far a tooth yields in its socket."""

    tooth: Whole = Field(description=TOOTH)
    um_per_N: Number = Field(
        gt=0.0, le=200.0, description="travel across the draw for a newton of sideways force"
    )


class Beam(Part):
    """The span between two retainers as a beam of one section."""

    width_mm: Number = Field(gt=0.5, lt=15.0, description="across the arch")
    height_mm: Number = Field(gt=0.5, lt=15.0, description="along the draw")
    modulus_GPa: Number = Field(gt=1.0, lt=500.0, description="Young's modulus of the alloy, from its sheet")
    poisson: Number = Field(0.33, ge=0.0, lt=0.5, description="Poisson's ratio, for twist")


class Intaglio(Part):
    """A scan of the inside of the pattern or casting, laid over the scan of the teeth."""

    file: str = Field(description="path inside the case folder, such as scans/inside.stl")
    unit: Literal["um", "mm", "cm", "m", "in"] = Field("mm", description="unit of the file")
    of: Literal["pattern", "casting"] = Field("casting", description="what was scanned")


class Mechanics(Part):
    """Beyond straight pins in straight holes, rigid teeth and a rigid span; each is off unless stated."""

    mouth_bevel_mm: Number = Field(
        0.0, ge=0.0, lt=2.0, description="depth of the bevel at the mouth of every hole; 0 = sharp mouths"
    )
    tip_diameter_mm: Number | None = Field(
        None, gt=0.05, lt=3.0, description="diameter of every cast pin at its tip, when pins are tapered"
    )
    pins: tuple[PinSize, ...] = Field((), description="cast pins that differ from the others of their tooth")
    mobility: tuple[Mobility, ...] = Field((), description="teeth that yield in their sockets")
    beam: Beam | None = Field(None, description="the span when it may flex")
    finger_force_N: Number | None = Field(
        None,
        gt=0.0,
        le=50.0,
        description="largest force at which teeth or span are let yield as the bridge is held up",
    )
    tilt_pivot_mm: Number | None = Field(
        None,
        ge=-5.0,
        le=8.0,
        description="how far below the mouth a copied pin tilts about; goes before seat.tilt_pivot",
    )
    intaglio: Intaglio | None = Field(None, description="a scan of the inside of the pattern or casting")


PIN_LISTS = ("starts", "stuck", "rubs", "clean", "bottoms", "hangs")
"""Lists of pins' names at the try-in."""
OPPOSITE = (("starts", "stuck"), ("rubs", "clean"), ("bottoms", "hangs"))


def stated_teeth(tryin: TryIn, mechanics: Mechanics) -> Iterator[tuple[tuple[str | int, ...], int]]:
    """Every tooth number stated here, with its place in the case."""
    for i, opening in enumerate(tryin.openings):
        yield ("tryin", "openings", i, "tooth"), opening.tooth
    for i, mobility in enumerate(mechanics.mobility):
        yield ("mechanics", "mobility", i, "tooth"), mobility.tooth


def stated_pins(tryin: TryIn, mechanics: Mechanics) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Every pin's name stated here, with its place in the case."""
    for name in PIN_LISTS:
        for i, pin in enumerate(getattr(tryin, name)):
            yield ("tryin", name, i), pin
    for i, reading in enumerate(tryin.pins):
        yield ("tryin", "pins", i, "pin"), reading.pin
    for i, span in enumerate(tryin.spans):
        for k, pin in enumerate(span.pins):
            yield ("tryin", "spans", i, "pins", k), pin
    for i, size in enumerate(mechanics.pins):
        yield ("mechanics", "pins", i, "pin"), size.pin


def renumbered(
    tryin: TryIn, mechanics: Mechanics, tooth: Callable[[int], int], pin: Callable[[str], str]
) -> dict[str, Any]:
    """Both parts with other tooth numbers, as an update of the case."""

    def each(parts: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(part.model_copy(update={"tooth": tooth(part.tooth)}) for part in parts)

    def named(parts: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(part.model_copy(update={"pin": pin(part.pin)}) for part in parts)

    lists = {name: tuple(pin(one) for one in getattr(tryin, name)) for name in PIN_LISTS}
    spans = tuple(
        span.model_copy(update={"pins": (pin(span.pins[0]), pin(span.pins[1]))}) for span in tryin.spans
    )
    seen = {**lists, "openings": each(tryin.openings), "pins": named(tryin.pins), "spans": spans}
    gives = {"pins": named(mechanics.pins), "mobility": each(mechanics.mobility)}
    return {"tryin": tryin.model_copy(update=seen), "mechanics": mechanics.model_copy(update=gives)}
