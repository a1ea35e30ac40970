"""Many virtual bridges: random numbers, contact at the seat, contact at the entry."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pinseat.numerics.contact import (
    CHUNK,
    Contact,
    kernel_order,
    lacking_programme,
    opening_programme,
    reference_length,
    settle,
    start_basis,
)
from pinseat.numerics.counter import Effects, Word, affine, effects, fill_normals, key
from pinseat.numerics.exchange import Basis, Float, Programme, new_basis, new_work, solve_chunk

BRIDGES = 0
"""Stream of random numbers that makes the bridges."""


@dataclass(frozen=True, eq=False)
class Simulated:
    """What became of each virtual bridge.

    Attributes
    ----------
    opening_mm : (n,) array
        Infinite where the bridge cannot go on at all; empty when it was not asked for, as is `tilt_rad`.
    lacking_mm : (n,) array
        Clearance lacking to seat within the limit; empty when it was not asked for.
    entry_lacking_mm : (n,) array
        Clearance lacking for all pins to find their holes; empty without an entry pose.
    tilt_rad : (n,) array
        How far the bridge turned to reach its opening, one way of several if several are as good;
        ``nan`` where it cannot go on. Above about 0.02 (1 deg) small motions are no longer exact enough.
    """

    opening_mm: Float
    lacking_mm: Float
    entry_lacking_mm: Float
    tilt_rad: Float


class _Source(NamedTuple):
    """How the vectors of the bridges are made, in kernel order, with room for the floors."""

    key: Word
    mean: Float
    effects: Effects


def _source(seat: Contact, entry: Contact | None, mean: Float, factor: Float, seed: int) -> _Source:
    """Rearrange as [seat | floor | entry | floor]; a floor is a place with mean 0 that nothing moves."""
    free = np.array([mean.size])
    order = [kernel_order(seat), free]
    if entry is not None:
        order += [seat.size + kernel_order(entry), free]
    place = np.concatenate(order)
    moved = np.concatenate([factor, np.zeros((1, factor.shape[1]))])[place]
    return _Source(key(seed, BRIDGES), np.append(mean, 0.0)[place], effects(moved))


def _check(seat: Contact, entry: Contact | None, mean: Float, factor: Float) -> None:
    size = seat.size + (entry.size if entry else 0)
    if mean.shape != (size,) or factor.ndim != 2 or len(factor) != size:
        raise ValueError(f"mean and factor must have {size} rows, not {mean.shape} and {factor.shape}")
    if not (np.all(np.isfinite(mean)) and np.all(np.isfinite(factor))):
        raise ValueError("mean and factor must be finite")


def simulate(
    seat: Contact,
    entry: Contact | None,
    mean: Float,
    factor: Float,
    *,
    limit_mm: float,
    trials: int,
    seed: int,
    start: int = 0,
    opening: bool = True,
    lacking: bool = True,
    threads: int | None = None,
) -> Simulated:
    """Seat many virtual bridges ``y = mean + factor xi``, ``xi`` standard normal.

    Parameters
    ----------
    seat : Contact
        At full depth.
    entry : Contact or None
        At the entry pose: the tips only, no faces.
    mean : (m,) array, mm
        ``m`` = size of `seat` and then of `entry`.
    factor : (m, r) array, mm
        One column for each independent standard error; number `j` of a bridge drives column `j` here and in
        every other call, so bridges of two cases, or at two poses, are paired.
    limit_mm : float
        Opening that counts as seated.
    trials : int
        How many bridges.
    seed : int
        Bridge `n` of a seed is the same whatever else is asked for.
    start : int
        Number of the first bridge.
    opening, lacking : bool
        Whether the opening, and the clearance lacking at the seat, are wanted.
    threads : int, optional
        As many as there are cores, if not given. The answer is the same to the bit.

    Returns
    -------
    Simulated

    Raises
    ------
    ValueError
        If `mean` and `factor` do not fit the contacts or are not finite.
    """
    _check(seat, entry, mean, factor)
    source = _source(seat, entry, mean, factor, seed)
    wanted = (opening, lacking, entry is not None, opening)
    found = Simulated(*(np.empty(trials if asked else 0) for asked in wanted))
    here, there = slice(0, seat.size + 1), slice(seat.size + 1, None)
    tasks = []
    if opening:
        tasks.append(_task(opening_programme(seat), here, source, found.opening_mm))
    if lacking:
        tasks.append(_task(lacking_programme(seat, limit_mm), here, source, found.lacking_mm))
    if entry is not None:
        tasks.append(_task(lacking_programme(entry, limit_mm), there, source, found.entry_lacking_mm))
    length = reference_length(seat)

    def chunk(first: int) -> None:
        rows = slice(first, min(first + CHUNK, trials))
        y = _vectors(source, start + first, rows.stop - first)
        for task in tasks:
            motion = _solve(task, y, rows)
            if task.into is found.opening_mm:
                found.tilt_rad[rows] = np.sqrt((motion[:, 3:6] ** 2).sum(axis=1)) / length

    with ThreadPoolExecutor(threads or os.cpu_count()) as pool:
        list(pool.map(chunk, range(0, trials, CHUNK)))
    return found


class _Task(NamedTuple):
    """One question asked of every bridge, and where the answers go: one number a bridge is kept."""

    programme: Programme
    part: slice
    begin: Basis
    into: Float


def _task(programme: Programme, part: slice, source: _Source, into: Float) -> _Task:
    return _Task(programme, part, start_basis(programme, source.mean[part]), into)


def _vectors(source: _Source, first: int, trials: int) -> Float:
    xi, y = np.empty((trials, len(source.effects.begin) - 1)), np.empty((trials, len(source.mean)))
    fill_normals(source.key, first, xi)
    affine(source.mean, source.effects, xi, y)
    return y


def _solve(task: _Task, y: Float, rows: slice) -> Float:
    """Motions of a chunk of bridges, (m, 7); the last column has gone where the task wants it."""
    answer, status = np.empty((len(y), 7)), np.empty(len(y), np.int64)
    programme, own = task.programme, np.ascontiguousarray(y[:, task.part])
    solve_chunk(programme, own, task.begin, new_basis(), new_work(programme), answer, status)
    settle(answer, status)
    task.into[rows] = answer[:, 6]
    return answer
