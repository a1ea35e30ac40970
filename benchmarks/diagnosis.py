"""Diagnose 300 bridges with a known fault; beside it, a vote of the 25 simulated bridges most alike.

Faults, their sizes and all ordinary errors are drawn by chance, as are the things that were looked at; a
bridge counts when some margin was read to stand open by more than the limit. Whether claims are right as
often as they say (*calibrated*) is counted over all causes of all bridges.

``python -m benchmarks.diagnosis 1`` does one diagnosis in a process of its own, for its memory.
"""

from __future__ import annotations

import sys
import time

import numpy as np
from numpy.typing import NDArray

from benchmarks.machine import best_of, peak_mb
from pinseat.case.model import Case
from pinseat.demo.faulty import any_bridges
from pinseat.ledger.copies import reference_row
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import Pin, PinField
from pinseat.ledger.rows import FitLedger
from pinseat.seating.assembly import Assembly, assemble
from pinseat.seating.diagnosis import (
    LEADS,
    diagnose,
    like_this,
    probabilities,
    weights,
)
from pinseat.seating.faults import CAUSES
from pinseat.seating.observations import (
    Bridges,
    Look,
    die_look,
    foretold,
    length_look,
    loupe_look,
    mark_look,
    opening_look,
    span_look,
)

Float = NDArray[np.float64]
Seen = list[tuple[Look, float]]
BRIDGES, EACH, SEED = 300, 1_000, 11
ROUTES = {
    "impression": "addition silicone",
    "die": "silver plated",
    "pattern": "inlay wax",
    "investment": "gypsum bonded",
    "alloy": "gold type 3",
}


def bridge(pins: int = 3) -> tuple[Assembly, Float]:
    """Two abutments 16 mm apart, pins 0.60 mm in holes 0.70 mm, four margin points each; the die's holes."""
    rng, up = np.random.default_rng(5), np.array([0.0, 0.0, 1.0])
    made, faces = [], []
    for tooth, middle in ((11, np.array([-8.0, 0.0, 0.0])), (22, np.array([8.0, 0.0, 0.0]))):
        for k in range(pins):
            turn, lean = 2.0 * np.pi * k / pins + 0.3, np.radians(0.3) * rng.standard_normal(2)
            axis = np.array([*lean, 1.0]) / np.sqrt(1.0 + lean @ lean)
            foot = middle + np.array([2.0 * np.cos(turn), 1.5 * np.sin(turn), 0.1 * k])
            made.append(Pin(tooth, k + 1, foot, axis, 0.65, 3.0, 0.01, 0.005, 0.01))
        for turn in np.pi * np.array([0.25, 0.75, 1.25, 1.75]):
            edge = middle + np.array([3.5 * np.cos(turn), 2.5 * np.sin(turn), -1.0])
            faces.append(Face("margin", tooth, edge, up, "stated"))
    hole = {"pins": pins, "hole_diameter_mm": 0.7, "hole_depth_mm": 2.5, "cast_pin_diameter_mm": 0.6}
    case = Case.model_validate(
        {"number": "b", "missing": [21], "abutments": [{"tooth": t, **hole} for t in (11, 22)]}
    )
    rows = tuple(reference_row(copy, route) for copy, route in ROUTES.items())
    spread = np.diag(np.tile([1e-5, 1e-5, 3e-7, 3e-7], len(made)))
    field = PinField(tuple(made), spread, "scan")
    assembly = assemble(field, faces, up, FitLedger(rows, rows[0].scale), case)
    return assembly, np.full(2 * pins, 0.65)


def looked_at(assembly: Assembly, rng: np.random.Generator) -> list[Look]:
    """What was looked at, by chance: most margins, which pins start, some marks, die, loupe, some lengths."""
    pins, margins = range(len(assembly.names)), range(len(assembly.faces))
    looks = [opening_look((i,), assembly, 0.025) for i in margins if rng.random() < 0.7]
    looks += [mark_look("starts", pin, assembly) for pin in pins]
    for kind in ("rubs", "bottoms"):
        looks += [mark_look(kind, pin, assembly) for pin in pins if rng.random() < 0.5]
    looks += [length_look(pin, assembly) for pin in pins if rng.random() < 0.3]
    looks += [die_look()] * bool(rng.random() < 0.8) + [loupe_look()] * bool(rng.random() < 0.5)
    return looks + [span_look(0, len(pins) - 1, assembly)] * bool(rng.random() < 0.3)


def seen_of(truth: Bridges, which: int, looks: list[Look], rng: np.random.Generator) -> Seen:
    """What is seen of one bridge: readings with their errors and slips, and marks that may be misjudged."""
    seen: Seen = []
    for look in looks:
        expected = float(foretold(look, truth)[which])
        if not look.is_reading:
            seen.append((look, float(rng.random() < expected)))
        elif rng.random() < 0.03:
            seen.append((look, float(rng.uniform(0.0, 3.0))))
        else:
            seen.append((look, expected + look.u_mm * float(rng.standard_normal())))
    return seen


