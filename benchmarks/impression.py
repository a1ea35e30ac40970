"""Shrinking rubber as cubes, against conjugate gradients with the diagonal alone, as scipy offers them.

``python -m benchmarks.impression SIDE_MM`` does our way once, in a process of its own, for its memory.
"""

from __future__ import annotations

import sys
import time

import numpy as np
from scipy.sparse import diags_array
from scipy.sparse.linalg import cg

from benchmarks.machine import peak_mb
from pinseat.numerics import cubes

SIDES_MM = (1.0, 0.75, 0.55)
POISSON = 0.49


def cap(side: float) -> tuple[np.ndarray, np.ndarray]:
    """Rubber 2.7 mm thick over a row of teeth 30 by 8 by 8 mm, held by a tray."""
    room = np.ceil(np.array([35.4, 13.4, 10.7]) / side).astype(int)
    middle = side * (np.stack(np.indices(room), axis=-1) + 0.5)
    filled = (
        (np.abs(middle[..., 0] - 17.7) > 15.0) | (np.abs(middle[..., 1] - 6.7) > 4.0) | (middle[..., 2] > 8.0)
    )
    held = np.zeros(room + 1, bool)
    held[[0, -1]] = held[:, [0, -1]] = held[:, :, -1] = True
    return filled, held


def plain(side: float) -> int:
    """The same equations with the diagonal alone; how many rounds."""
    rounds = 0

    def count(_: object) -> None:
        nonlocal rounds
        rounds += 1

    def solved(matrix, force, at):
        light = diags_array(1.0 / matrix.diagonal())
        answer, _ = cg(matrix, force.ravel(), rtol=cubes.TOLERANCE, maxiter=5000, M=light, callback=count)
        return answer.reshape(-1, 3)

    kept, cubes._solved = cubes._solved, solved
    try:
        cubes.shrunk(*cap(side), side, POISSON)
    finally:
        cubes._solved = kept
    return rounds


def main() -> None:
    """Print the table."""
    print(f"{'side':>8} {'cubes':>8} {'ours':>8} {'plain':>8} {'ratio':>6} {'rounds':>7} {'memory':>8}")
    cubes.shrunk(*cap(2.0), 2.0, POISSON)  # the libraries load at the first call
    for side in SIDES_MM:
        filled, held = cap(side)
        start = time.perf_counter()
        cubes.shrunk(filled, held, side, POISSON)
        ours = time.perf_counter() - start
        start = time.perf_counter()
        rounds = plain(side)
        other = time.perf_counter() - start
        memory = peak_mb("-m", "benchmarks.impression", str(side))
        print(
            f"{side:5.2f} mm {np.count_nonzero(filled):8d} {ours:6.1f} s {other:6.1f} s {other / ours:6.1f} "
            f"{rounds:7d} {memory:5.0f} MB"
        )


if __name__ == "__main__":
    cubes.shrunk(*cap(float(sys.argv[1])), float(sys.argv[1]), POISSON)
