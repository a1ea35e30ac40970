"""Why a bridge does not seat: causes by probability, the next check, and the cheapest safe remedy."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment, Case
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Progress, quiet
from pinseat.seating.assembly import Assembly
from pinseat.seating.faults import CAUSES, NOWHERE, WORDS, Cause, Cells, Faults, all_cells, spoiled
from pinseat.seating.nextcheck import Check, next_checks
from pinseat.seating.observations import Bridges, Look, foretold, likelihood, looks_of
from pinseat.seating.remedies import Remedy, first_choice, remedies
from pinseat.seating.tried import hold_up, on_die, on_teeth

Float = NDArray[np.float64]
Int = NDArray[np.int64]
EACH = 6_000
"""Simulated bridges of each cause, on average."""
STAGES = (0.3, 0.3, 0.4)
"""Parts of the bridges that are drawn one after the other, each part from what those before it showed."""
MISSED, SAY = 0.15, 200.0
"""Part of the later bridges that are drawn whatever was seen; how many have a say in where to draw them."""
FEW = 60.0
"""So many simulated bridges, in effect, have to look like what was seen."""
LEADS = 4.0
"""The first cause is told apart when it is this many times as probable as the second."""
LEAST_CLEARANCE_MM = 0.01
"""A die hole tighter than this round the cast pin was not made by the impression pin that is stated."""


@dataclass(frozen=True)
class Ranked:
    """One cause.

    Attributes
    ----------
    cause : Cause
    words : str
    probability, u_probability : float
        Given what was seen; and its standard error from the number of simulated bridges.
    where : str
        Likeliest pin or margin, ``pin 11-2``; empty for a cause without a place.
    where_probability : float
        That it is there, if it is this cause.
    size, u_size : float
        Mean and standard deviation of the size, if it is this cause and there.
    unit : str
    """

    cause: Cause
    words: str
    probability: float
    u_probability: float
    where: str
    where_probability: float
    size: float
    u_size: float
    unit: str


@dataclass(frozen=True)
class Diagnosis:
    """What a try-in says.

    Attributes
    ----------
    seen : int
        How many things were seen or measured.
    causes : tuple of Ranked
        Most probable first.
    told_apart : bool
        Whether the first is at least four times as probable as the second.
    effective_bridges : float
        Simulated bridges that look like what was seen: square of the sum of weights over the sum of squares.
    home : float
        Probability that a bridge that looks like this is within the limit as it stands.
    checks : tuple of Check
        What to look at next, most telling first.
    remedies : tuple of Remedy
        Cheapest first.
    first : Remedy or None
        The cheapest safe one that is nearly as good as the best; None when the bridge is home.
    findings : tuple of Finding
    files : tuple of str
        Pages, as names inside the case folder.
    """

    seen: int
    causes: tuple[Ranked, ...]
    told_apart: bool
    effective_bridges: float
    home: float
    checks: tuple[Check, ...]
    remedies: tuple[Remedy, ...]
    first: Remedy | None
    findings: tuple[Finding, ...]
    files: tuple[str, ...] = ()


def simulated(
    assembly: Assembly, die_hole_mm: Float, faults: Faults, share: Float, rng: np.random.Generator
) -> Bridges:
    """Bridges with stated faults, tried on teeth and die.

    A bridge that would not go home without its fault either counts as held by ordinary errors: what is taken
    for the cause is what has to be changed.
    """
    sample, n = spoiled(assembly, faults, rng), len(assembly.names)
    plain = hold_up(assembly, sample.plain, sample.radius[:, :n], sample.survey)
    sample = sample.held_by_ordinary(~plain.home)
    teeth, die = on_teeth(assembly, sample), on_die(assembly, sample, die_hole_mm)
    return Bridges(assembly, sample, teeth, die, share)


def like_this(
    assembly: Assembly, seen: Sequence[tuple[Look, float]], die_hole_mm: Float, each: int, *, seed: int
) -> Bridges:
    """Bridges of every cause, most of them with faults that could look like this.

    A part is drawn evenly and shows which faults come into question; the others are drawn mostly from these,
    the last from what all before them showed. Each counts by its probability beforehand over the density with
    which bridges like it were drawn (importance sampling with the balance heuristic; Veach and Guibas,
    SIGGRAPH 95, 419; in stages: Cappe and others, J. Comput. Graph. Stat. 13, 2004, 907).

    Parameters
    ----------
    assembly : Assembly
    seen : sequence of (Look, float)
    die_hole_mm : (n,) array
    each : int
        Bridges a cause, on average.
    seed : int

    Returns
    -------
    Bridges
    """
    rng, cells = np.random.Generator(np.random.Philox(seed)), all_cells(assembly)
    often = cells.prior / len(CAUSES)
    drawn, cell = np.zeros(len(cells)), np.zeros(0, np.int64)
    made: Bridges | None = None
    for part in STAGES:
        count = int(part * each) * len(CAUSES)
        new = rng.choice(len(cells), count, p=often)
        drawn += count * often
        cell = np.concatenate([cell, new])
        one = simulated(assembly, die_hole_mm, cells.draw(new, rng), np.ones(count), rng)
        made = one if made is None else made.and_(one)
        made = replace(made, share=(cells.prior / len(CAUSES) / drawn)[cell])
        often = _in_question(cells, cell, tempered(log_weights(made, seen), SAY))
    assert made is not None
    return made


def tempered(total: Float, say: float) -> Float:
    """Weights raised to a power of at most 1, so that in effect `say` bridges decide, together 1."""
    power, low, high = 1.0, 0.0, 1.0
    for _ in range(30):
        weight = np.exp(power * (total - total.max()))
        weight = weight / weight.sum()
        enough = 1.0 / (weight**2).sum() >= say
        if enough and power == 1.0:
            break
        low, high = (power, high) if enough else (low, power)
        power = (low + high) / 2.0
    return np.asarray(weight)


def _in_question(cells: Cells, cell: Int, weight: Float) -> Float:
    """How often to draw each cell: where bridges look like this, with room for what was missed, (c,)."""
    seen = np.bincount(cell, weight, minlength=len(cells))
    near = seen.copy()
    beside = (np.diff(cells.cause) == 0) & (np.diff(cells.place) == 0) & (np.diff(cells.early) == 0)
    near[1:][beside] += 0.5 * seen[:-1][beside]
    near[:-1][beside] += 0.5 * seen[1:][beside]
    often = (1.0 - MISSED) * near / near.sum() + MISSED * cells.prior / len(CAUSES)
    return np.asarray(often / often.sum())


def weights(bridges: Bridges, seen: Sequence[tuple[Look, float]]) -> Float:
    """How much each simulated bridge counts: the probability of what was seen of it, together 1.

    Every fault is taken as equally probable beforehand, and none as probable as each. Where fewer than
    :data:`FEW` bridges would decide, what was seen is trusted less, until so many do: rather too shy than too
    bold.

    Parameters
    ----------
    bridges : Bridges
    seen : sequence of (Look, float)

    Returns
    -------
    (k,) array
    """
    return tempered(log_weights(bridges, seen), FEW)


def log_weights(bridges: Bridges, seen: Sequence[tuple[Look, float]]) -> Float:
    """Logarithm of the weights, up to a constant."""
    total = np.log(bridges.share)
    for look, shown in seen:
        total = total + likelihood(look, shown, foretold(look, bridges))
    return np.asarray(total)


def probabilities(bridges: Bridges, weight: Float) -> Float:
    """Probability of each cause, in the order of :data:`CAUSES`."""
    return np.asarray(np.bincount(bridges.sample.cause, weight, minlength=len(CAUSES)), dtype=np.float64)


def diagnose(
    assembly: Assembly,
    seen: Sequence[tuple[Look, float]],
    die_hole_mm: Float,
    *,
    wanted: float,
    seed: int,
    each: int = EACH,
    progress: Progress = quiet,
) -> Diagnosis:
    """Causes, next check and remedy from what was seen.

    Parameters
    ----------
    assembly : Assembly
    seen : sequence of (Look, float)
        From :func:`pinseat.seating.observations.looks_of`.
    die_hole_mm : (n,) array
    wanted : float
        Probability of going home that one wants to have.
    seed : int
    each : int
        Simulated bridges a cause.
    progress : callable

    Returns
    -------
    Diagnosis
    """
    progress("simulating faults", 0.0)
    bridges = like_this(assembly, seen, die_hole_mm, each, seed=seed)
    progress("weighing what was seen", 0.5)
    weight = weights(bridges, seen)
    causes = ranked(bridges, weight)
    home = float(weight @ bridges.teeth.home)
    progress("looking for the next check", 0.6)
    checks = next_checks(bridges, weight, [look for look, _ in seen])
    progress("trying remedies", 0.8)
    tried = remedies(bridges, weight, seed=seed)
    first = None if home >= wanted else first_choice(tried)
    progress("trying remedies", 1.0)
    effective = float(1.0 / (weight**2).sum())
    apart = causes[0].probability >= LEADS * causes[1].probability
    made = Diagnosis(len(seen), causes, apart, effective, home, checks, tried, first, ())
    rubs = dict(zip(assembly.names, weight @ bridges.teeth.rubs, strict=True))
    return replace(made, findings=tuple(_findings(made, rubs, wanted)))


def ranked(bridges: Bridges, weight: Float) -> tuple[Ranked, ...]:
    """The causes, most probable first, each with its likeliest place and size."""
    made = []
    for number, (cause, p) in enumerate(zip(CAUSES, probabilities(bridges, weight).tolist(), strict=True)):
        own = np.flatnonzero(bridges.sample.cause == number)
        share = weight[own]
        u = math.sqrt(float((weight**2 * ((bridges.sample.cause == number) - p) ** 2).sum()))
        where, here, size, spread = "", 1.0, 0.0, 0.0
        if cause != "ordinary" and p > 0.0:
            place = bridges.sample.place[own]
            if place[0] != NOWHERE:
                sums = np.bincount(place, share)
                best = int(np.argmax(sums))
                where, here = _where(best, bridges.assembly), float(sums[best] / sums.sum())
                own, share = own[place == best], share[place == best]
            sizes = np.abs(bridges.sample.size[own]) if cause != "span" else bridges.sample.size[own]
            if cause == "span":  # the side that is likelier; the mean of both would be nowhere
                up = float(share[sizes > 0.0].sum()) >= float(share[sizes <= 0.0].sum())
                share, sizes = share[(sizes > 0.0) == up], sizes[(sizes > 0.0) == up]
            size = float(share @ sizes / share.sum())
            spread = math.sqrt(max(float(share @ (sizes - size) ** 2 / share.sum()), 0.0))
        unit = {"span": "%", "splay": "deg", "ordinary": ""}.get(cause, "um")
        made.append(Ranked(cause, WORDS[cause], p, u, where, here, size, spread, unit))
    return tuple(sorted(made, key=lambda one: -one.probability))


def _where(place: int, assembly: Assembly) -> str:
    n = len(assembly.names)
    if place < n:
        return f"pin {assembly.names[place]}"
    face = assembly.faces[place - n]
    x, y, z = face.point
    return f"{face.kind} of {face.tooth} at x {x:.1f}, y {y:.1f}, z {z:.1f} mm"


def _findings(made: Diagnosis, rubs: dict[str, float], wanted: float) -> Iterator[Finding]:
    """Whether it is within the limit, why not, and never by force where a pin surely rubs."""
    look = made.checks[0].words if made.checks else ""
    yield _home_finding(
        made.home, made.effective_bridges, wanted, look or (made.first.in_full if made.first else "")
    )
    yield _cause_finding(made.causes[0], made.causes[1], made.told_apart, look)
    if made.effective_bridges < 1.01 * FEW:
        yield _unlike_finding(made.effective_bridges)
    pin = max(rubs, key=rubs.__getitem__)
    if rubs[pin] > 0.5 or made.home < wanted:
        yield _force_finding(pin, float(rubs[pin]))


def _home_finding(home: float, effective: float, wanted: float, do: str) -> Finding:
    return Finding(
        "diagnosis.home",
        "",
        "Probability that a bridge that looks like this is within the limit as it stands.",
        "clear" if home >= wanted else "stop" if home < 1.0 - wanted else "cannot tell",
        100.0 * home,
        100.0 * math.sqrt(home * (1.0 - home) / effective),
        "%",
        100.0 * wanted,
        "probability wanted, stated in the case",
        "" if home >= wanted else do,
    )


def _cause_finding(top: Ranked, second: Ranked, apart: bool, do: str) -> Finding:
    return Finding(
        "diagnosis.cause",
        top.where,
        f"Most probable cause: {top.words}."
        if apart
        else f"What was seen does not tell {top.words} from {second.words}.",
        "caution" if apart else "cannot tell",
        100.0 * top.probability,
        100.0 * top.u_probability,
        "%",
        do=do,
    )


def _unlike_finding(effective: float) -> Finding:
    return Finding(
        "diagnosis.unlike",
        "",
        "Few simulated bridges look like this one: one reading slipped, or two things went wrong.",
        "caution",
        effective,
        None,
        "bridges",
        FEW,
        "assumed by this project",
        "take the readings again before anything is ground",
    )


def _force_finding(pin: str, share: float) -> Finding:
    return Finding(
        "diagnosis.force",
        f"pin {pin}",
        "Never press, tap or bite a bridge home: a pin that binds is a wedge and splits the tooth.",
        "caution",
        100.0 * share,
        unit="%",
        do="lift it off, and go on only after the next check",
    )


def run(case: Case, assembly: Assembly, progress: Progress = quiet) -> Diagnosis:
    """Diagnose the try-in of a case.

    Parameters
    ----------
    case : Case
        Its `tryin` says what was seen.
    assembly : Assembly
        From :func:`pinseat.seating.assembly.assemble`.
    progress : callable

    Returns
    -------
    Diagnosis

    Raises
    ------
    SeatingError
        When nothing was seen yet, or a pin or margin is named that the bridge does not have.
    """
    seen = looks_of(case.tryin, assembly)
    return diagnose(
        assembly,
        seen,
        die_holes(assembly, case.abutments),
        wanted=case.seat.wanted_probability,
        seed=case.seat.seed,
        progress=progress,
    )


def die_holes(assembly: Assembly, abutments: Sequence[Abutment]) -> Float:
    """Diameter of the die's holes: of the impression pins, or of the teeth's holes where none is stated."""
    by_tooth = {a.tooth: a for a in abutments}
    found = assembly.hole_mm.copy()
    for i, tooth in enumerate(assembly.teeth):
        stated = by_tooth[tooth].impression_pin_diameter_mm
        if stated is not None and stated >= assembly.pin_mm[i] + LEAST_CLEARANCE_MM:
            found[i] = stated
    return found
