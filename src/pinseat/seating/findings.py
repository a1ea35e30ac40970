"""What was checked about the seat, each with its number, its limit and what to do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.findings import Finding, SeatVerdict, Verdict
from pinseat.reference import value
from pinseat.seating.assembly import Assembly
from pinseat.seating.bridges import Bridges, mean_lacking_mm
from pinseat.seating.changes import mould_words
from pinseat.seating.model import Chance, Lever, Share
from pinseat.seating.problem import build, net_factor, nil_expansion_percent
from pinseat.seating.verdict import EVEN, above, below

Float = NDArray[np.float64]
SMALL_TILT_DEG = 1.0
"""Above this a pin's tilt in its hole is no longer small for the contact programme."""
LEANING = 0.5
"""A lean that uses up more than this part of the radial clearance is named as a cause."""
BIAS_UM = 5.0
"""A net scale that uses up less clearance than this is not reported."""
NEGLIGIBLE_UM = 1.0
"""A clearance wrong by less than this is lost among the errors of any copy."""

FIRST: dict[SeatVerdict, tuple[Verdict, str]] = {
    "goes home": ("clear", "The bridge goes home as often as is wanted"),
    "will bind": ("stop", "The bridge binds more often than not"),
    "cannot tell": ("cannot tell", "Whether the bridge goes home cannot be told"),
}


@dataclass(frozen=True, eq=False)
class Checked:
    """What the findings are made from.

    Attributes
    ----------
    assembly : Assembly
    bridges : Bridges
    verdict : {"goes home", "will bind", "cannot tell"}
    why : str
    home, tight, entry_failures : Chance
    wanted : float
    shares, kinds : tuple of Share
        Total-order indices by copy and by kind of error.
    levers : tuple of Lever
    tilt_deg : float
        Largest tilt of a pin in its hole that 95 of 100 bridges keep within; NaN when none comes down.
    blind : tuple of str
    """

    assembly: Assembly
    bridges: Bridges
    verdict: SeatVerdict
    why: str
    home: Chance
    tight: Chance
    entry_failures: Chance
    wanted: float
    shares: tuple[Share, ...]
    kinds: tuple[Share, ...]
    levers: tuple[Lever, ...]
    tilt_deg: float
    blind: tuple[str, ...]

    @property
    def remedy(self) -> str:
        """The change that gains most, or where to look when there is none."""
        if self.levers:
            return self.levers[0].in_full
        return "no single change helps enough: look at the holes again before the next copy is made"


def findings(checked: Checked) -> tuple[Finding, ...]:
    """All findings of the step, the verdict's own first.

    Parameters
    ----------
    checked : Checked

    Returns
    -------
    tuple of Finding
    """
    made = (_chance(checked), _opening(checked), _tight(checked), _entry(checked), _lacking(checked))
    return (*made, *_bias(checked), *_losing(checked), *_tilt(checked))


def _chance(checked: Checked) -> Finding:
    verdict, says = FIRST[checked.verdict]
    do = "" if verdict == "clear" else checked.remedy
    if verdict == "cannot tell":
        says += f": {checked.why}"
        do = f"take readings that show {'; '.join(checked.blind)}" if checked.blind else do
    return Finding(
        "seating.chance",
        "",
        f"{says}.",
        verdict,
        100.0 * checked.home.probability,
        100.0 * checked.home.standard_error,
        "%",
        100.0 * checked.wanted,
        "probability wanted, stated in the case",
        do,
    )


def _opening(checked: Checked) -> Finding:
    share, u = quantile_with_u(checked.bridges.opening_mm, checked.wanted)
    limit = 1000.0 * checked.assembly.limit_mm
    known = value("seat.margin_um")
    source = known.cited if limit == known.value else "stated in the case"
    fits = share <= checked.assembly.limit_mm
    shut = not math.isfinite(share)
    many = f"{100.0 * checked.wanted:g} of 100"
    return Finding(
        "seating.opening",
        "margins",
        f"Fewer than {many} bridges come down at all."
        if shut
        else f"The widest margin of {many} bridges stands open by this or less.",
        "clear" if fits else "stop" if checked.verdict == "will bind" else "caution",
        None if shut else 1000.0 * share,
        None if shut or not math.isfinite(u) else 1000.0 * u,
        "um",
        limit,
        source,
        "" if fits else checked.remedy,
    )


def _tight(checked: Checked) -> Finding:
    aim = value("seat.tight_margin_um")
    good = above(checked.tight, checked.wanted)
    return Finding(
        "seating.tight",
        "margins",
        f"Share of the bridges whose margins stand open by {aim.value:g} um or less.",
        "clear" if good else "caution",
        100.0 * checked.tight.probability,
        100.0 * checked.tight.standard_error,
        "%",
        100.0 * checked.wanted,
        f"probability wanted, stated in the case; {aim.value:g} um is a stricter aim ({aim.basis})",
        f"to come nearer to it, begin with the {checked.shares[0].group}" if not good else "",
    )


