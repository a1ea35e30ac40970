"""The plating field: against a finite-element library on a clean cup, by the number of cells, and on a scan.

The clean cup is square, 6 mm wide and 8 mm deep, so that bricks fit it exactly; a quarter of it is solved
with Butler-Volmer kinetics on both electrodes at one voltage. The library assembles bricks of the first order
and solves each Newton step by its own conjugate gradients. Both are held to its grid with bricks that
shrink to 0.05 mm at every edge; halving all of those moves it by 0.14 %. Our cells lose current at the mouth,
where the field is singular, in proportion to their size, and through the steps in cell size outside: so the
last row of ours has cells of 0.1 mm graded half as fast.
"""

from __future__ import annotations

import argparse
import time
from functools import cache, partial

import numpy as np
import skfem
from numpy.typing import NDArray
from skfem.helpers import dot, grad

from benchmarks.machine import peak_mb
from pinseat.demo.cases import build
from pinseat.ledger.pins import Pin, PinField
from pinseat.mesh.working_copy import working_copy
from pinseat.plating.cells import prepare
from pinseat.plating.cups import Cup, ideal_cups
from pinseat.plating.field import solve_cells
from pinseat.plating.growth import grow
from pinseat.plating.kinetics import FARADAY_C_MOL, GAS_J_MOL_K
from pinseat.plating.model import RUBBER, Drive, Electrolyte, Field, Geometry, Stage
from pinseat.plating.pieces import pieces_of
from pinseat.plating.scanned import scanned_cups

Float = NDArray[np.float64]
HALF, DEEP, ANODE, TANK, FLOOR = 3.0, 8.0, 30.4, 19.2, 2.4
VOLT = 0.35
BATH = Electrolyte()


def seconds() -> tuple[float, float]:
    """Of the clock on the wall, and of the processor."""
    return time.perf_counter(), time.process_time()


def since(start: tuple[float, float]) -> tuple[float, float]:
    return time.perf_counter() - start[0], time.process_time() - start[1]


def square_cup(edge_mm: float, grading: float) -> Geometry:
    """A quarter of the square cup under a plane anode."""
    outline = HALF * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    whole = ideal_cups([Cup("cup", DEEP, outline_mm=outline)], metal_mm=edge_mm, rubber_mm=2.0 * edge_mm)
    return Geometry(
        np.array([0.0, 0.0, ANODE - 41.6]), np.array([TANK, TANK, ANODE]), whole.bodies, whole.electrodes,
        (RUBBER, RUBBER, RUBBER, RUBBER, RUBBER, 0), None, edge_mm, 2.0 * edge_mm, 3.2, zone=whole.zone,
        grading=grading,
    )  # fmt: skip


def ours(edge_mm: float, grading: float) -> tuple[float, int]:
    """Floor (without its corners) over the band from 1.2 to 0.4 mm below the mouth, and cells."""
    field = solve_cells(prepare(square_cup(edge_mm, grading)), BATH, Drive(voltage_V=VOLT)).field
    z, area = field.surface.point[:, 2], field.surface.area_mm2
    cup = field.surface.electrode == 1
    x, y = field.surface.point[:, 0], field.surface.point[:, 1]
    floor = cup & (z < -DEEP + 0.05) & (x < FLOOR) & (y < FLOOR)
    rim = cup & (z > -1.2) & (z < -0.4)
    mean = [field.density_A_m2[w] @ area[w] / area[w].sum() for w in (floor, rim)]
    return float(mean[0] / mean[1]), field.cells


def graded(low: float, high: float, fine: float, coarse: float) -> Float:
    """Places from fine to coarse steps."""
    step, place = fine, [low]
    while place[-1] < high - 1e-9:
        place.append(place[-1] + step)
        step = min(1.3 * step, coarse)
    return np.array(place) * 1.0 + (np.array(place) - low) / (place[-1] - low) * (high - place[-1])


def even(edge_mm: float) -> tuple[Float, Float]:
    """Grid lines of even bricks in the cup."""
    across = np.linspace(0.0, HALF, round(HALF / edge_mm) + 1)
    deep = np.linspace(-DEEP, 0.0, round(DEEP / edge_mm) + 1)
    outer = (graded(low, high, edge_mm, 3.0)[1:] for low, high in ((HALF, TANK), (0.0, ANODE)))
    return tuple(np.concatenate(pair) for pair in zip((across, deep), outer, strict=True))  # type: ignore[return-value]


