"""Best draw and undercut map, against looking along every one of 2,000 directions from every vertex.

``python -m benchmarks.undercut TRIANGLES`` does our way once, in a process of its own, for its memory;
``python -m benchmarks.undercut TRIANGLES noise`` compares a scan with 10 um noise to the clean surface.
"""

from __future__ import annotations

import itertools
import sys
import time

import numpy as np

from benchmarks.machine import best_of, peak_mb
from pinseat.demo.arch import UPPER
from pinseat.demo.cases import build, patch
from pinseat.demo.scanner import Scanner
from pinseat.mesh.model import Mesh
from pinseat.mesh.working_copy import working_copy
from pinseat.survey.ranking import cone_of_directions, rank_draws
from pinseat.survey.undercut import Surveyed, UndercutMap, undercut_map

SIZES = (120_000, 200_000, 300_000)
HALF_ANGLE_DEG, DIRECTIONS = 10.0, 2000


def scan(triangles: int) -> tuple[Mesh, np.ndarray]:
    """The demo arch and the draw it was cut along."""
    scenario = build("front", triangles=triangles)
    assert scenario.mesh is not None
    assert scenario.truth is not None
    return working_copy(scenario.mesh).mesh, scenario.truth.draw


def ours(mesh: Mesh, centre: np.ndarray) -> tuple[np.ndarray, UndercutMap]:
    """Best of 2,000 draws, and the map along it, from the bare mesh."""
    surveyed = Surveyed(mesh)
    best = rank_draws(surveyed, centre, HALF_ANGLE_DEG, DIRECTIONS).directions[0]
    return best, undercut_map(surveyed, best)


def brute_force(mesh: Mesh, centre: np.ndarray) -> np.ndarray:
    """Best of all directions by a ray from every vertex that faces them; same normals, starts and rays."""
    surveyed = Surveyed(mesh)
    directions = cone_of_directions(centre, HALF_ANGLE_DEG, DIRECTIONS)
    area = np.empty(DIRECTIONS)
    for i, draw in enumerate(directions):
        barred = surveyed.normals @ draw < 0.0
        lies = np.flatnonzero(~barred)
        barred[lies] = surveyed.rays.blocked(surveyed.off[lies], draw)
        area[i] = surveyed.vertex_area[barred].sum()
    return directions[np.argmin(area)]


def noise(triangles: int) -> None:
    """Undercut with and without 10 um noise, on whole arches and on short stretches; the same vertices."""
    edge_mm = 0.10 * float(np.sqrt(300_000 / triangles))
    for teeth, seed in itertools.product((UPPER, (12, 11, 21, 22, 23)), (1, 2, 3)):
        found = []
        for noise_um in (0.0, 10.0):
            scanner = Scanner(noise_um=noise_um, speck=False)
            scenario = patch(seed, teeth=teeth, scanner=scanner, edge_mm=edge_mm)
            assert scenario.mesh is not None
            assert scenario.truth is not None
            found.append(undercut_map(scenario.mesh, scenario.truth.draw))
        clean, noisy = found
        area, volume = noisy.area_mm2 / clean.area_mm2 - 1.0, noisy.volume_mm3 / clean.volume_mm3 - 1.0
        print(
            f"{len(teeth)} teeth, seed {seed}: {clean.area_mm2:6.1f} mm2 clean, {area:+.1%} noisy;", end=" "
        )
        print(f"{clean.volume_mm3:5.1f} mm3 clean, {volume:+.1%} noisy")


def main() -> None:
    """Print the table."""
    print(f"{DIRECTIONS} directions within {HALF_ANGLE_DEG:g} deg, then the map along the best; warm")
    print("triangles      ours   brute force   ratio   memory   same best   undercut")
    for size in SIZES:
        mesh, centre = scan(size)
        best, map_ = ours(mesh, centre)
        quick = best_of(lambda mesh=mesh, centre=centre: ours(mesh, centre))
        start = time.perf_counter()
        same = np.array_equal(best, brute_force(mesh, centre))
        slow = time.perf_counter() - start
        memory = peak_mb("-m", "benchmarks.undercut", str(size))
        print(
            f"{len(mesh.faces):9,} {quick:7.2f} s {slow:11.1f} s {slow / quick:6.0f} x {memory:5.0f} MB"
            f"   {'yes' if same else 'NO':9} {map_.area_mm2:6.1f} mm2"
        )
    noise(SIZES[-1])


if __name__ == "__main__":
    match sys.argv[1:]:
        case [size, "noise"]:
            noise(int(size))
        case [size]:
            ours(*scan(int(size)))
        case _:
            main()