def _entry(checked: Checked) -> Finding:
    failures, allowed = checked.entry_failures, 1.0 - checked.wanted
    verdict: Verdict = "stop" if above(failures, EVEN) else "clear" if below(failures, allowed) else "caution"
    assembly, do = checked.assembly, checked.remedy
    across_mm = assembly.length_mm * np.tan(np.radians(assembly.lean_deg))
    worst = int(np.argmax(across_mm))
    if across_mm[worst] > LEANING * (assembly.hole_mm - assembly.pin_mm)[worst] / 2.0:
        lean = assembly.lean_deg[worst]
        do = f"look at pin {assembly.names[worst]} first: its hole leans most from the draw, {lean:.1f} deg"
    return Finding(
        "seating.entry",
        "pins",
        "Share of the bridges whose pins cannot all enter their holes.",
        verdict,
        100.0 * failures.probability,
        100.0 * failures.standard_error,
        "%",
        100.0 - 100.0 * checked.wanted,
        "one less the probability wanted, stated in the case",
        "" if verdict == "clear" else do,
    )


def _lacking(checked: Checked) -> Finding:
    worst, u = quantile_with_u(checked.bridges.lacking_mm, checked.wanted)
    fits = worst <= 0.0
    return Finding(
        "seating.lacking",
        "pins and margins",
        f"{100.0 * checked.wanted:g} of 100 bridges lack no more clearance than this to enter and come "
        "within the limit; a minus sign is room to spare.",
        "clear" if fits else "stop" if checked.verdict == "will bind" else "caution",
        1000.0 * worst,
        1000.0 * u if math.isfinite(u) else None,
        "um",
        0.0,
        "by definition: nothing may be lacking",
        "" if fits else checked.remedy,
    )


def _bias(checked: Checked) -> Sequence[Finding]:
    """What the mean of the net scale alone does: a bias that no share of the spread shows."""
    assembly = checked.assembly
    nil = tuple(replace(row, scale=replace(row.scale, mean=0.0)) for row in assembly.rows)
    with_it, without = (
        mean_lacking_mm(build(one), assembly.limit_mm) for one in (assembly, replace(assembly, rows=nil))
    )
    used_um = 1000.0 * (with_it - without)
    if used_um < BIAS_UM:
        return ()
    net = 100.0 * (net_factor(assembly.rows) - 1.0)
    mould = [row.scale.mean for row in assembly.rows if row.copy == "investment"]
    return (
        Finding(
            "seating.bias",
            "net scale",
            f"On average the casting comes out {abs(net):.2f} % too {'large' if net > 0.0 else 'small'}; "
            "that alone uses up this much of the clearance at the side.",
            "stop" if with_it > 0.0 else "caution",
            used_um,
            None,
            "um",
            500.0 * float((assembly.hole_mm - assembly.pin_mm).min()),
            "hole less cast pin from the case, one side, tightest pin",
            mould_words(mould[0], nil_expansion_percent(assembly.rows)) if mould else checked.remedy,
        ),
    )


def _losing(checked: Checked) -> Sequence[Finding]:
    if not checked.shares or checked.shares[0].total_index <= 0.0:
        return ()
    first, kind = checked.shares[0], checked.kinds[0]
    words = {
        "scale": "the net scale",
        "position": "where the pins stand",
        "tilt": "the direction of the pins",
        "depth": "how deep the pins stand",
        "surface": "the fit at margins and ledges",
        "diameter": "the diameters of holes and pins",
        "survey": "the surveyed axes of the holes",
    }[kind.group]
    return (
        Finding(
            "seating.losing",
            first.group,
            "Of all copies and readings this one spreads the fit most (share of the spread); "
            f"by kind it is {words}.",
            "clear" if checked.verdict == "goes home" else "caution",
            100.0 * first.total_index,
            100.0 * first.standard_error,
            "%",
        ),
    )


def _tilt(checked: Checked) -> Sequence[Finding]:
    if not checked.tilt_deg > SMALL_TILT_DEG:
        return ()
    thick = float(checked.assembly.pin_mm.max())
    off_um = 500.0 * thick * (1.0 / math.cos(math.radians(checked.tilt_deg)) - 1.0)
    matters = off_um > NEGLIGIBLE_UM
    return (
        Finding(
            "seating.tilt",
            "pins",
            "Pins tilt in their holes by more than is reckoned with exactly; "
            f"it makes the clearance at the side wrong by up to {off_um:.2g} um.",
            "caution" if matters else "clear",
            checked.tilt_deg,
            None,
            "deg",
            SMALL_TILT_DEG,
            "derived: a pin leaning by t is d / cos t wide across its hole",
            "bring the tilt of the pins down before trusting the last micrometres" if matters else "",
        ),
    )


def quantile_with_u(sample: Float, share: float) -> tuple[float, float]:
    """A quantile and its standard error from order statistics (JCGM 101, 7.7; binomial ranks).

    Parameters
    ----------
    sample : (k,) array
        May hold infinities.
    share : float
        From 0 to 1.

    Returns
    -------
    quantile, standard_error : float
        Same unit; the error is infinite where the ranks reach infinite values.

    Examples
    --------
    >>> quantile_with_u(np.arange(1.0, 101.0), 0.5)
    (50.0, 5.0)
    """
    ranked = np.sort(sample)
    k = len(ranked)
    spread = math.sqrt(k * share * (1.0 - share))
    ranks = [min(max(math.ceil(k * share + step), 1), k) - 1 for step in (-spread, 0.0, spread)]
    low, middle, high = (float(ranked[rank]) for rank in ranks)
    return middle, (high - low) / 2.0 if math.isfinite(high) else math.inf
