"""Do the pins stand in their own beds? Pairwise distances and diameters against every other arrangement."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from pinseat.case.model import Case
from pinseat.impression.model import Float, PinPlay
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.pins import PinField

ALL_ORDERS = 7
"""Up to this many pins every order is tried; beyond, those with two or three pins exchanged."""
SURE = 9.0
"""Difference of chi-squared that decides between two arrangements: three standard uncertainties."""
MISFIT = 0.01
"""Readings this improbable do not fit an arrangement."""
ALIKE_MM = 0.015
"""Pins and holes that differ by less than this may be exchanged without harm."""

Order = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Readings:
    """What was read, in numbers.

    Attributes
    ----------
    pairs : (r, 2) int array
        Pins by number, as written on them.
    apart_mm, u_apart_mm : (r,) array
    places : (d,) int array
    wide_mm, u_wide_mm : (d,) array
    """

    pairs: NDArray[np.int64]
    apart_mm: Float
    u_apart_mm: Float
    places: NDArray[np.int64]
    wide_mm: Float
    u_wide_mm: Float

    @property
    def count(self) -> int:
        """Readings altogether."""
        return len(self.apart_mm) + len(self.wide_mm)


def readings_of(case: Case, names: Sequence[str]) -> Readings:
    """The readings of a case by the place of each pin in `names`; those of unknown pins are left out."""
    at = {name: i for i, name in enumerate(names)}
    apart = [r for r in case.impression.distances if all(p.strip() in at for p in r.pins)]
    wide = [r for r in case.impression.diameters if r.pin.strip() in at]
    mean = [math.fsum(r.mm) / len(r.mm) for r in apart]
    u = [r.u_mm / math.sqrt(len(r.mm)) for r in apart]
    return Readings(
        np.array([[at[p.strip()] for p in r.pins] for r in apart], np.int64).reshape(-1, 2),
        np.array(mean),
        np.array(u),
        np.array([at[r.pin.strip()] for r in wide], np.int64),
        np.array([r.mm for r in wide]),
        np.array([r.u_mm for r in wide]),
    )


def orders(n: int) -> Iterator[Order]:
    """Arrangements: bed of each numbered pin; the right one first."""
    right = tuple(range(n))
    if n <= ALL_ORDERS:
        yield from permutations(right)
        return
    yield right
    for size in (2, 3):
        for chosen in combinations(right, size):
            for turned in permutations(chosen):
                if all(a != b for a, b in zip(chosen, turned, strict=True)):
                    moved = list(right)
                    for a, b in zip(chosen, turned, strict=True):
                        moved[a] = b
                    yield tuple(moved)


def misfit(order: Order, read: Readings, feet: Float, pins_mm: Float, u_feet_mm: float) -> float:
    """Chi-squared of the readings when pin *i* stands in bed ``order[i]``."""
    bed = np.array(order)
    first, second = feet[bed[read.pairs[:, 0]]], feet[bed[read.pairs[:, 1]]]
    apart = np.linalg.norm(first - second, axis=1)
    stands = np.argsort(bed)
    off = (read.apart_mm - apart) / np.hypot(read.u_apart_mm, math.sqrt(2.0) * u_feet_mm)
    wide = (read.wide_mm - pins_mm[stands[read.places]]) / np.hypot(read.u_wide_mm, 0.005)
    return float(off @ off + wide @ wide)


def mixup_finding(field: PinField, case: Case, play: Sequence[PinPlay]) -> Finding:
    """Whether any pin stands in another's bed.

    Parameters
    ----------
    field : PinField
    case : Case
    play : sequence of PinPlay

    Returns
    -------
    Finding
        Clear when the pins are all alike, or the readings fit their own beds and no others; stop when they
        fit others far better, or none; cannot tell when they fit several.
    """
    names = [pin.name for pin in field.pins]
    read = readings_of(case, names)
    pins_mm = np.array([one.pin_mm for one in play])
    depth_mm = np.array([one.engaged_mm for one in play])
    feet = np.array([pin.foot for pin in field.pins])
    u_feet = _u_feet(field)
    harmless = bool(np.ptp(pins_mm) < ALIKE_MM and np.ptp(depth_mm) < ALIKE_MM)
    if read.count == 0:
        return _unread(harmless or len(names) < 2, names, pins_mm, depth_mm)
    scored = sorted((misfit(o, read, feet, pins_mm, u_feet), o) for o in orders(len(names)))
    right = tuple(range(len(names)))
    own = misfit(right, read, feet, pins_mm, u_feet)
    rivals = [(x, o) for x, o in scored if o != right and not _same(o, pins_mm, depth_mm)]
    limit = float(chi2.ppf(1.0 - MISFIT, read.count))
    best = scored[0]
    found = _Found(own, limit, best, rivals[0] if rivals else None, names)
    return found.finding(harmless, _better(read, feet, rivals, names))


@dataclass(frozen=True)
class _Found:
    """Misfit of the right arrangement, its limit, the best of all and the best that would do harm."""

    own: float
    limit: float
    best: tuple[float, Order]
    rival: tuple[float, Order] | None
    names: list[str]

    def finding(self, harmless: bool, better: str) -> Finding:
        verdict, says, do = self._judged(harmless, better)
        return Finding(
            code="impression.mixup",
            where="pins and beds",
            says=says,
            verdict=verdict,
            value=self.own,
            unit="chi-squared of the readings",
            limit=self.limit,
            limit_source=f"{100 * (1 - MISFIT):g} % of right arrangements stay below (chi-squared)",
            do=do,
        )

    def _judged(self, harmless: bool, better: str) -> tuple[Verdict, str, str]:
        fits = self.own <= self.limit
        if fits and (self.rival is None or self.rival[0] - self.own > SURE):
            return "clear", "The readings fit every pin in its own bed, and no other arrangement.", ""
        if fits:
            return "cannot tell", "The readings fit more than one arrangement of the pins.", better
        if self.best[0] <= self.limit and self.own - self.best[0] > SURE:
            moved = exchanged(self.best[1], self.names)
            if harmless:
                return (
                    "caution",
                    f"Pins stand in other beds: {moved}. They are alike, so no harm is done.",
                    "",
                )
            return (
                "stop",
                f"Pins stand in other beds: {moved}.",
                "put each pin into its own bed, then read again",
            )
        return (
            "stop",
            "The readings fit no arrangement: a pin leans, a reading slipped, or the bed is torn.",
            "read the distances once more; if they stay, look at each bed under the loupe",
        )


def exchanged(order: Order, names: Sequence[str]) -> str:
    """An arrangement in words: ``11-1 in the bed of 11-2``."""
    return ", ".join(f"{names[i]} in the bed of {names[b]}" for i, b in enumerate(order) if i != b)


def _same(order: Order, pins_mm: Float, depth_mm: Float) -> bool:
    """Whether an arrangement does no harm: each pin as thick as its bed's own, each hole as deep."""
    bed = np.array(order)
    alike = np.abs(pins_mm[bed] - pins_mm) < ALIKE_MM
    return bool(np.all(alike & (np.abs(depth_mm[bed] - depth_mm) < ALIKE_MM)))


