"""What would bring the bridge home: each remedy tried on bridges that look like the one at hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.cautions import dentine_caution
from pinseat.reference import value
from pinseat.seating.assembly import Assembly
from pinseat.seating.changes import span_mm
from pinseat.seating.faults import BEFORE, CAUSES, Errors, Sample, cleaned, ordinary
from pinseat.seating.model import Cost
from pinseat.seating.observations import Bridges
from pinseat.seating.tried import on_teeth

Float = NDArray[np.float64]
LIKE_IT = 1_500
"""Bridges that look like the one at hand, on which each remedy is tried."""
NEARLY = 0.8
"""A cheaper remedy is taken when it brings home this part of what the best one does."""
OFF_MM = 0.05
"""By how much a pin is thinned, or a hole reamed."""
MOST_OFF_MM = 0.6
GRIND = "holds less; grind under extraction, measure again, and stop at what was planned"


@dataclass(frozen=True)
class Remedy:
    """One remedy.

    Attributes
    ----------
    words : str
        What to do.
    probability, u_probability : float
        That the bridge is within the limit after it, and the standard error of counting.
    cost : Cost
    caution : str
        Where it can hurt; empty when it cannot.
    """

    words: str
    probability: float
    u_probability: float
    cost: Cost
    caution: str = ""

    @property
    def in_full(self) -> str:
        """What to do, with its caution."""
        return f"{self.words}: {self.caution}" if self.caution else self.words


def remedies(bridges: Bridges, weight: Float, *, seed: int) -> tuple[Remedy, ...]:
    """Every remedy, by what it costs and then by what it gains.

    Parameters
    ----------
    bridges : Bridges
    weight : (k,) array
    seed : int

    Returns
    -------
    tuple of Remedy
    """
    rng = np.random.Generator(np.random.Philox([seed, 7]))
    like = bridges.sample[rng.choice(len(bridges), LIKE_IT, p=weight)]
    found = []
    for words, cost, caution, assembly, sample in _tried(bridges, like, weight, rng):
        p = float(on_teeth(assembly, sample).home.mean())
        u = (max(p * (1.0 - p), 1.0 / LIKE_IT) / LIKE_IT) ** 0.5
        found.append(Remedy(words, p, u, cost, caution))
    return tuple(sorted(found, key=lambda r: (get_args(Cost).index(r.cost), -r.probability)))


def first_choice(found: tuple[Remedy, ...]) -> Remedy | None:
    """The cheapest that brings home nearly as many as the best; teeth are never cut again for it.

    Parameters
    ----------
    found : tuple of Remedy

    Returns
    -------
    Remedy or None
        None when nothing brings the bridge home.
    """
    safe = [remedy for remedy in found if remedy.cost != "holes"]
    best = max((remedy.probability for remedy in safe), default=0.0)
    if best <= 0.0:
        return None
    return next(remedy for remedy in safe if remedy.probability >= NEARLY * best)


Remedied = tuple[str, Cost, str, Assembly, Sample]


def _tried(bridges: Bridges, like: Sample, weight: Float, rng: np.random.Generator) -> Iterator[Remedied]:
    assembly = bridges.assembly
    yield (
        "clean holes, ledges and the inside of the casting, and take off what the loupe shows",
        "minutes",
        "",
        assembly,
        cleaned(like),
    )
    pin, off = _longest(bridges, weight)
    if off > 0.0:
        yield (
            f"take {off:.2f} mm off the tip of pin {assembly.names[pin]}, out of the mouth",
            "minutes",
            GRIND,
            assembly,
            _shorter(like, pin, off),
        )
    rub = int(np.argmax(weight @ bridges.teeth.rubs))
    one = np.arange(len(assembly.names)) == rub
    for which, name in ((one, f"pin {assembly.names[rub]}"), (np.ones_like(one), "all pins")):
        yield (
            f"thin {name} by {OFF_MM:.2f} mm all round its length, out of the mouth",
            "minutes",
            GRIND,
            replace(assembly, pin_mm=assembly.pin_mm - OFF_MM * which),
            like,
        )
    yield from _anew(bridges, like, rng)
    yield (
        f"ream the hole of pin {assembly.names[rub]} {OFF_MM:.2f} mm wider",
        "holes",
        dentine_caution(),
        replace(assembly, hole_mm=assembly.hole_mm + OFF_MM * (np.arange(len(assembly.names)) == rub)),
        like,
    )


def _longest(bridges: Bridges, weight: Float) -> tuple[int, float]:
    """The pin likeliest to be too long, and what has to come off so that 95 of 100 such bridges have room."""
    sample, n = bridges.sample, len(bridges.assembly.names)
    long = np.isin(sample.cause, [CAUSES.index("long pin"), CAUSES.index("proud seat")])
    if not weight[long].sum() > 0.0:
        return 0, 0.0
    pin = int(np.argmax(np.bincount(sample.place[long], weight[long], minlength=n)))
    here = long & (sample.place == pin)
    over = (sample.before.depth + sample.after.depth)[here, pin] - bridges.assembly.relief_mm[pin]
    order = np.argsort(over)
    ranked = np.cumsum(weight[here][order])
    most = float(over[order][np.searchsorted(ranked, 0.95 * ranked[-1])])
    return pin, float(min(np.ceil(max(most, 0.0) / 0.05) * 0.05, MOST_OFF_MM))


def _shorter(sample: Sample, pin: int, off_mm: float) -> Sample:
    depth = sample.after.depth.copy()
    depth[:, pin] -= off_mm
    return replace(sample, after=replace(sample.after, depth=depth))


def _anew(bridges: Bridges, like: Sample, rng: np.random.Generator) -> Iterator[Remedied]:
    """Soldered, cast again on the same die, and from a new impression."""
    assembly, k = bridges.assembly, len(like)
    n, f = len(assembly.names), len(assembly.faces)
    if len(set(assembly.teeth)) > 1:
        yield (
            "saw the span through, seat each retainer by itself, and solder by an index taken on the teeth",
            "casting",
            "",
            assembly,
            _soldered(assembly, cleaned(like), rng),
        )
    early, late = ([row for row in assembly.rows if (row.copy in BEFORE) is first] for first in (True, False))
    again = replace(cleaned(like), after=ordinary(late, k, n, f, rng))
    yield "make a new pattern on the same die and cast again", "casting", "", assembly, again
    afresh = replace(again, before=ordinary(early, k, n, f, rng))
    yield "take a new impression", "impression", "", assembly, afresh


def _soldered(assembly: Assembly, sample: Sample, rng: np.random.Generator) -> Sample:
    """Retainers each where their own pins want to be, and the span known to the index."""
    u = (value("seat.solder_index_um").uncertainty or 0.0) / 1000.0 / span_mm(assembly)
    both = sample.before.and_(sample.after)
    position, tilt = both.position.copy(), both.tilt.copy()
    for tooth in set(assembly.teeth):
        own = np.array([t == tooth for t in assembly.teeth])
        position[:, own] -= position[:, own].mean(axis=1, keepdims=True)
        tilt[:, own] -= tilt[:, own].mean(axis=1, keepdims=True)
    joined = replace(both, scale=u * rng.standard_normal(len(sample)), position=position, tilt=tilt)
    nothing = Errors(*(np.zeros_like(getattr(both, name)) for name in Errors.__dataclass_fields__))
    return replace(sample, before=nothing, after=joined)
