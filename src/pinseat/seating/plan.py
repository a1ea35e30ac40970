"""What to change before the casting exists: every lever, the best pairs, and hold against seating."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinseat.case.model import Case
from pinseat.errors import SeatingError
from pinseat.ledger.cautions import dentine_caution
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.mesh.model import Mesh
from pinseat.seating.assembly import Assembly, assemble
from pinseat.seating.bridges import Bridges, chance, seat_bridges
from pinseat.seating.changes import changes
from pinseat.seating.inside import Inside, inside_finding, rest_inside
from pinseat.seating.levers import SURE, best_of_family, pairs_of, try_changes
from pinseat.seating.model import Chance, Lever
from pinseat.seating.problem import build
from pinseat.seating.tradeoff import Option, options, two_to_choose_from

TRIALS = 5_000
"""Virtual bridges for each change and each option."""
TEND = 3
"""So many pairs are told."""


@dataclass(frozen=True)
class Stage:
    """Pins that reach their mouths together as the bridge comes down.

    Attributes
    ----------
    lift_mm : float
        How high the bridge still is.
    pins : tuple of str
    """

    lift_mm: float
    pins: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class SeatPlan:
    """What can be changed, and what it gains.

    Attributes
    ----------
    now : Chance
        Of going home as the bridge stands.
    wanted : float
    levers : tuple of Lever
        Every single change, largest gain first; those that lose are at the end.
    pairs : tuple of Lever
        The best pairs of changes.
    options : tuple of Option
        Ways to make the pins, by hold.
    choose : tuple of Option
        The one that holds most among those that go home as often as is wanted, and the one that seats best.
    stages : tuple of Stage
        In which order pins enter.
    pivot_mouth, pivot_middle : Chance
        Of going home with tilt errors about the mouth, and about the middle of the pin.
    rigid : Chance or None
        Of going home if nothing yielded; None when nothing is stated to yield.
    inside : Inside or None
        A scanned inside of the pattern or casting at rest; None without such a scan.
    trials : int
    seed : int
    findings : tuple of Finding
    files : tuple of str
        Pages and figures, as names inside the case folder.
    """

    now: Chance
    wanted: float
    levers: tuple[Lever, ...]
    pairs: tuple[Lever, ...]
    options: tuple[Option, ...]
    choose: tuple[Option, ...]
    stages: tuple[Stage, ...]
    pivot_mouth: Chance
    pivot_middle: Chance
    rigid: Chance | None
    inside: Inside | None
    trials: int
    seed: int
    findings: tuple[Finding, ...]
    files: tuple[str, ...] = ()


def assembly_of(case: Case, upstream: Handover) -> Assembly:
    """The bridge of a case, from what earlier steps handed on.

    Raises
    ------
    SeatingError
        When an earlier step has not run; see :func:`assemble`.
    """
    if upstream.field is None or upstream.draw is None or upstream.fit is None:
        raise SeatingError("pins and copies are not known yet", do="run survey and casting first")
    return assemble(upstream.field, upstream.faces, upstream.draw, upstream.fit, case)


def run(
    case: Case,
    upstream: Handover,
    progress: Progress = quiet,
    threads: int | None = None,
    scans: tuple[Mesh, Mesh] | None = None,
) -> SeatPlan:
    """Try every change on the bridge of a case, and let a scanned inside down when there is one.

    Parameters
    ----------
    case : Case
    upstream : Handover
    progress : callable
    threads : int, optional
        The answer does not depend on it.
    scans : (Mesh, Mesh), optional
        Of the teeth and of the inside, in mm and in the same coordinates.

    Returns
    -------
    SeatPlan
    """
    assembly = assembly_of(case, upstream)
    plan = weigh(
        assembly,
        wanted=case.seat.wanted_probability,
        seed=case.seat.seed,
        progress=progress,
        threads=threads,
    )
    if scans is None or case.mechanics.intaglio is None:
        return plan
    progress("letting the inside down", 0.9)
    inside = rest_inside(assembly, *scans, case.mechanics.intaglio.of)
    return replace(plan, inside=inside, findings=(inside_finding(inside, assembly), *plan.findings))


def weigh(
    assembly: Assembly,
    *,
    wanted: float,
    seed: int,
    trials: int = TRIALS,
    progress: Progress = quiet,
    threads: int | None = None,
) -> SeatPlan:
    """Every change singly, the best two by two, and every way to make the pins.

    Parameters
    ----------
    assembly : Assembly
    wanted : float
        Probability of going home that one wants to have.
    seed : int
    trials : int
        Virtual bridges for each change; the same ones for all.
    progress : callable
    threads : int, optional

    Returns
    -------
    SeatPlan
    """

    def seated(one: Assembly) -> Bridges:
        return seat_bridges(
            build(one), limit_mm=one.limit_mm, trials=trials, seed=seed, opening=False, threads=threads
        )

    before, tried = seated(assembly), changes(assembly)
    singles = try_changes(
        tried, before, seed=seed, threads=threads, progress=lambda doing, x: progress(doing, 0.5 * x)
    )
    joined = pairs_of(best_of_family(tried, singles, before))
    pairs = try_changes(joined, before, seed=seed, threads=threads)
    made = options(
        assembly,
        trials=trials,
        seed=seed,
        threads=threads,
        progress=lambda doing, x: progress(doing, 0.6 + 0.4 * x),
    )
    choose = two_to_choose_from(made, wanted)
    levers = _by_gain(singles)
    more = [lever for change, lever in zip(tried, singles, strict=True) if change.family == "more pins"]
    stiff = _stiff(assembly)
    return SeatPlan(
        now=chance(before.home),
        wanted=wanted,
        levers=levers,
        pairs=_by_gain(pairs)[:TEND],
        options=made,
        choose=choose,
        stages=stages(assembly),
        pivot_mouth=chance(seated(_about(assembly, "mouth")).home),
        pivot_middle=chance(seated(_about(assembly, "mid-pin")).home),
        rigid=None if stiff is None else chance(seated(stiff).home),
        inside=None,
        trials=trials,
        seed=seed,
        findings=tuple(_findings(chance(before.home), wanted, levers, more, choose)),
    )


def _stiff(assembly: Assembly) -> Assembly | None:
    """The same with nothing that yields; None when nothing does."""
    if assembly.give is None:
        return None
    return replace(assembly, give=replace(assembly.give, mobility_mm=(), beam=None))


def _about(assembly: Assembly, pivot: str) -> Assembly:
    return replace(assembly, tilt_pivot=pivot, pivot_below_mm=None)


def _by_gain(found: Sequence[Lever]) -> tuple[Lever, ...]:
    return tuple(sorted(found, key=lambda lever: (-lever.gain, -lever.gain_lacking_um, lever.change)))


def stages(assembly: Assembly) -> tuple[Stage, ...]:
    """In which order pins reach their mouths, the longest first; those within 0.02 mm together.

    Parameters
    ----------
    assembly : Assembly

    Returns
    -------
    tuple of Stage
    """
    reach = (assembly.length_mm - assembly.bevel_mm) / (assembly.axes @ assembly.draw)
    found: list[Stage] = []
    for i in np.argsort(-reach, kind="stable"):
        if not assembly.present[i]:
            continue
        name, lift = assembly.names[i], float(reach[i])
        if found and found[-1].lift_mm - lift <= 0.02:
            found[-1] = replace(found[-1], pins=(*found[-1].pins, name))
        else:
            found.append(Stage(lift, (name,)))
    return tuple(found)


def _findings(
    now: Chance, wanted: float, levers: Sequence[Lever], more: Sequence[Lever], choose: Sequence[Option]
) -> Iterator[Finding]:
    best = levers[0] if levers and levers[0].gain > SURE * levers[0].u_gain else None
    if now.probability < wanted:
        yield Finding(
            "seat.lever",
            "",
            "What the best single change gains." if best else "No single change helps.",
            "caution" if best else "stop",
            100.0 * best.gain if best else None,
            100.0 * best.u_gain if best else None,
            "%",
            100.0 * (wanted - now.probability),
            "what is lacking to the probability wanted",
            best.in_full if best else "look at the holes again before the next copy is made",
        )
    for lever in more:
        if lever.gain < -SURE * lever.u_gain or lever.gain_lacking_um < -SURE * lever.u_gain_lacking_um:
            yield Finding(
                "seat.more_pins",
                "",
                "More pins would make it worse: each one is one more that must find its hole.",
                "caution",
                100.0 * lever.gain,
                100.0 * lever.u_gain,
                "%",
                0.0,
                "by definition: a gain is above nothing",
                f"leave the number of pins as it is, or fewer; {dentine_caution()}",
            )
    if choose and choose[0].chance.probability < wanted:
        yield _no_option(choose[0], wanted)


def _no_option(best: Option, wanted: float) -> Finding:
    return Finding(
        "seat.options",
        "pins",
        "No way to make the pins goes home as often as is wanted; this is the best of them.",
        "caution",
        100.0 * best.chance.probability,
        100.0 * best.chance.standard_error,
        "%",
        100.0 * wanted,
        "probability wanted, stated in the case",
        "look at what loses the fit first; thinner pins alone are not enough",
    )
