"""Seating: thousands of virtual bridges entered and seated, and the verdict."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.errors import SeatingError
from pinseat.ledger.faces import Face
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.ledger.pins import PinField
from pinseat.ledger.rows import FitLedger
from pinseat.numerics.adaptive import until_stable
from pinseat.numerics.sensitivity import total_order
from pinseat.reference import value
from pinseat.seating.assembly import assemble
from pinseat.seating.bridges import (
    NOTHING_MM,
    Bridges,
    chance,
    joined,
    lacking_mm,
    largest_tilt_deg,
    seat_bridges,
)
from pinseat.seating.findings import Checked, findings
from pinseat.seating.levers import levers
from pinseat.seating.model import SeatingResult, Share
from pinseat.seating.problem import Problem, build
from pinseat.seating.verdict import decide, settled

Float = NDArray[np.float64]
QUANTILES = (0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99)
BLOCK, MOST_TRIALS = 20_000, 200_000
"""Virtual bridges in a further block, and at most altogether."""
LEVER_TRIALS, SHARE_TRIALS = 5_000, 1_024
"""Bridges for each single change, and for each group of errors."""
CLASS_UM = 10.0


def run(
    case: Case, upstream: Handover, progress: Progress = quiet, threads: int | None = None
) -> SeatingResult:
    """Seat the bridge of a case.

    Parameters
    ----------
    case : Case
    upstream : Handover
        Needs the pins, faces and draw of survey and the ledger of casting.
    progress : callable
    threads : int, optional
        The answer does not depend on it.

    Returns
    -------
    SeatingResult

    Raises
    ------
    SeatingError
        When an earlier step has not run, or the bridge has nothing to seat on; see :func:`assemble`.
    """
    if upstream.field is None or upstream.draw is None:
        raise SeatingError("the pins have not been surveyed yet", do="run survey first")
    if upstream.fit is None:
        raise SeatingError("the copies have not been added up yet", do="run casting first")
    try:
        return seat(
            upstream.field,
            upstream.faces,
            upstream.draw,
            upstream.fit,
            case,
            blind=upstream.blind,
            progress=progress,
            threads=threads,
        )
    except ArithmeticError as error:
        raise SeatingError(
            "a virtual bridge could not be seated to the last digit, so no verdict is given",
            value=str(error),
            do="look for two pins at one place, or a wild number in the case, and send us the folder",
        ) from error


def seat(
    field: PinField,
    faces: Sequence[Face],
    draw: Float,
    fit: FitLedger,
    case: Case,
    *,
    blind: Sequence[str] = (),
    progress: Progress = quiet,
    threads: int | None = None,
) -> SeatingResult:
    """Will this bridge go home, and what loses the fit?

    Parameters
    ----------
    field : PinField
        Pins as they stand in their holes.
    faces : sequence of Face
        At least one margin or ledge.
    draw : (3,) array
        Off the teeth.
    fit : FitLedger
        What each copy does.
    case : Case
        Its `abutments` give holes and cast pins, its `seat` the limit, the wanted probability and the seed.
    blind : sequence of str
        What the readings cannot see.
    progress : callable
    threads : int, optional
        The answer does not depend on it.

    Returns
    -------
    SeatingResult

    Raises
    ------
    SeatingError
        When the bridge has nothing to seat on; see :func:`pinseat.seating.assembly.assemble`.

    Examples
    --------
    Two parallel pins 16 mm apart, cast 0.2 % too large, in holes 0.10 mm wider:

    >>> import numpy as np
    >>> from pinseat.case.model import Case
    >>> from pinseat.ledger.faces import Face
    >>> from pinseat.ledger.pins import Pin, PinField
    >>> from pinseat.ledger.rows import Entry, FitLedger, Row
    >>> up, none = np.array([0.0, 0.0, 1.0]), Entry(0.0, 1.0, "um", "assumed", "example")
    >>> hole = dict(pins=1, hole_diameter_mm=0.7, hole_depth_mm=2.5, cast_pin_diameter_mm=0.6)
    >>> case = Case(number="1", missing=(21,), abutments=[{"tooth": t, **hole} for t in (11, 22)])
    >>> pins = [Pin(t, 1, np.array([x, 0, 0]), up, 0.6, 3, 0, 0, 0) for t, x in ((11, -8.0), (22, 8.0))]
    >>> corners = [(-9.0, -3.0), (-9.0, 3.0), (9.0, -3.0), (9.0, 3.0)]
    >>> faces = [Face("margin", 11, np.array([x, y, 0]), up, "stated") for x, y in corners]
    >>> scale = Entry(0.2, 0.05, "%", "assumed", "example")
    >>> tilt = Entry(0.0, 0.01, "deg", "assumed", "example")
    >>> fit = FitLedger((Row("alloy", "gold type 3", scale, none, tilt, none),), scale)
    >>> seat(PinField(tuple(pins), np.zeros((8, 8)), "scan"), faces, up, fit, case).verdict
    'goes home'
    """
    assembly = assemble(field, faces, draw, fit, case)
    problem, seed, wanted = build(assembly), case.seat.seed, case.seat.wanted_probability
    progress("seating virtual bridges", 0.0)
    bridges = enough_bridges(
        problem, assembly.limit_mm, wanted, seed=seed, threads=threads, progress=progress
    )
    progress("finding what loses the fit", 0.6)
    shares, kinds = _shares(problem, assembly.limit_mm, seed)
    changed = levers(
        assembly,
        bridges.first(LEVER_TRIALS),
        seed=seed,
        threads=threads,
        progress=lambda doing, done: progress(doing, 0.7 + 0.3 * done),
    )
    home = chance(bridges.home)
    verdict, why = decide(home, chance(bridges.down), wanted=wanted, limit_um=case.seat.limit_um, blind=blind)
    checked = Checked(
        assembly=assembly,
        bridges=bridges,
        verdict=verdict,
        why=why,
        home=home,
        tight=chance(bridges.opening_mm <= value("seat.tight_margin_um").value / 1000.0 + NOTHING_MM),
        entry_failures=chance(bridges.entry_lacking_mm > NOTHING_MM),
        wanted=wanted,
        shares=shares,
        kinds=kinds,
        levers=changed,
        tilt_deg=largest_tilt_deg(assembly, problem, seed=seed),
        blind=tuple(blind),
    )
    progress("seating virtual bridges", 1.0)
    return _result(checked, case)


def _result(checked: Checked, case: Case) -> SeatingResult:
    bridges = checked.bridges
    quantiles = np.array(sorted({*QUANTILES, checked.wanted}))
    edges, count = _histogram(bridges, case.seat.limit_um)
    return SeatingResult(
        verdict=checked.verdict,
        why=checked.why,
        chance=checked.home,
        chance_tight=checked.tight,
        wanted_probability=checked.wanted,
        limit_um=case.seat.limit_um,
        tight_limit_um=value("seat.tight_margin_um").value,
        trials=len(bridges),
        seed=case.seat.seed,
        opening_um=_quantiles_um(bridges.opening_mm, quantiles),
        quantiles=quantiles,
        histogram_um=edges,
        histogram_count=count,
        clearance_lacking_um=_quantiles_um(bridges.lacking_mm, quantiles),
        entry_failures=checked.entry_failures,
        shares=checked.shares,
        levers=checked.levers,
        findings=findings(checked),
    )


def enough_bridges(
    problem: Problem,
    limit_mm: float,
    wanted: float,
    *,
    seed: int,
    threads: int | None = None,
    progress: Progress = quiet,
) -> Bridges:
    """Virtual bridges in blocks until counting more could change nothing.

    First until the clearance lacking is stable to one significant digit of its spread (JCGM 101, 7.9), then
    until the probability is clear of one half and of the wanted one; at most :data:`MOST_TRIALS`.

    Parameters
    ----------
    problem : Problem
    limit_mm, wanted : float
    seed : int
    threads : int, optional
    progress : callable

    Returns
    -------
    Bridges
    """
    blocks: list[Bridges] = []

    def draw(start: int, trials: int) -> Float:
        progress("seating virtual bridges", 0.6 * start / MOST_TRIALS)
        blocks.append(
            seat_bridges(problem, limit_mm=limit_mm, trials=trials, start=start, seed=seed, threads=threads)
        )
        return blocks[-1].lacking_mm

    until_stable(draw, digits=1, most_trials=MOST_TRIALS)
    bridges = joined(blocks)
    while len(bridges) + BLOCK <= MOST_TRIALS and not settled(chance(bridges.home), wanted):
        draw(len(bridges), BLOCK)
        bridges = joined(blocks)
    return bridges


def _shares(problem: Problem, limit_mm: float, seed: int) -> list[tuple[Share, ...]]:
    """Total-order indices of the clearance lacking by copy or reading, and by kind; largest first."""
    labels = problem.labels()

    def by(names: list[str]) -> tuple[Share, ...]:
        groups = {name: [i for i, own in enumerate(names) if own == name] for name in dict.fromkeys(names)}
        found = total_order(
            lambda xi: lacking_mm(problem, xi, limit_mm), groups, trials=SHARE_TRIALS, seed=seed
        )
        return tuple(sorted((Share(*one) for one in found), key=lambda share: -share.total_index))

    return [by([group for group, _ in labels]), by([kind for _, kind in labels])]


def _quantiles_um(sample_mm: Float, quantiles: Float) -> Float:
    """Ranked values, never a mean of two: a bridge that cannot go on has an infinite opening."""
    return 1000.0 * np.quantile(sample_mm, quantiles, method="inverted_cdf")


def _histogram(bridges: Bridges, limit_um: float) -> tuple[Float, NDArray[np.int64]]:
    """Counts in classes of 10 um to at least 1 mm and twice the limit; what opens wider is in none."""
    edges = np.arange(0.0, max(1000.0, 2.0 * limit_um) + CLASS_UM, CLASS_UM)
    opening_um = 1000.0 * bridges.opening_mm
    count, _ = np.histogram(opening_um[np.isfinite(opening_um)], edges)
    return edges, count.astype(np.int64)
