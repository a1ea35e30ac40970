"""The invented cases as case folders, and small stretches of an arch for tests over many seeds."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from pinseat.case.files import atomic_write, plainly
from pinseat.case.model import Case
from pinseat.demo import text
from pinseat.demo.bench import bench
from pinseat.demo.bridge import CENTRAL, LATERAL, PinSet, Retainer, bridge, picks
from pinseat.demo.generate import scan
from pinseat.demo.plans import FRONT, SPAN, Plan, patch_plan
from pinseat.demo.scanner import Scanner
from pinseat.demo.truth import Truth
from pinseat.errors import CaseError
from pinseat.mesh.model import Mesh
from pinseat.mesh.write import stl_bytes

Name = Literal["front", "span", "bench"]
NAMES: tuple[Name, ...] = ("front", "span", "bench")
_PLANS = {"front": FRONT, "span": SPAN}
_BENCH_SEED = 120
VARIED = PinSet((0.65, 0.05), (3.0, 0.4), (0.0, 1.5), 0.15)
"""Pins of a patch: every pin of its own diameter, protrusion, tilt and place."""


@dataclass(frozen=True, eq=False)
class Scenario:
    """An invented case with what is known about it.

    Attributes
    ----------
    case : Case
    toml : str
        Text of ``case.toml``.
    note : str
        One paragraph on what is special about the case.
    truth_json : str
        What is known, as text.
    mesh : Mesh or None
        The scan; None for a case from callipers alone.
    truth : Truth or None
        What is known about the scan.
    """

    case: Case
    toml: str
    note: str
    truth_json: str
    mesh: Mesh | None = None
    truth: Truth | None = None


def build(name: str, *, seed: int | None = None, triangles: int = 300_000) -> Scenario:
    """Make one of the invented cases.

    Parameters
    ----------
    name : {"front", "span", "bench"}
    seed : int, optional
        Another case of the same kind; left out, always the same one.
    triangles : int
        About how many the scan has, at least 120,000; edges are 0.10 mm on the prepared teeth at 300,000.

    Returns
    -------
    Scenario

    Raises
    ------
    CaseError
        If there is no such case, or too few triangles to show a pin.

    Examples
    --------
    >>> build("bench").case.missing
    (21,)
    """
    if name == "bench":
        return _bench(_BENCH_SEED if seed is None else seed)
    try:
        plan = _PLANS[name]
    except KeyError:
        raise CaseError("there is no such demo", value=name, limit=", ".join(NAMES)) from None
    if triangles < 120_000:
        raise CaseError("so coarse a scan shows no pins", value=f"{triangles}", limit="at least 120,000")
    edge_mm = 0.10 * float(np.sqrt(300_000 / triangles))
    return _scanned(plan, plan.seed if seed is None else seed, Scanner(), edge_mm)


def patch(
    seed: int,
    *,
    teeth: tuple[int, ...] = (12, 11, 21, 22, 23),
    missing: tuple[int, ...] = (21,),
    retainers: tuple[Retainer, ...] = (CENTRAL, LATERAL),
    pins: PinSet = VARIED,
    scanner: Scanner | None = None,
    edge_mm: float = 0.10,
) -> Scenario:
    """A stretch of an arch round a bridge, different for every seed.

    Parameters
    ----------
    seed : int
    teeth, missing : tuple of int
        FDI numbers, in the order of :data:`pinseat.demo.arch.UPPER`.
    retainers : tuple of Retainer
    pins : PinSet
        Each pin is drawn from it.
    scanner : Scanner, optional
    edge_mm : float
        Edge length round the pins.

    Returns
    -------
    Scenario
    """
    plan = patch_plan(seed, teeth, missing, retainers, pins)
    return _scanned(plan, seed, scanner or Scanner(), edge_mm)


def write(name: str, folder: Path, seed: int | None = None) -> None:
    """Write an invented case as a case folder.

    Parameters
    ----------
    name : {"front", "span", "bench"}
    folder : Path
        Made when it is not there, and filled again when it holds this very case.
    seed : int, optional
        See :func:`build`.

    Raises
    ------
    CaseError
        If there is no such case, the folder holds anything else, or it cannot be written.
    """
    scenario = build(name, seed=seed)
    toml = folder / "case.toml"
    with plainly(folder):
        used = folder.exists() and any(folder.iterdir())
        same = toml.is_file() and toml.read_bytes() == scenario.toml.encode()
    if used and not same:
        raise CaseError(
            "this folder holds something else than the untouched demo; nothing was changed",
            where=str(folder),
            do="run it with pinseat run, or name another folder with --out",
        )
    with plainly(folder):
        (folder / "scans").mkdir(parents=True, exist_ok=True)
    if scenario.mesh is not None and scenario.case.scan is not None:
        atomic_write(folder / scenario.case.scan.file, stl_bytes(scenario.mesh))
    atomic_write(folder / "truth.json", scenario.truth_json.encode())
    atomic_write(folder / "note.txt", (scenario.note + "\n").encode())
    atomic_write(toml, scenario.toml.encode())


def _scanned(plan: Plan, seed: int, scanner: Scanner, edge_mm: float) -> Scenario:
    rng = np.random.Generator(np.random.Philox(seed))
    model = bridge(plan.teeth, plan.missing, plan.retainers, plan.pins, rng)
    mesh, truth = scan(model, picks(model), scanner, edge_mm, rng)
    toml = text.scanned_case(plan, truth)
    case = Case.model_validate(tomllib.loads(toml))
    return Scenario(case, toml, plan.note, text.truth_text(truth), mesh, truth)


def _bench(seed: int) -> Scenario:
    made = bench(seed, FRONT.chain)
    toml = text.bench_case(made)
    known = {
        "note": "known because it was invented; x along the arch, y towards the lip, z off the teeth, mm",
        "pins": [
            {"name": p.name, "foot": p.foot.tolist(), "axis": p.axis.round(6).tolist()} for p in made.pins
        ],
    }
    case = Case.model_validate(tomllib.loads(toml))
    return Scenario(case, toml, made.note, json.dumps(known, indent=1) + "\n")