def to_edges() -> tuple[Float, Float]:
    """Grid lines that grow closer towards every edge of the cup."""
    near = np.array([0.2, 0.1, 0.05])
    across = np.concatenate((np.linspace(0.0, 2.4, 9), HALF - 2.0 * near[:1], HALF - near, [HALF]))
    inner = np.linspace(-7.6, -0.2, 38)
    deep = np.concatenate((-DEEP + np.concatenate(([0.0], near[::-1])), inner, [-0.1, -0.05, 0.0]))
    outer = (graded(low, high, 0.05, 3.0)[1:] for low, high in ((HALF, TANK), (0.0, ANODE)))
    return tuple(np.concatenate(pair) for pair in zip((across, deep), outer, strict=True))  # type: ignore[return-value]


def general(x: Float, z: Float) -> tuple[float, int]:
    """The same by the finite-element library, on a grid of bricks."""
    grid = skfem.MeshHex.init_tensor(x, x, z)
    middle = grid.p[:, grid.t].mean(axis=1)
    liquid = (middle[2] > 0.0) | ((middle[0] < HALF) & (middle[1] < HALF))
    mesh = grid.restrict(np.flatnonzero(liquid))
    side = mesh.boundary_facets()
    at = mesh.p[:, mesh.facets[:, side]].mean(axis=1)
    floor = at[2] < -DEEP + 1e-6
    wall = (at[2] < 0.0) & ((at[0] > HALF - 1e-6) | (at[1] > HALF - 1e-6))
    element = skfem.ElementHex1()
    basis = skfem.Basis(mesh, element)
    cathode = skfem.FacetBasis(mesh, element, facets=side[floor | wall])
    anode = skfem.FacetBasis(mesh, element, facets=side[at[2] > ANODE - 1e-6])
    u = _newton(basis, cathode, anode)
    inner = floor & (at[0] < FLOOR) & (at[1] < FLOOR)
    rim = wall & (at[2] > -1.2) & (at[2] < -0.4)
    parts = [skfem.FacetBasis(mesh, element, facets=side[which]) for which in (inner, rim)]
    means = []
    for part in parts:
        v = part.interpolate(u)
        density = skfem.Functional(lambda w: _density(w["o"])[0]).assemble(part, o=v)
        means.append(density / skfem.Functional(lambda w: 1.0 + 0.0 * w["o"]).assemble(part, o=v))
    return float(means[0] / means[1]), len(u)


def _density(v: Float) -> tuple[Float, Float]:
    """Butler-Volmer, A/mm2, and its slope."""
    up = 0.5 * FARADAY_C_MOL / (GAS_J_MOL_K * 298.15)
    return 2e-6 * 10.0 * np.sinh(up * v), 2e-6 * 10.0 * up * np.cosh(up * v)


def _newton(basis: skfem.Basis, cathode: skfem.FacetBasis, anode: skfem.FacetBasis) -> Float:
    kappa = 1e-3 * BATH.conductivity_S_m
    stiff = skfem.BilinearForm(lambda u, v, w: kappa * dot(grad(u), grad(v))).assemble(basis)
    slope = skfem.BilinearForm(lambda u, v, w: _density(w["o"])[1] * u * v)
    flow = skfem.LinearForm(lambda v, w: _density(w["o"])[0] * v)
    u = np.full(basis.N, 0.5 * VOLT)
    for _ in range(30):
        r = stiff @ u
        k = stiff.copy()
        for part, at_V in ((cathode, 0.0), (anode, VOLT)):
            over = part.interpolate(u - at_V)
            r = r + flow.assemble(part, o=over)
            k = k + slope.assemble(part, o=over)
        step = skfem.solve(k, -r, solver=skfem.solver_iter_pcg(rtol=1e-8))
        u = u + step
        if np.abs(step).max() < 1e-9:
            return u
    raise RuntimeError("the finite elements did not converge")


def clean_cup() -> None:
    """Ours at three sizes and graded more slowly, the library at two sizes, both against its finest grid."""
    exact, unknowns = general(*to_edges())
    print(
        f"clean cup, floor over rim; {exact:.4f} by the library with {unknowns:,} unknowns, graded to edges"
    )
    print("             cells or unknowns  floor/rim   off by   s cpu")
    rows = [(f"ours {edge:g} mm", partial(ours, edge, 2.0)) for edge in (0.4, 0.2, 0.1)]
    rows.append(("ours 0.1 fine", partial(ours, 0.1, 4.0)))
    rows += [(f"library {edge:g}", partial(general, *even(edge))) for edge in (0.4, 0.2)]
    for name, call in rows:
        if name.startswith("ours"):
            call()
        start = seconds()
        ratio, size = call()
        spent = since(start)[1]
        print(f"{name:<14} {size:>15,} {ratio:>10.4f} {100.0 * (ratio / exact - 1.0):>+7.2f} % {spent:>7.2f}")


