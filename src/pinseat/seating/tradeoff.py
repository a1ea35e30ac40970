"""Hold against seating: pins that hold more seat less easily, option by option."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinseat.ledger.handover import Progress, quiet
from pinseat.reference import value, values
from pinseat.seating.assembly import Assembly
from pinseat.seating.bridges import Bridges, chance, seat_bridges
from pinseat.seating.model import Chance
from pinseat.seating.places import with_pins
from pinseat.seating.problem import build

LEAST_CLEARANCE_MM = 0.025
"""Thicker pins than this leaves are not offered: no cement would get past them."""
SHORTER_MM = 0.5


@dataclass(frozen=True)
class Option:
    """One way to make the pins.

    Attributes
    ----------
    words : str
        ``5 pins, 0.60 mm, 2.4 mm long``.
    planned : bool
        Whether it is the bridge as it stands.
    pins : int
    area_mm2 : float
        Cemented area, pi d L of all pins.
    hold_N, u_hold_N : float
        Area times shear strength of the cement; one standard uncertainty.
    chance : Chance
        Of going home.
    front : bool
        No other option both holds more and goes home more often.
    new_holes : bool
        Whether teeth would have to be cut for it.
    """

    words: str
    planned: bool
    pins: int
    area_mm2: float
    hold_N: float
    u_hold_N: float
    chance: Chance
    front: bool
    new_holes: bool


def cemented_area_mm2(assembly: Assembly) -> float:
    """Cemented area of all pins, ``pi d L``, with the mean diameter of a tapered one.

    Parameters
    ----------
    assembly : Assembly

    Returns
    -------
    float
    """
    thick = assembly.pin_mm - assembly.taper_mm / 2.0
    return math.pi * float((thick * assembly.length_mm)[assembly.present].sum())


def hold_N(area_mm2: float) -> tuple[float, float]:
    """Pull that cemented pins withstand, ``strength x area``, with its standard uncertainty.

    Parameters
    ----------
    area_mm2 : float

    Returns
    -------
    hold, u : float
        N.

    Examples
    --------
    Three pins, 0.6 mm thick and 2 mm deep:

    >>> round(hold_N(3 * math.pi * 0.6 * 2.0)[0], 1)
    56.5
    """
    strength = value("cement.pin_shear_MPa")
    return area_mm2 * strength.value, area_mm2 * (strength.uncertainty or 0.0)


def options(
    assembly: Assembly,
    *,
    trials: int,
    seed: int,
    threads: int | None = None,
    progress: Progress = quiet,
) -> tuple[Option, ...]:
    """Every option, seated with the same random bridges.

    Parameters
    ----------
    assembly : Assembly
        The bridge as it stands; it is among the options.
    trials : int
        Virtual bridges for each.
    seed : int
    threads : int, optional
    progress : callable

    Returns
    -------
    tuple of Option
        By hold, least first.
    """
    made: dict[str, tuple[Assembly, bool, Bridges]] = {}
    tried = list(_variants(assembly, seed, threads))
    for i, one in enumerate(tried):
        progress("weighing hold against seating", i / len(tried))
        if _words(one) not in made:
            made[_words(one)] = one, i == 0, _seated(one, trials, seed, threads)
    plain = [
        (words, planned, one, cemented_area_mm2(one), chance(bridges.home))
        for words, (one, planned, bridges) in made.items()
    ]
    found = [
        Option(
            words=words,
            planned=planned,
            pins=int(one.present.sum()),
            area_mm2=area,
            hold_N=hold_N(area)[0],
            u_hold_N=hold_N(area)[1],
            chance=seats,
            front=_front(area, seats, plain),
            new_holes=one.spare > 0,
        )
        for words, planned, one, area, seats in plain
    ]
    return tuple(sorted(found, key=lambda option: (option.area_mm2, option.words)))


def _front(area: float, seats: Chance, plain: Sequence[tuple[str, bool, Assembly, float, Chance]]) -> bool:
    here = (area, seats.probability)
    return not any(
        a >= area - 1e-9 and p.probability >= seats.probability and (a, p.probability) != here
        for _, _, _, a, p in plain
    )


def two_to_choose_from(found: Sequence[Option], wanted: float) -> tuple[Option, ...]:
    """The option that holds most among those that go home as often as is wanted, and the one that seats best;
    no teeth are cut again for either.

    Parameters
    ----------
    found : sequence of Option
    wanted : float
        Probability of going home.

    Returns
    -------
    tuple of Option
        One when they are the same; the first is left out when none goes home as often as is wanted.
    """
    made = [option for option in found if not option.new_holes]
    sure = [option for option in made if option.chance.probability >= wanted]
    easiest = max(made, key=lambda option: (option.chance.probability, option.area_mm2))
    if not sure:
        return (easiest,)
    firm = max(sure, key=lambda option: (option.area_mm2, option.chance.probability))
    return (firm,) if firm == easiest else (firm, easiest)


def _variants(assembly: Assembly, seed: int, threads: int | None) -> Iterator[Assembly]:
    """As it stands; then pin sets by diameters by lengths."""
    yield assembly
    counted = [assembly, *_fewer(assembly, seed, threads), with_pins(assembly)]
    room = (assembly.hole_mm - assembly.pin_mm)[assembly.present]
    widest = value("seat.largest_clearance_um").value / 1000.0
    steps = [0.0, -0.10, -0.05, 0.05, *_stock_steps(assembly)]
    thicker = [
        step
        for step in dict.fromkeys(steps)
        if room.min() - step >= LEAST_CLEARANCE_MM - 1e-9 and room.max() - step <= widest + 1e-9
    ]
    shortest = value("seat.shortest_pin_mm").value - 1e-9
    lengths = [0.0] + [SHORTER_MM] * (float(assembly.length_mm.min()) - SHORTER_MM >= shortest)
    for one in counted:
        for step in thicker:
            for shorter in lengths:
                yield replace(one, pin_mm=one.pin_mm + step, relief_mm=one.relief_mm + shorter)


def _stock_steps(assembly: Assembly) -> list[float]:
    if float(np.ptp(assembly.pin_mm)) > 0.0:
        return []
    return [round(stock.value - float(assembly.pin_mm[0]), 6) for stock in values("pin.stock_size_")]


def _fewer(assembly: Assembly, seed: int, threads: int | None) -> Iterator[Assembly]:
    """In each abutment with more than one pin the pin left out without which most bridges go home."""
    left = assembly
    for tooth in dict.fromkeys(assembly.teeth):
        own = [i for i, t in enumerate(assembly.teeth) if t == tooth and left.present[i]]
        if len(own) < 2:
            continue
        without = [replace(left, present=left.present & (np.arange(len(left.names)) != i)) for i in own]
        left = max(without, key=lambda one: float(_seated(one, 1024, seed, threads).home.mean()))
    if left is not assembly:
        yield left


def _seated(assembly: Assembly, trials: int, seed: int, threads: int | None) -> Bridges:
    return seat_bridges(
        build(assembly),
        limit_mm=assembly.limit_mm,
        trials=trials,
        seed=seed,
        opening=False,
        threads=threads,
    )


def _words(assembly: Assembly) -> str:
    there = assembly.present
    pins = int(there.sum())

    def sizes(mm: np.ndarray) -> str:
        return " and ".join(sorted({f"{x:.2f}" for x in mm[there].tolist()}))

    return f"{pins} pins, {sizes(assembly.pin_mm)} mm thick, {sizes(assembly.length_mm)} mm long"
