"""From scan to proven tray, beside what a user would pick: a general mesh-distance library on the same grid.

The other way to a relief is a nearest-point query for each node; here by FCPW (MIT), a compiled tree of boxes
in single precision with vector instructions. On the whole grid it takes minutes; it is run on a stated
fraction of the nodes, and its time is multiplied. Ours is the feature transform for all nodes, with the
block-out in it, which theirs leaves out. Both give the room over the teeth; the difference between them,
where nothing is undercut, is shown.

The tray's seconds are those from the surveyed scan to the proven tray, warm; writing STL, 3MF, two maps,
sheet and plan stands beside them.
"""

from __future__ import annotations

import pickle
import sys
import tempfile
import time
from pathlib import Path

import fcpw
import numpy as np

from benchmarks.machine import best_of, peak_mb
from pinseat.case.model import Case
from pinseat.demo.cases import build
from pinseat.ledger.handover import Handover, quiet
from pinseat.mesh.model import Float, Mesh
from pinseat.report.tray_files import write_tray
from pinseat.survey.step import run as survey
from pinseat.tray import build as building
from pinseat.tray.ask import asked_of
from pinseat.tray.body import inside_field
from pinseat.tray.frame import frame_of
from pinseat.tray.step import run
from pinseat.tray.teeth import pockets_of, prepared_teeth

SIZES = ((120_000, 0.25), (300_000, 0.25), (300_000, 0.20), (1_000_000, 0.25))
FRACTION = 1.0 / 200.0
"""Part of the grid's nodes that the other library is asked for."""

Ready = tuple[Case, Handover, Mesh]


def ready(triangles: int) -> Ready:
    """A surveyed case."""
    scenario = build("front", triangles=triangles)
    assert scenario.mesh is not None
    found = survey(scenario.case, Handover(), mesh=scenario.mesh)
    given = Handover(field=found.field, faces=found.faces, draw=found.window.centre)
    return scenario.case, given, scenario.mesh


def at_grid(case: Case, grid_mm: float) -> Case:
    """The case with another grid."""
    return case.model_copy(update={"tray": case.tray.model_copy(update={"grid_mm": grid_mm})})


def relief(case: Case, given: Handover, mesh: Mesh) -> tuple[float, float, float]:
    """Seconds of our relief and of the other library's, and the median difference, um."""
    assert given.field is not None
    assert given.draw is not None
    asked = asked_of(case.tray)
    frame = frame_of(mesh.vertices, given.draw)
    pockets = pockets_of(given.field, frame, asked)
    prepared = prepared_teeth(case.abutments, given.field, given.faces, frame)
    shape = building.shape_of(frame.turned(mesh), [], [], pockets, prepared, asked, quiet)
    wanted, grid, cast = building.wanted_of(asked), shape.grid, shape.cast
    ours = best_of(lambda: inside_field(grid, cast, (), wanted))
    field = inside_field(grid, cast, (), wanted) + wanted.relief_mm
    rng = np.random.Generator(np.random.Philox(1))
    number = int(np.prod(grid.shape) * FRACTION)
    at = np.column_stack([rng.integers(0, n, number) for n in grid.shape])
    tree = others(Mesh(cast.mesh.vertices, cast.mesh.faces[cast.bare]))
    start = time.perf_counter()
    far = asked_of_others(tree, grid.low + grid.step_mm * at)
    took = (time.perf_counter() - start) / FRACTION
    mine = field[tuple(at.T)]
    open_ = (mine > 1.0) & (mine < 4.0) & (np.abs(mine - far) < 0.2)
    return ours, took, 1e3 * float(np.median((mine - far)[open_]))


def others(mesh: Mesh) -> fcpw.scene_3D:
    """The other library's tree."""
    scene = fcpw.scene_3D()
    scene.set_object_count(1)
    scene.set_object_vertices(np.asfortranarray(mesh.vertices, np.float32), 0)
    scene.set_object_triangles(np.asfortranarray(mesh.faces, np.int32), 0)
    scene.build(fcpw.aggregate_type.bvh_surface_area, True)
    return scene


def asked_of_others(scene: fcpw.scene_3D, points: Float) -> Float:
    """The other library's distances, mm."""
    found = fcpw.interaction_3D_list()
    limit = np.full(len(points), np.inf, np.float32)
    scene.find_closest_points(np.asfortranarray(points, np.float32), limit, found)
    return np.array([one.d for one in found], float)


def child(path: str) -> None:
    """One run, for its memory."""
    case, given, mesh = pickle.loads(Path(path).read_bytes())
    run(case, given, mesh=mesh)


def main() -> None:
    """Four sizes."""
    heads = ("triangles", "grid mm", "tray s", "cpu s", "files s", "peak MB", "relief s", "other s", "ratio")
    print(" ".join(f"{head:>9}" for head in (*heads, "apart um")))
    cases: dict[int, Ready] = {}
    for triangles, grid_mm in SIZES:
        if triangles not in cases:
            cases[triangles] = ready(triangles)
        case, given, mesh = cases[triangles]
        case = at_grid(case, grid_mm)
        tray = run(case, given, mesh=mesh)
        processor = time.process_time()
        whole = best_of(lambda c=case, g=given, m=mesh: run(c, g, mesh=m), 2)
        processor = 0.5 * (time.process_time() - processor)
        assert given.field is not None
        with tempfile.TemporaryDirectory() as folder:
            start = time.perf_counter()
            write_tray(Path(folder), case, tray, given.field, {})
            files = time.perf_counter() - start
        with tempfile.NamedTemporaryFile() as file:
            Path(file.name).write_bytes(pickle.dumps((case, given, mesh)))
            memory = peak_mb("-m", "benchmarks.tray", file.name)
        ours, other, apart = relief(case, given, mesh)
        print(
            f"{len(mesh.faces):>9} {grid_mm:>9.2f} {whole:>9.2f} {processor:>9.2f} {files:>9.2f} "
            f"{memory:>9.0f} {ours:>9.2f} {other:>9.0f} {other / ours:>9.0f} {apart:>9.1f}"
        )
    print(
        f"other: nearest points by a general library, {FRACTION:.1%} of the nodes run and multiplied; "
        "apart: ours less theirs where nothing is undercut, median"
    )


if __name__ == "__main__":
    child(sys.argv[1])
