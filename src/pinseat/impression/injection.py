"""Where the syringe goes first: from closed ends outward, so that air has a way out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pinseat.impression.model import Float, Station
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import PinField

GROOVE_MM = 3.0
"""A groove of which one place is picked is drawn this long."""


def stations(field: PinField, faces: Sequence[Face], draw: Float) -> tuple[Station, ...]:
    """Places of the injection in order.

    Tooth by tooth as the case names them; in each, grooves from their closed end (the lowest along the draw)
    outward, then the corner round each pin, the lowest first, and up along the pin, then round the margin.

    Parameters
    ----------
    field : PinField
    faces : sequence of Face
    draw : (3,) array
        Unit vector off the teeth: the open end of a groove lies that way.

    Returns
    -------
    tuple of Station
    """
    found: list[Station] = []

    def add(tooth: int, kind: str, name: str, start: Float, end: Float, words: str) -> None:
        found.append(Station(len(found) + 1, tooth, kind, name, start, end, words))  # type: ignore[arg-type]

    for tooth in dict.fromkeys(pin.tooth for pin in field.pins):
        for start, end in grooves(faces, tooth, draw):
            add(tooth, "groove", f"{tooth}", start, end, f"groove of {tooth}: from its closed end outward")
        own = [pin for pin in field.pins if pin.tooth == tooth]
        for pin in sorted(own, key=lambda pin: float(pin.foot @ draw)):
            end = pin.foot + pin.protrusion_mm * pin.axis
            add(tooth, "pin", pin.name, pin.foot, end, f"pin {pin.name}: round its foot, then up along it")
        margin = np.array([f.point for f in faces if f.tooth == tooth and f.kind == "margin"])
        if len(margin):
            low = margin[np.argmin(margin @ draw)]
            far = margin[np.argmax(np.linalg.norm(margin - low, axis=1))]
            add(
                tooth,
                "margin",
                f"{tooth}",
                low,
                far,
                f"margin of {tooth}: all the way round, tip in the rubber",
            )
    return tuple(found)


def grooves(faces: Sequence[Face], tooth: int, draw: Float) -> list[tuple[Float, Float]]:
    """Closed and open end of the groove of a tooth; empty when it has none."""
    points = np.array([face.point for face in faces if face.tooth == tooth and face.kind == "groove"])
    if not len(points):
        return []
    height = points @ draw
    low, high = points[np.argmin(height)], points[np.argmax(height)]
    if np.linalg.norm(high - low) < 0.5:
        middle = points.mean(axis=0)
        low, high = middle - 0.5 * GROOVE_MM * draw, middle + 0.5 * GROOVE_MM * draw
    return [(low, high)]