def by_cells() -> None:
    """What it costs from bodies to field, at four sizes; the best of two, and how far from in proportion."""
    print("cells against seconds of processor, from bodies to field")
    found = []
    for edge in (0.22, 0.16, 0.115, 0.082):
        spent = []
        for _ in range(2):
            pair = ideal_cups([Cup("a", 6.0, 7.0, at_mm=(-5.0, 0.0)), Cup("b", 4.0, 6.0, at_mm=(5.0, 0.0))],
                              metal_mm=edge, rubber_mm=2.0 * edge, bath_mm=16.0 * edge)  # fmt: skip
            start = seconds()
            cells = prepare(pair)
            ready = since(start)[1]
            field = solve_cells(cells, BATH, Drive(current_mA=25.0)).field
            spent.append((since(start)[1], ready))
        whole, ready = min(spent)
        found.append((field.cells, whole))
        print(
            f"{edge:>7.3f} mm {field.cells:>10,} {whole:>7.2f} s, of which solve {whole - ready:>6.2f} s; "
            f"{1e5 * whole / field.cells:.3f} s for 100,000 cells"
        )
    each = np.array([whole / cells for cells, whole in found])
    middle = 0.5 * (each.min() + each.max())
    print(f"from {found[0][0]:,} to {found[-1][0]:,} cells within {100 * (each.max() / middle - 1):.0f} % "
          "of in proportion")  # fmt: skip


def cups_of(name: str, edge_mm: float, triangles: int = 350_000) -> tuple[Geometry, int]:
    """From the scan of a demo to its cups, and how many triangles that has."""
    scenario = scan_of(name, triangles)
    assert scenario.mesh is not None
    assert scenario.truth is not None
    pins = tuple(
        Pin(p.tooth, p.number, p.foot, p.axis, p.diameter_mm, p.protrusion_mm, 0.0, 0.0, 0.0)
        for p in scenario.truth.pins
    )
    field = PinField(pins, np.zeros((4 * len(pins),) * 2), "scan")
    mesh = working_copy(scenario.mesh).mesh
    pieces = pieces_of(scenario.case)
    made = scanned_cups(scenario.case, pieces, mesh, field, scenario.truth.draw, edge_mm)
    return made.cups.geometry, len(scenario.mesh.faces)


scan_of = cache(lambda name, triangles: build(name, triangles=triangles))


def first_map() -> Geometry:
    """From a dirty scan to its first map, twice: the first run compiles."""
    scan_of("front", 350_000)
    for turn in ("first run", "second"):
        start = seconds()
        geometry, triangles = cups_of("front", 0.2)
        cells = prepare(geometry)
        before = seconds()
        field: Field = solve_cells(cells, BATH, Drive(current_mA=20.0)).field
        solving, whole = since(before), since(start)
        print(
            f"scan of {triangles:,} triangles, {field.cells:,} cells of 0.2 mm, {turn}: to first map "
            f"{whole[0]:.1f} s ({whole[1]:.1f} s of processor), "
            f"nonlinear solve {solving[0]:.1f} ({solving[1]:.1f})"
        )
    return geometry


def grown(name: str, geometry: Geometry, steps: int) -> None:
    """Ten hours with the surface moving, and how well the metal is kept."""
    start = seconds()
    found = grow(geometry, BATH, [Stage(10.0, Drive(current_mA=20.0))], steps=steps)
    wall, processor = since(start)
    pieces = [
        found.grown_by_mm3[one] / (1e3 * mass / BATH.density_g_cm3) - 1.0
        for one, mass in found.mass_by_g.items()
    ]
    print(
        f"{name}, 10 h in {steps} steps, {geometry.metal_mm:g} mm: {wall:.0f} s "
        f"({processor:.0f} s of processor); "
        f"metal less charge {100 * found.closure:+.4f} %, worst piece {100 * max(map(abs, pieces)):.1f} %, "
        f"densities alone {100 * found.correction:.0f} %; "
        f"minimum {found.minimum_mm[-1]:.3f}, mean {found.mean_mm[-1]:.3f} mm"
    )


def main() -> None:
    """Every figure in turn."""
    clean_cup()
    by_cells()
    geometry = first_map()
    for name in ("front", "span"):
        grown(name, cups_of(name, 0.4)[0], 12)
    grown("front", geometry, 30)
    print(f"memory of a scan to its first map: {peak_mb('-m', 'benchmarks.plating', '--map'):.0f} MB")


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--map", action="store_true", help="only the scan to its first map")
    first_map() if parser.parse_args().map else main()
