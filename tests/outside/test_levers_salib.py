"""What loses the fit, and what a change gains, against SALib: its own samples and its own estimators.

SALib 1.5 (Herman and Usher, J. Open Source Softw. 2, 2017, 97): quasi-random points of its own, mapped to
standard normals, through our contact programme.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from SALib.analyze import sobol as analyze
from SALib.sample import sobol as sample
from scipy.special import ndtri

from benchmarks.diagnosis import bridge
from pinseat.numerics.sensitivity import total_order
from pinseat.seating.bridges import lacking_mm, seat_bridges
from pinseat.seating.changes import changes
from pinseat.seating.levers import try_changes
from pinseat.seating.problem import build


def points(names: list[str], count: int, groups: list[str] | None = None) -> np.ndarray:
    problem = {"num_vars": len(names), "names": names, "bounds": [[0.0, 1.0]] * len(names)}
    if groups is not None:
        problem["groups"] = groups
    drawn = sample.sample(problem, count, calc_second_order=False, seed=3)
    return ndtri(np.clip(drawn, 1e-9, 1.0 - 1e-9))


def test_shares_of_the_copies_agree_with_salib() -> None:
    assembly, _ = bridge(2)
    problem = build(assembly)
    copies = [group for group, _ in problem.labels()]
    names = [f"x{i}" for i in range(len(copies))]
    stated = {"num_vars": len(names), "names": names, "bounds": [[0.0, 1.0]] * len(names), "groups": copies}
    values = lacking_mm(problem, points(names, 256, copies), assembly.limit_mm)
    theirs = analyze.analyze(stated, values, calc_second_order=False, seed=1)
    groups = {c: [i for i, own in enumerate(copies) if own == c] for c in dict.fromkeys(copies)}
    ours = total_order(lambda xi: lacking_mm(problem, xi, assembly.limit_mm), groups, trials=2000, seed=4)
    for (_, index, error), other, other_95 in zip(ours, theirs["ST"], theirs["ST_conf"], strict=True):
        assert abs(index - other) < 4.0 * math.hypot(error, other_95 / 1.96)


def test_gains_of_changes_agree_with_points_of_salib() -> None:
    """Share at home with and without, over 3072 of its Sobol points; these know a share to a point."""
    assembly, _ = bridge(2)
    before = seat_bridges(build(assembly), limit_mm=assembly.limit_mm, trials=4000, seed=2, opening=False)
    wanted = ("clearance", "test casting", "solder", "tray", "length")
    tried = [change for change in changes(assembly) if change.family in wanted]
    labels = build(assembly).labels()
    names = [f"x{i}" for i in range(len(labels))]
    xi = points(names, 1024, ["first"] * (len(names) - 1) + ["last"])
    now = lacking_mm(build(assembly), xi, assembly.limit_mm) <= 0.0
    for change, lever in zip(tried, try_changes(tried, before, seed=2), strict=True):
        then = lacking_mm(build(change.assembly), xi, assembly.limit_mm) <= 0.0
        gain = float(then.mean()) - float(now.mean())
        # Ours by counting (4 standard errors), theirs by 1,024 points of a net (0.01).
        assert lever.gain == pytest.approx(gain, abs=4.0 * lever.u_gain + 0.01), change.words
