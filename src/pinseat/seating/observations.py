"""What was seen at the try-in, as questions that every simulated bridge can answer."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.case.tryin import OPPOSITE, OpeningReading, TryIn
from pinseat.errors import SeatingError
from pinseat.ledger.pins import frame
from pinseat.reference import value
from pinseat.seating.assembly import Assembly
from pinseat.seating.faults import CAUSES, Sample
from pinseat.seating.tried import Tried

Float = NDArray[np.float64]
WIDEST_MM = 3.0
"""A stray reading may be anything up to this."""


@dataclass(frozen=True, eq=False)
class Bridges:
    """Simulated bridges with what is seen of each on the teeth and on the die.

    Attributes
    ----------
    assembly : Assembly
    sample : Sample
    teeth, die : Tried
    share : (k,) array
        What each stands for beforehand, as if every cause were equally probable.
    """

    assembly: Assembly
    sample: Sample
    teeth: Tried
    die: Tried
    share: Float

    def __len__(self) -> int:
        return len(self.sample)

    def and_(self, other: Bridges) -> Bridges:
        """One after the other."""
        return Bridges(
            self.assembly,
            Sample.joined(self.sample, other.sample),
            Tried.joined(self.teeth, other.teeth),
            Tried.joined(self.die, other.die),
            np.concatenate([self.share, other.share]),
        )


@dataclass(frozen=True)
class Look:
    """One thing that can be seen or measured.

    Attributes
    ----------
    kind : str
        ``opening``, ``starts``, ``rubs``, ``bottoms``, ``die``, ``loupe``, ``length``, ``lean`` or ``span``.
    at : tuple of int
        Faces of an opening, the pin of a mark or a measured pin, both pins of a span.
    words : str
        What to do.
    u_mm : float
        Standard uncertainty of a reading, mm (deg for a lean); 0 for what is only seen.
    minutes : float
        What it takes.
    """

    kind: str
    at: tuple[int, ...]
    words: str
    u_mm: float
    minutes: float

    @property
    def is_reading(self) -> bool:
        """Whether it gives a number, not yes or no."""
        return self.u_mm > 0.0


def foretold(look: Look, bridges: Bridges) -> Float:
    """What each simulated bridge would show: a number without its error, or the probability of yes, (k,).

    Parameters
    ----------
    look : Look
    bridges : Bridges
    """
    sample, teeth = bridges.sample, bridges.teeth
    if look.kind == "opening":
        return np.asarray(teeth.opening_mm[:, list(look.at)].max(axis=1))
    if look.kind == "length":
        pin = look.at[0]
        made = sample.before.depth[:, pin] + sample.after.depth[:, pin]
        return np.asarray(bridges.assembly.length_mm[pin] + made)
    if look.kind == "lean":
        tilt = (sample.before.tilt + sample.after.tilt)[:, look.at[0]]
        return np.asarray(np.degrees(np.linalg.norm(tilt, axis=1)))
    if look.kind == "span":
        return _span(bridges, *look.at)
    miss = value("tryin.misread_share").value
    if look.kind == "loupe":
        there = sample.cause == CAUSES.index("speck")
        finds, false = value("tryin.loupe_finds_share").value, value("tryin.loupe_false_share").value
        return np.where(there, finds, false)
    seen = bridges.die.home if look.kind == "die" else getattr(teeth, look.kind)[:, look.at[0]]
    return np.where(seen, 1.0 - miss, miss)


def _span(bridges: Bridges, one: int, other: int) -> Float:
    """Distance of two pins on the casting less that of their holes."""
    assembly, sample = bridges.assembly, bridges.sample
    both = sample.before.and_(sample.after)
    apart = assembly.mouths[other] - assembly.mouths[one]
    length = float(np.linalg.norm(apart))
    way = apart / length
    moved = both.position[:, other] @ (frame(assembly.axes[other]) @ way)
    moved = moved - both.position[:, one] @ (frame(assembly.axes[one]) @ way)
    return np.asarray(both.scale * length + moved)


def likelihood(look: Look, seen: float, expected: Float) -> Float:
    """Logarithm of how probable it was to see this, for each simulated bridge.

    Parameters
    ----------
    look : Look
    seen : float
        The reading, or 1 for yes and 0 for no.
    expected : (k,) array
        From :func:`foretold`.

    Returns
    -------
    (k,) array
    """
    if not look.is_reading:
        return np.log(expected if seen else 1.0 - expected)
    u, stray = look.u_mm, value("tryin.stray_share").value
    width = WIDEST_MM if look.kind != "lean" else 45.0
    bell = np.exp(-0.5 * ((seen - expected) / u) ** 2) / (u * math.sqrt(2.0 * math.pi))
    return np.log((1.0 - stray) * bell + stray / width)


def looks_of(tryin: TryIn, assembly: Assembly) -> list[tuple[Look, float]]:
    """Everything that was seen, each with what was seen.

    Parameters
    ----------
    tryin : TryIn
    assembly : Assembly

    Returns
    -------
    list of (Look, float)

    Raises
    ------
    SeatingError
        For a pin or a margin that the bridge does not have, or when nothing was seen.
    """
    found = [*_openings(tryin, assembly), *_marks(tryin, assembly), *_measured(tryin, assembly)]
    if tryin.on_die is not None:
        found.append((die_look(), float(tryin.on_die == "goes home")))
    if tryin.loupe is not None:
        found.append((loupe_look(), float(tryin.loupe == "speck or bubble found")))
    if not found:
        raise SeatingError(
            "nothing was seen at the try-in yet",
            where="case.toml, [tryin]",
            do="hold the bridge up without pressing and state the openings under [[tryin.openings]]",
        )
    return found


def _openings(tryin: TryIn, assembly: Assembly) -> Iterator[tuple[Look, float]]:
    for reading in tryin.openings:
        u = reading.u_um or value("tryin.opening_reading_um").uncertainty or 0.0
        yield (
            opening_look(_faces_of(reading, assembly), assembly, u / 1000.0),
            reading.um / 1000.0,
        )


def opening_look(faces: tuple[int, ...], assembly: Assembly, u_mm: float) -> Look:
    """The opening at the widest of some faces."""
    settles = (value("tryin.settling_um").uncertainty or 0.0) / 1000.0
    tooth = assembly.faces[faces[0]].tooth
    place = f" at {_place(faces[0], assembly)}" if len(faces) == 1 else ""
    return Look("opening", faces, f"read the margin of {tooth}{place}", math.hypot(u_mm, settles), 1.0)


def _place(face: int, assembly: Assembly) -> str:
    point = assembly.faces[face].point
    return f"{_side(face, assembly)} (x {point[0]:.1f}, y {point[1]:.1f}, z {point[2]:.1f} mm)"


def _side(face: int, assembly: Assembly) -> str:
    """Towards the gap, away from it, or beside it."""
    inward = _towards_gap(assembly.faces[face].tooth, assembly)
    along = _along(face, assembly, inward)
    own = [i for i in _counted(assembly) if assembly.faces[i].tooth == assembly.faces[face].tooth]
    reach = max(abs(_along(i, assembly, inward)) for i in own)
    if reach == 0.0 or abs(along) < 0.5 * reach:
        return "its flank"
    return "the side towards the gap" if along > 0.0 else "the side away from the gap"


def _towards_gap(tooth: int, assembly: Assembly) -> Float:
    teeth = np.array([assembly.faces[i].tooth for i in _counted(assembly)])
    points = np.array([assembly.faces[i].point for i in _counted(assembly)])
    if np.all(teeth == tooth):
        return np.zeros(3)
    way = points[teeth != tooth].mean(axis=0) - points[teeth == tooth].mean(axis=0)
    return np.asarray(way / np.linalg.norm(way))


def _along(face: int, assembly: Assembly, way: Float) -> float:
    own = [
        assembly.faces[i].point
        for i in _counted(assembly)
        if assembly.faces[i].tooth == assembly.faces[face].tooth
    ]
    return float((assembly.faces[face].point - np.mean(own, axis=0)) @ way)


def _counted(assembly: Assembly) -> list[int]:
    return [i for i, face in enumerate(assembly.faces) if face.kind in ("margin", "ledge")]


def _faces_of(reading: OpeningReading, assembly: Assembly) -> tuple[int, ...]:
    own = [i for i in _counted(assembly) if assembly.faces[i].tooth == reading.tooth]
    if not own:
        raise SeatingError(
            "this tooth has no margin or ledge to read",
            where=f"case.toml, [[tryin.openings]], tooth {reading.tooth}",
            do="pick one under [[contacts]]",
        )
    if reading.point is not None:
        off = [float(np.linalg.norm(assembly.faces[i].point - np.array(reading.point))) for i in own]
        return (own[int(np.argmin(off))],)
    if reading.side is not None:
        inward = _towards_gap(reading.tooth, assembly)
        along = [_along(i, assembly, inward) for i in own]
        best = np.argmax(along) if reading.side == "towards the gap" else np.argmin(along)
        return (own[int(best)],)
    return tuple(own)


def _pin(name: str, assembly: Assembly) -> int:
    if name not in assembly.names:
        raise SeatingError(
            "there is no such pin",
            where="case.toml, [tryin]",
            value=name,
            limit=f"one of {', '.join(assembly.names)}",
        )
    return assembly.names.index(name)


def _marks(tryin: TryIn, assembly: Assembly) -> Iterator[tuple[Look, float]]:
    for kind, (yes, no) in zip(("starts", "rubs", "bottoms"), OPPOSITE, strict=True):
        for listed, seen in ((yes, 1.0), (no, 0.0)):
            for name in getattr(tryin, listed):
                yield mark_look(kind, _pin(name, assembly), assembly), seen


def mark_look(kind: str, pin: int, assembly: Assembly) -> Look:
    """Whether a pin starts, rubs at its side or touches at its tip."""
    words = {
        "starts": "hold the bridge up and see whether pin {} finds its hole",
        "rubs": "coat the side of pin {} with marking paste, hold the bridge up, and look for a mark",
        "bottoms": "coat the tip of pin {} with marking paste, hold the bridge up, and look for a mark",
    }[kind]
    return Look(kind, (pin,), words.format(assembly.names[pin]), 0.0, 1.0 if kind == "starts" else 3.0)


def die_look() -> Look:
    """Whether the bridge goes home on its die."""
    return Look("die", (), "try the bridge on its die, without pressing", 0.0, 5.0)


def loupe_look() -> Look:
    """Whether specks or beads are found."""
    words = "clean holes, ledges and the inside of the casting, and look at them under the loupe"
    return Look("loupe", (), words, 0.0, 3.0)


def _measured(tryin: TryIn, assembly: Assembly) -> Iterator[tuple[Look, float]]:
    for reading in tryin.pins:
        pin = _pin(reading.pin, assembly)
        if reading.length_mm is not None:
            yield length_look(pin, assembly, reading.u_length_mm), reading.length_mm
        if reading.lean_deg is not None:
            yield lean_look(pin, assembly, reading.u_lean_deg), reading.lean_deg
    for span in tryin.spans:
        one, other = (_pin(name, assembly) for name in span.pins)
        yield span_look(one, other, assembly, span.u_mm), span.casting_mm - span.teeth_mm


def length_look(pin: int, assembly: Assembly, u_mm: float = 0.02) -> Look:
    """Length of a cast pin."""
    return Look("length", (pin,), f"measure the length of cast pin {assembly.names[pin]}", u_mm, 2.0)


def lean_look(pin: int, assembly: Assembly, u_deg: float = 0.3) -> Look:
    """Angle between a cast pin and where it should point."""
    words = f"measure how far cast pin {assembly.names[pin]} leans from where it should point"
    return Look("lean", (pin,), words, u_deg, 5.0)


def span_look(one: int, other: int, assembly: Assembly, u_mm: float = 0.015) -> Look:
    """Distance of two pins, casting less teeth."""
    words = (
        f"read the span between pins {assembly.names[one]} and {assembly.names[other]} on casting and teeth"
    )
    return Look("span", (one, other), words, u_mm, 5.0)
