"""Which group of errors matters: total-order indices by redrawing one group at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from pinseat.numerics.counter import normals

Float = NDArray[np.float64]

_FIRST_STREAM, _SECOND_STREAM = 1, 2


def total_order(
    model: Callable[[Float], Float], groups: Mapping[str, Sequence[int]], *, trials: int, seed: int
) -> list[tuple[str, float, float]]:
    """Total-order Sobol index of each group of independent standard normal inputs.

    The share of the variance that would remain if everything but the group were known::

        T = E[Var(f | all others)] / Var(f)  =  E[(f(A) - f(A with the group from B))^2] / (2 Var f)

    (Jansen 1999, Comput. Phys. Commun. 117, 35; for groups Saltelli et al. 2010, Comput. Phys. Commun. 181,
    259). Shares add up to more than 1 when groups act together. A group with share 0 does nothing at all.

    Parameters
    ----------
    model : callable
        Takes (n, r) standard normals, gives (n,) finite numbers.
    groups : mapping of str to sequence of int
        Columns of each group; together they are the columns ``0 ... r - 1``, each in one group.
    trials : int
        Evaluations for each group and once more.
    seed : int

    Returns
    -------
    list of (str, float, float)
        Name, index and its standard error, in the order of `groups`.

    Raises
    ------
    ValueError
        If the groups are not a partition of the columns, there are fewer than two trials, or the model gives
        anything but finite numbers.

    Examples
    --------
    >>> shares = total_order(lambda x: 3 * x[:, 0] + x[:, 1], {"a": [0], "b": [1]}, trials=20000, seed=1)
    >>> [(name, round(index, 1)) for name, index, _ in shares]
    [('a', 0.9), ('b', 0.1)]
    """
    columns = sorted(column for group in groups.values() for column in group)
    if columns != list(range(len(columns))):
        raise ValueError("every column must be in exactly one group")
    if trials < 2:
        raise ValueError(f"at least two trials are needed, not {trials}")
    first = normals(seed, _FIRST_STREAM, 0, trials, len(columns))
    second = normals(seed, _SECOND_STREAM, 0, trials, len(columns))
    plain = _finite(model(first))
    made = []
    for name, group in groups.items():
        mixed = first.copy()
        mixed[:, list(group)] = second[:, list(group)]
        made.append((name, *_jansen(plain, _finite(model(mixed)))))
    return made


def _jansen(plain: Float, mixed: Float) -> tuple[float, float]:
    """Index and the standard error of this ratio of two means, to first order."""
    square = (plain - plain.mean()) ** 2
    half = (plain - mixed) ** 2 / 2.0
    variance = square.sum() / (len(plain) - 1)
    if variance == 0.0:
        return 0.0, 0.0
    index = float(half.mean() / variance)
    spread = float(np.std(half - index * square, ddof=1) / variance)
    return index, spread / len(plain) ** 0.5


def _finite(values: Float) -> Float:
    if not np.all(np.isfinite(values)):
        raise ValueError("the model must give finite numbers")
    return values
