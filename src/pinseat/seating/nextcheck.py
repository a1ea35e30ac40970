"""What to look at next: the check that is expected to tell most about the cause."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pinseat.reference import value
from pinseat.seating.faults import CAUSES
from pinseat.seating.observations import (
    Bridges,
    Look,
    die_look,
    foretold,
    lean_look,
    length_look,
    loupe_look,
    mark_look,
    opening_look,
    span_look,
)

Float = NDArray[np.float64]
CLASSES = 32
"""Classes into which a reading is put to weigh what it tells."""
MOST = 5


@dataclass(frozen=True)
class Check:
    """A check.

    Attributes
    ----------
    words : str
        What to do.
    bits : float
        Expected information about the cause: mutual information of cause and outcome.
    minutes : float
        What it takes.
    """

    words: str
    bits: float
    minutes: float


def next_checks(bridges: Bridges, weight: Float, done: Sequence[Look]) -> tuple[Check, ...]:
    """Checks not done yet, most telling first.

    Parameters
    ----------
    bridges : Bridges
    weight : (k,) array
        From what was seen so far.
    done : sequence of Look

    Returns
    -------
    tuple of Check
        At most :data:`MOST`; none that is expected to tell less than a hundredth of a bit.
    """
    over = {(look.kind, look.at) for look in done}
    kept = np.flatnonzero(weight > weight.max() * 1e-6)
    found = [
        Check(look.words, information_bits(look, bridges, weight, kept), look.minutes)
        for look in _looks(bridges)
        if (look.kind, look.at) not in over
    ]
    telling = [check for check in found if check.bits >= 0.01]
    return tuple(sorted(telling, key=lambda check: (-check.bits, check.minutes))[:MOST])


def information_bits(look: Look, bridges: Bridges, weight: Float, kept: NDArray[np.intp]) -> float:
    """Mutual information of cause and outcome, ``sum p(c, y) log2(p(c, y) / (p(c) p(y)))``.

    A reading is put into classes, its error included (Shannon 1948, Bell Syst. Tech. J. 27, 379; as a design
    criterion Lindley 1956, Ann. Math. Stat. 27, 986).

    Parameters
    ----------
    look : Look
    bridges : Bridges
    weight : (k,) array
    kept : (m,) int array
        Bridges that count.

    Returns
    -------
    float
        Bits.
    """
    expected = foretold(look, bridges)[kept]
    outcome = _classes(expected, look) if look.is_reading else np.stack([expected, 1.0 - expected], axis=1)
    joint = np.zeros((len(CAUSES), outcome.shape[1]))
    np.add.at(joint, bridges.sample.cause[kept], weight[kept, None] * outcome)
    return mutual_information_bits(joint)


def mutual_information_bits(joint: Float) -> float:
    """Mutual information of the two indices of a table of probabilities.

    Examples
    --------
    >>> mutual_information_bits(np.array([[0.5, 0.0], [0.0, 0.5]]))
    1.0
    >>> mutual_information_bits(np.full((2, 2), 0.25))
    0.0
    """
    joint = joint / joint.sum()
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    there = joint > 0.0
    return float((joint[there] * np.log2(joint[there] / apart[there])).sum())


def _classes(expected: Float, look: Look) -> Float:
    """Probability of each class of the reading for each bridge, its error and strays included."""
    low, high = expected.min() - 3.0 * look.u_mm, expected.max() + 3.0 * look.u_mm
    edges = np.linspace(low, high, CLASSES + 1)
    stray = value("tryin.stray_share").value
    inside = np.diff(ndtr((edges[None] - expected[:, None]) / look.u_mm), axis=1)
    return np.asarray((1.0 - stray) * inside + stray / CLASSES)


def _looks(bridges: Bridges) -> Iterator[Look]:
    """Everything that can be looked at."""
    assembly = bridges.assembly
    u_mm = (value("tryin.opening_reading_um").uncertainty or 0.0) / 1000.0
    counted = [i for i, face in enumerate(assembly.faces) if face.kind in ("margin", "ledge")]
    for tooth in dict.fromkeys(assembly.faces[i].tooth for i in counted):
        yield opening_look(tuple(i for i in counted if assembly.faces[i].tooth == tooth), assembly, u_mm)
    for face in counted:
        yield opening_look((face,), assembly, u_mm)
    for pin in range(len(assembly.names)):
        for kind in ("starts", "rubs", "bottoms"):
            yield mark_look(kind, pin, assembly)
        yield length_look(pin, assembly)
        yield lean_look(pin, assembly)
    yield die_look()
    yield loupe_look()
    pairs = list(combinations(range(len(assembly.names)), 2))
    if pairs:
        far = max(pairs, key=lambda p: float(np.linalg.norm(assembly.mouths[p[0]] - assembly.mouths[p[1]])))
        yield span_look(*far, assembly)
