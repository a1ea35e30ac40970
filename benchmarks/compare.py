"""Laying two scans on each other and mapping the deviation, beside a library on the same points.

The pair: the demo's arch scanned twice in poses of their own, 8 % of the second scan worn by up to 0.1 mm,
one pin pulled by 80 um and another bent by 1.2 deg. The library (small-gicp) needs a rough pose and gets
ours; it then runs in three stages with match distances of 3, 0.5 and 0.15 mm, point to point and by
distributions (GICP), on all points thinned to 0.15 mm.

``python -m benchmarks.compare seeds`` counts found changes and false alarms over 20 seeds, and how well the
pose's own uncertainty covers its error.
"""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Sequence

import numpy as np
import small_gicp
from numpy.typing import NDArray

from benchmarks.machine import best_of, machine, peak_mb
from pinseat.case.model import Case
from pinseat.compare.deviation import deviation_map
from pinseat.compare.model import CompareResult, Side
from pinseat.compare.step import run
from pinseat.demo import text
from pinseat.demo.bridge import CENTRAL, LATERAL, PinSet
from pinseat.demo.changed import Change, Pair, changed_pair
from pinseat.demo.plans import FRONT, Plan, patch_plan
from pinseat.demo.scanner import Scanner
from pinseat.demo.truth import Truth
from pinseat.ledger.handover import Handover
from pinseat.mesh.features import cloud, find_pose
from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.registration import Registration, register
from pinseat.mesh.working_copy import working_copy
from pinseat.numerics.similarity import turn_of
from pinseat.survey.step import run as survey

Float = NDArray[np.float64]

CHANGES = (Change(11, 1, pulled_mm=0.08), Change(22, 2, bent_deg=1.2))
SEEDS = range(20)
STAGES_MM = (3.0, 0.5, 0.15)


def pair_of(edge_mm: float, warp_um: float = 0.0) -> Pair:
    scanner = Scanner(warp_um=warp_um)
    return changed_pair(FRONT, 5, changes=CHANGES, worn_share=0.08, scanner=scanner, edge_mm=edge_mm)


def library(pair: Pair, start: Float, kind: str) -> tuple[Float, Float]:
    """Pose by the library in three stages."""
    target, tree = small_gicp.preprocess_points(pair.first.vertices, 0.15, num_neighbors=12, num_threads=1)
    source, _ = small_gicp.preprocess_points(pair.second.vertices, 0.15, num_neighbors=12, num_threads=1)
    pose = start
    for reach in STAGES_MM:
        pose = small_gicp.align(
            target, source, tree, pose, registration_type=kind, max_correspondence_distance=reach,
            num_threads=1, max_iterations=40, rotation_epsilon=1e-6, translation_epsilon=1e-5,
        ).T_target_source  # fmt: skip
    return pose[:3, :3], pose[:3, 3]


def off(pair: Pair, rotation: Float, shift: Float) -> tuple[float, float, float]:
    """Error of a pose: at the middle of the scan and at its worst, um; angle, deg."""
    points = pair.second.vertices
    apart = points @ (rotation - pair.rotation).T + (shift - pair.shift)
    middle = 1e3 * float(np.linalg.norm(apart.mean(axis=0)))
    angle = float(np.degrees(np.linalg.norm(turn_of(rotation @ pair.rotation.T))))
    return middle, 1e3 * float(np.linalg.norm(apart, axis=1).max()), angle


def main() -> None:
    """Three sizes; the seeds when asked."""
    print("triangles  who             s   ratio   middle um  worst um    deg")
    for edge_mm in (0.158, 0.125, 0.10):
        pair = pair_of(edge_mm)
        onto = Nearest(pair.first)
        laid = register(pair.first, pair.second)
        ours_s = best_of(lambda p=pair: register(p.first, p.second))
        found = find_pose(cloud(pair.first), cloud(pair.second))
        assert found is not None
        start = np.eye(4)
        start[:3, :3], start[:3, 3] = found.rotation, found.shift
        _line(len(pair.second.faces), "ours, any pose", ours_s, 1.0, off(pair, laid.rotation, laid.shift))
        for kind, name in (("ICP", "point to point"), ("GICP", "distributions")):
            pose = library(pair, start, kind)
            theirs = best_of(lambda p=pair, s=start, k=kind: library(p, s, k), 2)
            _line(len(pair.second.faces), name, theirs, theirs / ours_s, off(pair, *pose))
        tree = best_of(lambda p=pair: Nearest(p.first))
        mapped = best_of(lambda p=pair, n=onto, g=laid: deviation_map(n, p.second, g))
        print(f"{'':9}  deviation map {tree + mapped:5.2f} s, of which {tree:.2f} s for the tree")
    print(
        f"memory of our comparison at the largest size: {peak_mb('-m', 'benchmarks.compare', 'once'):.0f} MB"
    )