def patients(assembly: Assembly, die: Float, count: int, seed: int) -> list[tuple[int, Seen]]:
    """Bridges that stand open by what was read, with their causes (number in ``CAUSES``)."""
    rng = np.random.default_rng(seed)
    truth = any_bridges(assembly, die, count, seed=seed + 1)
    found: list[tuple[int, Seen]] = []
    for which in rng.permutation(len(truth)):
        seen = seen_of(truth, int(which), looked_at(assembly, rng), rng)
        if max((x for look, x in seen if look.kind == "opening"), default=0.0) > assembly.limit_mm:
            found.append((int(truth.sample.cause[which]), seen))
        if len(found) == count:
            break
    return found


def claims(
    assembly: Assembly, die: Float, cases: list[tuple[int, Seen]], each: int
) -> tuple[Float, NDArray[np.int64]]:
    """Probability of each cause for each bridge, (n, causes), and the true causes."""
    made = []
    for number, (_, seen) in enumerate(cases):
        bridges = like_this(assembly, seen, die, each, seed=1000 + number)
        made.append(probabilities(bridges, weights(bridges, seen)))
    return np.array(made), np.array([cause for cause, _ in cases])


def alike(assembly: Assembly, die: Float, cases: list[tuple[int, Seen]], votes: int = 25) -> Float:
    """The rival: share of each cause among the simulated bridges that look most alike, (n, causes)."""
    pool = any_bridges(assembly, die, 8_000, seed=3)
    made = []
    for _, seen in cases:
        off = np.zeros(len(pool))
        for look, shown in seen:
            scale = look.u_mm if look.is_reading else 0.5
            off += np.minimum(((foretold(look, pool) - shown) / scale) ** 2, 25.0)
        nearest = np.argpartition(off, votes)[:votes]
        made.append(np.bincount(pool.sample.cause[nearest], minlength=len(CAUSES)) / votes)
    return np.array(made)


def right(claim: Float, cause: NDArray[np.int64]) -> tuple[float, float, float]:
    """Share of bridges whose true cause comes first: of all, of those told apart; how many these are."""
    first = claim.argmax(axis=1) == cause
    ranked = np.sort(claim, axis=1)
    apart = ranked[:, -1] >= LEADS * ranked[:, -2]
    return float(first.mean()), float(first[apart].mean()), float(apart.mean())


def borne_out(claim: Float, cause: NDArray[np.int64]) -> list[tuple[float, float, float, int]]:
    """For classes of claims: mean claim, share that was right, its standard error, and how many claims."""
    true = np.arange(claim.shape[1])[None] == cause[:, None]
    made = []
    for low, high in (
        (0.0, 0.05),
        (0.05, 0.2),
        (0.2, 0.4),
        (0.4, 0.6),
        (0.6, 0.8),
        (0.8, 0.95),
        (0.95, 1.01),
    ):
        here = (claim >= low) & (claim < high)
        if here.any():
            share = float(true[here].mean())
            made.append(
                (
                    float(claim[here].mean()),
                    share,
                    float(np.sqrt(share * (1 - share) / here.sum())),
                    int(here.sum()),
                )
            )
    return made


def main() -> None:
    """Print what was right, how often claims were, and the time of one diagnosis."""
    assembly, die = bridge()
    cases = patients(assembly, die, BRIDGES, SEED)
    start = time.perf_counter()
    ours, cause = claims(assembly, die, cases, EACH)
    took = time.perf_counter() - start
    theirs = alike(assembly, die, cases)
    print(f"{len(cases)} bridges that do not seat, {EACH} simulated a cause; {took / len(cases):.1f} s each")
    for name, claim in (("ours", ours), ("25 most alike", theirs)):
        every, told, share = right(claim, cause)
        print(f"{name:>14}: true cause first in {every:.1%}; in {told:.1%} of the {share:.0%} told apart")
    print("claims and how often they were right:", flush=True)
    for mean, share, u, count in borne_out(ours, cause):
        print(f"  {mean:5.1%} claimed, {share:5.1%} +- {u:.1%} right, {count} claims", flush=True)
    for pins in (2, 3, 5):
        made, holes = bridge(pins)
        case = patients(made, holes, 1, SEED)[0][1]
        whole = best_of(lambda a=made, h=holes, s=case: diagnose(a, s, h, wanted=0.9, seed=1))
        print(f"{2 * pins} pins: a diagnosis with next checks and remedies {whole:.2f} s")
    print(f"memory of one diagnosis: {peak_mb('-m', 'benchmarks.diagnosis', '1'):.0f} MB")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        one, die_holes = bridge()
        diagnose(one, patients(one, die_holes, 1, SEED)[0][1], die_holes, wanted=0.9, seed=1)
    else:
        main()
