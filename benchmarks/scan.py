"""Read a scan, examine it and make a working copy, beside loading the same file with trimesh.

``python -m benchmarks.scan`` prints a table; with a file it does our part once, for the memory.
Ours reads in a process of its own, examines, welds, orients and drops specks. trimesh, with its processing,
reads in the calling process and merges corners. Memory is that of the largest single process, with its start.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
import trimesh

from benchmarks.machine import best_of, machine, peak_mb
from pinseat.mesh.files import read_scan
from pinseat.mesh.health import health
from pinseat.mesh.model import Mesh
from pinseat.mesh.working_copy import working_copy
from pinseat.mesh.write import stl_bytes

SIZES = (30_000, 300_000, 1_000_000)


def rough_arch(triangles: int) -> Mesh:
    """A horseshoe of humps with 10 um of noise, about 60 mm across."""
    across = round(np.sqrt(triangles / 2 / 6))
    along = 6 * across
    t, s = np.meshgrid(np.linspace(-1.4, 1.4, along + 1), np.linspace(-1.0, 1.0, across + 1))
    width = 8.0 * s
    ring = np.array([np.sin(t), np.cos(t)]) * (27.0 + width)
    height = (7.0 + np.cos(28.0 * t)) * (1.0 - (s / 1.05) ** 6) - 3.0 * s**2
    points = np.stack((ring[0], 1.4 * ring[1], height), axis=-1).reshape(-1, 3)
    index = np.arange(len(points), dtype=np.int32).reshape(across + 1, along + 1)
    a, b, c, d = (p.ravel() for p in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    faces = np.concatenate((np.column_stack((a, b, c)), np.column_stack((a, c, d))))
    return Mesh(points + np.random.default_rng(0).normal(0.0, 0.010, points.shape), faces)


def ours(path: Path) -> None:
    mesh = read_scan(path, "mm").mesh
    health(mesh)
    working_copy(mesh)


def trimesh_load(path: Path) -> None:
    trimesh.load_mesh(path, process=True)


def main() -> None:
    """Print the table."""
    print("triangles    read s  health s  copy s  all s  trimesh s  ratio   MB  trimesh MB  ratio")
    with tempfile.TemporaryDirectory() as folder:
        for size in SIZES:
            path = Path(folder) / f"{size}.stl"
            path.write_bytes(stl_bytes(rough_arch(size)))
            mesh = read_scan(path, "mm").mesh
            health(mesh)
            read = best_of(lambda path=path: read_scan(path, "mm"), 5)
            examine = best_of(lambda mesh=mesh: health(mesh), 5)
            clean = best_of(lambda mesh=mesh: working_copy(mesh), 5)
            both = best_of(lambda path=path: ours(path), 5)
            other = best_of(lambda path=path: trimesh_load(path), 5)
            mine = peak_mb("-m", "benchmarks.scan", str(path))
            theirs = peak_mb("-c", "import sys, trimesh; trimesh.load_mesh(sys.argv[1])", str(path))
            print(
                f"{len(mesh.faces):9,}  {read:8.2f}  {examine:8.2f}  {clean:6.2f}  {both:5.2f}  {other:9.2f}"
                f"  {both / other:5.1f}  {mine:4.0f}  {theirs:10.0f}  {mine / theirs:5.1f}"
            )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        ours(Path(sys.argv[1]))
    else:
        print(machine())
        main()