def _line(size: int, name: str, took: float, ratio: float, error: Sequence[float]) -> None:
    print(
        f"{size:9,}  {name:14} {took:5.2f}  {ratio:5.1f}  {error[0]:9.2f}  {error[1]:8.2f}  {error[2]:7.4f}"
    )


def once() -> None:
    """The largest size, once, for the memory."""
    pair = pair_of(0.10)
    run(Side("first", pair.first), Side("second", pair.second))


def seeds() -> None:
    """Twenty patches of two abutments and five pins: what is found, what is invented."""
    print("seed  pulled  bent   false alarms   pose error over its u   span um")
    found = alarms = checks = 0
    for seed in SEEDS:
        plan = patch_plan(
            seed,
            (12, 11, 21, 22, 23),
            (21,),
            (CENTRAL, LATERAL),
            PinSet((0.65, 0.05), (3.0, 0.4), (0.0, 1.5), 0.15),
        )
        pair = changed_pair(plan, seed, changes=CHANGES, worn_share=0.08)
        first, second = (
            _side(plan, mesh, truth)
            for mesh, truth in ((pair.first, pair.truth), (pair.second, pair.second_truth))
        )
        laid = register(first.mesh, second.mesh)
        result, _ = run(first, second, laid=laid)
        pulled, bent, false = _tally(result, first, pair)
        found += pulled + bent
        alarms += false
        checks += len(result.pins) - 2
        span = result.spans[0]
        print(
            f"{seed:4}  {pulled!s:6}  {bent!s:5}  {false:12}  {_normalised(pair, laid):22.2f}"
            f"   {span.change_um:6.1f} ± {span.u_um:.1f}"
        )
    print(f"found {found} of {2 * len(SEEDS)}; false alarms on {alarms} of {checks} unchanged pins")


def _side(plan: Plan, mesh: Mesh, truth: Truth) -> Side:
    case = Case.model_validate(tomllib.loads(text.scanned_case(plan, truth)))
    sound = working_copy(mesh).mesh
    field = survey(case.model_copy(update={"contacts": ()}), Handover(), mesh=sound).field
    return Side("scan", sound, field)


def _tally(result: CompareResult, first: Side, pair: Pair) -> tuple[bool, bool, int]:
    """Whether the pulled and the bent pin are named as such and nothing else, and how many others are."""
    assert first.pins is not None
    said = {}
    for pin, found in zip(first.pins.pins, result.pins, strict=True):
        true = min(pair.truth.pins, key=lambda t: float(np.linalg.norm(t.foot - pin.foot)))
        said[true.name] = found.certain
    pulled, bent = said.pop("11-1"), said.pop("22-2")
    return "farther out" in pulled, "bent" in bent, sum(bool(words) for words in said.values())


def _normalised(pair: Pair, laid: Registration) -> float:
    """Error of shift and turn over their stated covariance, root mean square of six."""
    there = laid.rotation.T @ (laid.middle - laid.shift)
    error = np.concatenate(
        [pair.rotation @ there + pair.shift - laid.middle, turn_of(pair.rotation @ laid.rotation.T)]
    )
    return float(np.sqrt(error @ np.linalg.solve(laid.covariance[:6, :6], error) / 6.0))


if __name__ == "__main__":
    if sys.argv[1:] == ["once"]:
        once()
    elif sys.argv[1:] == ["seeds"]:
        print(machine())
        seeds()
    else:
        print(machine())
        main()
