"""How well trays keep what is asked: invented arches of twenty seeds, and scans as they come in practice.

Each tray is made and proven at 0.25 mm. Scans as they come: cut to half an arch; with seven holes of 2 to
5 mm across; with a rim torn by up to 4 mm; looked at along a draw 12 deg off, so that every tooth has
undercuts on one side; with a million triangles. Where three stops do not hold the tray, the line ends in that
finding, and the body is proven all the same.

The gap's error is that of the 1st and 99th percentile over teeth and round pins; a pin's clearance is what it
has on its way, less what was asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from pinseat.demo.cases import Scenario, build
from pinseat.errors import PinseatError
from pinseat.ledger.handover import Handover
from pinseat.mesh.model import Float, Mesh
from pinseat.survey.step import run as survey
from pinseat.tray.step import Tray, run

SEEDS = range(1, 21)
GAP_MM, PIN_MM = 0.07, -0.02
"""Largest error of the gap, and how much less than asked a pin's clearance may be."""

Cut = Callable[[Mesh, Float], Mesh]
Turn = Callable[[Float], Float]


def without(mesh: Mesh, gone: np.ndarray) -> Mesh:
    """The mesh without triangles that have one of some corners."""
    return Mesh(mesh.vertices, np.ascontiguousarray(mesh.faces[~gone[mesh.faces].any(axis=1)]))


def half(mesh: Mesh, feet: Float) -> Mesh:
    """All within 19 mm of the pins' middle along the arch's width."""
    middle = feet.mean(axis=0)
    return without(mesh, np.abs(mesh.vertices[:, 0] - middle[0]) > 19.0)


def holed(mesh: Mesh, feet: Float) -> Mesh:
    """Seven round holes, none nearer than 5 mm to a pin."""
    rng = np.random.Generator(np.random.Philox(7))
    far = np.linalg.norm(mesh.vertices[:, None] - feet, axis=2).min(axis=1)
    middles = mesh.vertices[rng.choice(np.flatnonzero(far > 8.0), 7, replace=False)]
    gone = np.zeros(len(mesh.vertices), bool)
    for middle, radius in zip(middles, rng.uniform(1.0, 2.5, 7), strict=True):
        gone |= np.linalg.norm(mesh.vertices - middle, axis=1) < radius
    return without(mesh, gone)


def ragged(mesh: Mesh, feet: Float) -> Mesh:
    """A rim torn upward by up to 4 mm, in waves of 3 to 9 mm."""
    x, y, z = mesh.vertices.T
    torn = z.min() + 2.0 + 1.0 * np.sin(2.1 * x) + 0.6 * np.sin(1.3 * y + 1.0) + 0.4 * np.sin(0.7 * (x - y))
    return without(mesh, z < torn)


def aslant(draw: Float) -> Float:
    """The draw, 12 deg off."""
    side = np.cross(draw, [0.0, 1.0, 0.0])
    return np.asarray(
        np.cos(np.radians(12.0)) * draw + np.sin(np.radians(12.0)) * side / np.linalg.norm(side)
    )


def made(scenario: Scenario, cut: Cut | None = None, turn: Turn | None = None) -> Tray:
    """The tray of an invented case at 0.25 mm, from a scan and a draw that were changed after the survey."""
    mesh = scenario.mesh
    assert mesh is not None
    found = survey(scenario.case, Handover(), mesh=mesh)
    draw = found.window.centre if turn is None else turn(found.window.centre)
    feet = np.array([pin.foot for pin in found.field.pins])
    given = Handover(field=found.field, faces=found.faces, draw=draw)
    return run(scenario.case, given, mesh=mesh if cut is None else cut(mesh, feet))


def row(name: str, tray: Tray) -> tuple[str, bool | None]:
    """A line of the table, and whether all limits are kept; None without a body."""
    result = tray.result
    stops = sorted({f.code for f in result.findings if f.verdict == "stop"})
    if result.sound is None:
        return f"{name:<24} no body: {', '.join(stops)}", None
    low = min(gap.percentiles_mm[0] - gap.asked_mm for gap in result.gaps)
    high = max(gap.percentiles_mm[2] - gap.asked_mm for gap in result.gaps)
    pins = min(pin.swept_mm for pin in result.pins) - result.asked.pin_relief_mm
    sound, touch = result.sound, [stop.gap_mm for stop in result.stops if stop.gap_mm is not None]
    faults = sound.open_edges + sound.wrong_edges + sound.twins + sound.parts - 1
    kept = max(-low, high) <= GAP_MM and pins >= PIN_MM and sound.collisions == 0 and faults == 0
    kept = kept and sound.genus == sound.genus_designed and sound.second_opinion.startswith("no error")
    words = f"{low:>+8.3f} {high:>+8.3f} {pins:>+8.4f} {sound.collisions:>5} {faults:>6} {sound.genus:>3}/"
    words += f"{sound.genus_designed:<3} {sound.thinnest_mm:>6.2f} {max(touch, default=0.0):>7.3f}"
    return f"{name:<24}{words}  {'kept' if kept else 'MISSED'} {' '.join(stops)}", kept


def rows() -> Iterator[tuple[str, bool | None]]:
    """Every tray."""
    for name in ("front", "span"):
        for seed in SEEDS:
            yield row(f"{name} seed {seed}", made(build(name, seed=seed)))
    kinds: tuple[tuple[str, Cut | None, Turn | None], ...] = (
        ("half arch", half, None),
        ("seven holes", holed, None),
        ("ragged rim", ragged, None),
        ("draw 12 deg off", None, aslant),
    )
    for name in ("front", "span"):
        for kind, cut, turn in kinds:
            for seed in (None, 3, 11):
                words = " ".join((name, str(seed or ""), kind)).replace("  ", " ")
                try:
                    yield row(words, made(build(name, seed=seed), cut, turn))
                except PinseatError as refused:
                    yield f"{words:<24} refused: {refused}", None
        yield row(f"{name} 1,000,000", made(build(name, triangles=1_000_000)))


def main() -> None:
    """A line a tray, and how many kept every limit."""
    heads = f"{'gap p1':>8} {'p99 mm':>8} {'pins mm':>8} {'hits':>5} {'faults':>6} {'genus':>7} {'wall':>6}"
    print(f"{'':<24}{heads} {'touch':>7}")
    seen = []
    for words, fine in rows():
        print(words, flush=True)
        seen.append(fine)
    made_of = [fine for fine in seen if fine is not None]
    print(
        f"{sum(made_of)} of {len(made_of)} within {GAP_MM:g} mm of the gap and {-PIN_MM:g} mm of the pins' "
        f"clearance, no hit, as many openings as designed; {len(seen) - len(made_of)} without a body"
    )
