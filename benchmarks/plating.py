"""The plating field: against a finite-element library on a clean cup, by the number of cells, and on a scan.

The clean cup is square, 6 mm wide and 8 mm deep, so that bricks fit it exactly; a quarter of it is solved
with Butler-Volmer kinetics on both electrodes at one voltage. The library assembles bricks of the first order
on a graded grid and solves each Newton step with its sparse direct solver, as its examples do.
"""

from __future__ import annotations

import argparse
import time

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


def square_cup(edge_mm: float) -> Geometry:
    """A quarter of the square cup under a plane anode."""
    outline = HALF * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    whole = ideal_cups([Cup("cup", DEEP, outline_mm=outline)], metal_mm=edge_mm, rubber_mm=2.0 * edge_mm)
    return Geometry(
        np.array([0.0, 0.0, ANODE - 41.6]), np.array([TANK, TANK, ANODE]), whole.bodies, whole.electrodes,
        (RUBBER, RUBBER, RUBBER, RUBBER, RUBBER, 0), None, edge_mm, 2.0 * edge_mm, 3.2, zone=whole.zone,
    )  # fmt: skip


def ours(edge_mm: float) -> tuple[float, int]:
    """Floor (without its corners) over the band from 1.2 to 0.4 mm below the mouth, and cells."""
    field = solve_cells(prepare(square_cup(edge_mm)), BATH, Drive(voltage_V=VOLT)).field
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


def general(edge_mm: float) -> tuple[float, int]:
    """The same by the finite-element library."""
    across = np.linspace(0.0, HALF, round(HALF / edge_mm) + 1)
    x = np.concatenate((across, graded(HALF, TANK, edge_mm, 3.0)[1:]))
    z = np.linspace(-DEEP, 0.0, round(DEEP / edge_mm) + 1)
    z = np.concatenate((z, graded(0.0, ANODE, edge_mm, 3.0)[1:]))
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


def scanned(edge_mm: float, steps: int) -> None:
    """From the scan of the demo to the first map, and to the end of ten hours."""
    scenario = build("front", triangles=350_000)
    assert scenario.mesh is not None
    assert scenario.truth is not None
    pins = tuple(
        Pin(p.tooth, p.number, p.foot, p.axis, p.diameter_mm, p.protrusion_mm, 0.0, 0.0, 0.0)
        for p in scenario.truth.pins
    )
    pin_field = PinField(pins, np.zeros((4 * len(pins),) * 2), "scan")
    for turn in ("first run", "second"):
        start = seconds()
        mesh = working_copy(scenario.mesh).mesh
        made = scanned_cups(
            scenario.case, pieces_of(scenario.case), mesh, pin_field, scenario.truth.draw, edge_mm
        )
        cells = prepare(made.cups.geometry)
        before = seconds()
        field: Field = solve_cells(cells, BATH, Drive(current_mA=20.0)).field
        solving, whole = since(before), since(start)
        print(
            f"scan {len(scenario.mesh.faces):,} triangles, {field.cells:,} cells, {turn}: to first map "
            f"{whole[0]:.1f} s ({whole[1]:.1f} s of processor), "
            f"nonlinear solve {solving[0]:.1f} ({solving[1]:.1f})"
        )
    if steps:
        start = seconds()
        grown = grow(made.cups.geometry, BATH, [Stage(10.0, Drive(current_mA=20.0))], steps=steps)
        wall, processor = since(start)
        print(
            f"10 h in {steps} steps: {wall:.0f} s ({processor:.0f} s of processor), "
            f"closure {100 * grown.closure:+.3f} %, largest stretch {100 * grown.correction:.1f} %, "
            f"minimum {grown.minimum_mm[-1]:.3f} mm, "
            f"mean {grown.mean_mm[-1]:.3f} mm"
        )


def main() -> None:
    """Three sizes of each; the library would need 200,000 unknowns for the third and is left out there."""
    print("clean cup   ours: cells  floor/rim   s cpu   general: unknowns  floor/rim   s cpu  ratio")
    for edge in (0.4, 0.2, 0.1):
        ours(edge)
        start = seconds()
        ratio, cells = ours(edge)
        mine = since(start)[1]
        line = f"{edge:>7.2f} mm {cells:>12,} {ratio:>10.4f} {mine:>7.2f}"
        if edge >= 0.2:
            start = seconds()
            other, unknowns = general(edge)
            theirs = since(start)[1]
            line += f" {unknowns:>19,} {other:>10.4f} {theirs:>7.2f} {theirs / mine:>6.1f}"
        print(line)
    print("cells against seconds of processor (solve alone, and for each 100,000 cells)")
    for edge in (0.4, 0.2, 0.1):
        pair = ideal_cups([Cup("a", 6.0, 7.0, at_mm=(-5.0, 0.0)), Cup("b", 4.0, 6.0, at_mm=(5.0, 0.0))],
                          metal_mm=edge, rubber_mm=2.0 * edge)  # fmt: skip
        cells = prepare(pair)
        start = seconds()
        field = solve_cells(cells, BATH, Drive(current_mA=25.0)).field
        spent = since(start)[1]
        print(f"{edge:>7.2f} mm {field.cells:>10,} {spent:>7.2f} {1e5 * spent / field.cells:>6.3f}")
    scanned(0.2, 30)
    print(f"memory of a scan to its first map: {peak_mb('-m', 'benchmarks.plating', '--map'):.0f} MB")


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--map", action="store_true", help="only the scan to its first map")
    scanned(0.2, 0) if parser.parse_args().map else main()
