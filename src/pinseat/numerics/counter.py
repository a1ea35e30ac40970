"""Random numbers by counting: any number of any trial can be made by itself, in any order, on any thread.

Words come from Philox 4x64 with ten rounds (Salmon, Moraes, Dror and Shaw 2011, "Parallel random numbers: as
easy as 1, 2, 3", SC11), with key ``(seed, stream)`` and counter ``(block, trial, 0, 0)``; a block holds four
words. A word becomes a number in the middle of one of ``2**52`` equal cells of (0, 1), and that a standard
normal by Wichura's rational approximations of the inverse distribution (1988, algorithm AS 241, Appl. Stat.
37, 477; relative error about 1e-16). The middle 85 % of all normals use only ``+ - * /`` and are the same on
every machine; the rest use one logarithm and one square root, and the last bit of a logarithm may differ from
one mathematics library to another.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numba import njit, types
from numba.extending import intrinsic
from numpy.typing import NDArray

# Nothing is allocated inside, so references need not be counted; see exchange.py.
_kernel = njit(cache=True, nogil=True, error_model="numpy", _nrt=False)

Float = NDArray[np.float64]
Int = NDArray[np.int64]
Word = NDArray[np.uint64]

_M0, _M1 = np.uint64(0xD2E7470EE14C6C93), np.uint64(0xCA5A826395121157)
_W0, _W1 = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBB67AE8584CAA73B)
_SHIFT = np.uint64(12)
_CELL = 2.0**-52

# AS 241 (Wichura 1988): numerators and denominators, highest power first, for |p - 1/2| <= 0.425 and then for
# r = sqrt(-log(min(p, 1 - p))) up to 5 and beyond it.
_MID_TOP = (
    2509.0809287301227,
    33430.57558358813,
    67265.7709270087,
    45921.95393154987,
    13731.69376550946,
    1971.5909503065513,
    133.14166789178438,
    3.3871328727963665,
)
_MID_LOW = (
    5226.495278852546,
    28729.085735721943,
    39307.89580009271,
    21213.794301586597,
    5394.196021424751,
    687.1870074920579,
    42.31333070160091,
    1.0,
)
_TAIL_TOP = (
    0.0007745450142783414,
    0.022723844989269184,
    0.2417807251774506,
    1.2704582524523684,
    3.6478483247632045,
    5.769497221460691,
    4.630337846156546,
    1.4234371107496835,
)
_TAIL_LOW = (
    1.0507500716444169e-09,
    0.0005475938084995345,
    0.015198666563616457,
    0.14810397642748008,
    0.6897673349851,
    1.6763848301838038,
    2.053191626637759,
    1.0,
)
_FAR_TOP = (
    2.0103343992922881e-07,
    2.7115555687434876e-05,
    0.0012426609473880784,
    0.026532189526576124,
    0.29656057182850487,
    1.7848265399172913,
    5.463784911164114,
    6.657904643501103,
)
_FAR_LOW = (
    2.0442631033899397e-15,
    1.421511758316446e-07,
    1.8463183175100548e-05,
    0.0007868691311456133,
    0.014875361290850615,
    0.1369298809227358,
    0.599832206555888,
    1.0,
)


class Effects(NamedTuple):
    """Columns of a factor without their zeros: column `j` is ``value[begin[j]:begin[j + 1]]`` at `place`."""

    begin: Int
    place: Int
    value: Float


def effects(factor: Float) -> Effects:
    """Leave the zeros of a factor (size, components) out.

    Examples
    --------
    >>> effects(np.array([[0.0, 2.0], [1.0, 0.0]])).place
    array([1, 0])
    """
    column, place = np.nonzero(factor.T)
    begin = np.searchsorted(column, np.arange(factor.shape[1] + 1))
    return Effects(begin.astype(np.int64), place.astype(np.int64), factor[place, column])


@intrinsic
def _high(typingctx: Any, a: Any, b: Any) -> Any:
    """Upper half of the 128-bit product of two words."""

    def build(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        wide = ir.IntType(128)
        product = builder.mul(builder.zext(args[0], wide), builder.zext(args[1], wide))
        return builder.trunc(builder.lshr(product, ir.Constant(wide, 64)), ir.IntType(64))

    return types.uint64(types.uint64, types.uint64), build


@_kernel
def _philox(k0: np.uint64, k1: np.uint64, c0: np.uint64, c1: np.uint64) -> tuple[np.uint64, ...]:
    """Four words for the key (k0, k1) and the counter (c0, c1, 0, 0)."""
    c2, c3 = np.uint64(0), np.uint64(0)
    for _ in range(10):
        c0, c1, c2, c3 = _high(_M1, c2) ^ c1 ^ k0, _M1 * c2, _high(_M0, c0) ^ c3 ^ k1, _M0 * c0
        k0, k1 = k0 + _W0, k1 + _W1
    return c0, c1, c2, c3


@_kernel
def _polynomial(c: tuple[float, ...], r: float) -> float:
    return ((((((c[0] * r + c[1]) * r + c[2]) * r + c[3]) * r + c[4]) * r + c[5]) * r + c[6]) * r + c[7]


@_kernel
def _normal(word: np.uint64) -> float:
    """Standard normal by AS 241, from one word."""
    q = (float(word >> _SHIFT) + 0.5) * _CELL - 0.5
    if abs(q) <= 0.425:
        r = 0.180625 - q * q
        return q * _polynomial(_MID_TOP, r) / _polynomial(_MID_LOW, r)
    r = math.sqrt(-math.log(0.5 - abs(q)))
    if r <= 5.0:
        r -= 1.6
        return math.copysign(_polynomial(_TAIL_TOP, r) / _polynomial(_TAIL_LOW, r), q)
    r -= 5.0
    return math.copysign(_polynomial(_FAR_TOP, r) / _polynomial(_FAR_LOW, r), q)


@_kernel
def _fill_words(key: Word, first: int, out: Word) -> None:
    trials, components = out.shape
    for n in range(trials):
        for j in range(0, components, 4):
            words = _philox(key[0], key[1], np.uint64(j // 4), np.uint64(first + n))
            for k in range(min(4, components - j)):
                out[n, j + k] = words[k]


@_kernel
def fill_normals(key: Word, first: int, out: Float) -> None:
    """Fill `out` (trials, components) for the trials `first`, `first` + 1, ...; see :func:`normals`."""
    trials, components = out.shape
    for n in range(trials):
        for j in range(0, components, 4):
            words = _philox(key[0], key[1], np.uint64(j // 4), np.uint64(first + n))
            for k in range(min(4, components - j)):
                out[n, j + k] = _normal(words[k])


@_kernel
def affine(mean: Float, effects: Effects, xi: Float, out: Float) -> None:
    """``out[n] = mean + sum_j xi[n, j] column_j``, in that order of addition."""
    trials, components = xi.shape
    for n in range(trials):
        for i in range(len(mean)):
            out[n, i] = mean[i]
        for j in range(components):
            x = xi[n, j]
            for k in range(effects.begin[j], effects.begin[j + 1]):
                out[n, effects.place[k]] += x * effects.value[k]


def key(seed: int, stream: int) -> Word:
    """Key of a stream of random numbers; two keys that differ give independent numbers.

    Parameters
    ----------
    seed, stream : int
        Each taken modulo ``2**64``.

    Returns
    -------
    (2,) uint64 array
    """
    return np.array([seed % 2**64, stream % 2**64], dtype=np.uint64)


def words(seed: int, stream: int, first: int, trials: int, components: int) -> Word:
    """Raw words, component ``j`` of trial ``n`` being word ``j % 4`` of the counter ``(j // 4, n, 0, 0)``.

    Returns
    -------
    (trials, components) uint64 array
    """
    out = np.empty((trials, components), np.uint64)
    _fill_words(key(seed, stream), first, out)
    return out


def normals(seed: int, stream: int, first: int, trials: int, components: int) -> Float:
    """Standard normals of the trials ``first``, ``first + 1``, ...

    Parameters
    ----------
    seed, stream : int
        See :func:`key`.
    first, trials : int
    components : int
        Random numbers a trial.

    Returns
    -------
    (trials, components) array
        A trial's numbers do not depend on how many trials or components are asked for with it.

    Examples
    --------
    >>> normals(1, 0, 0, 1000, 3)[700:702].tolist() == normals(1, 0, 700, 2, 3).tolist()
    True
    """
    out = np.empty((trials, components))
    fill_normals(key(seed, stream), first, out)
    return out