def _u_feet(field: PinField) -> float:
    n = len(field.pins)
    across = [field.covariance[4 * i + k, 4 * i + k] for i in range(n) for k in (0, 1)]
    return math.sqrt(float(np.mean(across)) + 0.01**2) if across else 0.01


def _unread(harmless: bool, names: Sequence[str], pins_mm: Float, depth_mm: Float) -> Finding:
    if harmless:
        return Finding(
            code="impression.mixup",
            where="pins and beds",
            says="The pins are alike in diameter and depth: any may stand in any bed.",
            verdict="clear",
        )
    odd = int(np.argmax(np.abs(pins_mm - np.median(pins_mm))))
    alike = np.ptp(pins_mm) < ALIKE_MM
    by_width = f"the diameter of the pin that stands where {names[odd]} belongs, or "
    return Finding(
        code="impression.mixup",
        where="pins and beds",
        says="The pins differ, and nothing was read that tells them apart.",
        verdict="cannot tell",
        do=f"read {'' if alike else by_width}the distances between the pins, by the numbers on them",
    )


def _better(read: Readings, feet: Float, rivals: list[tuple[float, Order]], names: Sequence[str]) -> str:
    """The distance not yet read that differs most between the right arrangement and its nearest rival."""
    if not rivals:
        return ""
    bed = np.array(rivals[0][1])
    taken = {tuple(sorted(pair)) for pair in read.pairs.tolist()}
    left = [pair for pair in combinations(range(len(names)), 2) if pair not in taken]
    if not left:
        return "read the diameter of each pin in its place"

    def gain(pair: tuple[int, int]) -> float:
        a, b = pair
        return abs(float(np.linalg.norm(feet[a] - feet[b]) - np.linalg.norm(feet[bed[a]] - feet[bed[b]])))

    a, b = max(left, key=gain)
    return f"read the distance between {names[a]} and {names[b]} as well"
