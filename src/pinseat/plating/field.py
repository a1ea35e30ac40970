"""The secondary current distribution: conduction in the liquid, polarisation at the metal.

Where the current goes is decided by the resistance of the liquid and by how steeply the metal polarises
(Wagner, J. Electrochem. Soc. 98 (1951) 116, from memory). Supply of metal ions is not in it: see
`limiting_A_m2`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pinseat.errors import PlatingError
from pinseat.numerics.cutcell import Cut
from pinseat.numerics.electrode import (
    TOLERANCE,
    Branches,
    Network,
    Preconditioner,
    Solution,
)
from pinseat.numerics.laplace import conduction
from pinseat.numerics.laws import overpotential
from pinseat.plating.cells import Cells, Elements, check_open, cut_open, prepare
from pinseat.plating.film import with_films
from pinseat.plating.kinetics import laws
from pinseat.plating.model import Drive, Electrolyte, Field, Float, Geometry, Int, Kinetics, Surface

_FIRST_GUESS_A_M2 = 50.0
_PARTS = (0.01, 0.03, 0.1, 0.2, 0.4, 0.7, 1.0)


@dataclass(frozen=True, eq=False)
class Nodes:
    """Which electrodes share a potential, and what holds it.

    Attributes
    ----------
    of : (e,) int array
        Node of each electrode.
    fixed_V : (q,) array
        NaN where the current is given instead.
    injected_A : (q,) array
        What a free node gives to the liquid.
    """

    of: Int
    fixed_V: Float
    injected_A: Float


@dataclass(frozen=True, eq=False)
class Solved:
    """A solution with all that is needed to go on from it.

    Attributes
    ----------
    cells : Cells
    field : Field
    elements : Elements
    cut : Cut
    solution : Solution
    preconditioner : callable or None
    """

    cells: Cells
    field: Field
    elements: Elements
    cut: Cut
    solution: Solution
    preconditioner: Preconditioner | None


def solve(geometry: Geometry, electrolyte: Electrolyte, drive: Drive) -> Field:
    """Solve for the current distribution.

    Parameters
    ----------
    geometry : Geometry
    electrolyte : Electrolyte
    drive : Drive

    Returns
    -------
    Field

    Raises
    ------
    PlatingError
        Without cathode, anode or current; when a piece has no bare metal that the bath reaches; when the
        solution does not converge, with its residual.

    Examples
    --------
    >>> from pinseat.plating.cups import Cup, ideal_cups
    >>> cup = ideal_cups([Cup("cup", 4.0, 7.0)], metal_mm=0.8, rubber_mm=0.8)
    >>> found = solve(cup, Electrolyte(), Drive(current_mA=10.0))
    >>> round(found.current_mA["cup"], 3), found.mean_A_m2("cup", "rim") > found.mean_A_m2("cup", "floor")
    (10.0, True)
    """
    return solve_cells(prepare(geometry), electrolyte, drive).field


def solve_cells(
    cells: Cells, electrolyte: Electrolyte, drive: Drive, before: Solved | None = None, bare: bool = False
) -> Solved:
    """Solve on cells that have been prepared.

    Parameters
    ----------
    cells : Cells
    electrolyte : Electrolyte
    drive : Drive
    before : Solved, optional
        On the same cells, a moment earlier, to start from.
    bare : bool
        Whether films still have their sheet resistance.

    Returns
    -------
    Solved

    Raises
    ------
    PlatingError
        See :func:`solve`.
    """
    nodes = nodes_of(cells.geometry, drive)
    if before is not None and before.cells is cells:
        now, found = before.cut, before.elements
    else:
        now, found, pocket = cut_open(cells)
        check_open(cells, pocket, found)
    role = np.array([e.role == "anode" for e in cells.geometry.electrodes], np.int64)[found.electrode]
    mean = _means(cells.geometry, drive, found)[found.electrode] * np.where(role == 1, -1.0, 1.0)
    network = _network(cells, now, found, nodes, electrolyte, role, bare)
    start = None
    if before is not None and len(before.solution.potential_V) == network.size:
        start, network.preconditioner = before.solution, before.preconditioner
    guess = np.zeros(len(network.branches.start))
    guess[: len(mean)] = overpotential(mean, role, network.laws)
    solution = network.solve(guess, start)
    if not solution.converged and start is None:
        solution = _raised(network, guess)
    if not solution.converged:
        raise PlatingError(
            "the current distribution did not converge, so there is no map",
            value=f"residual {solution.residual:.2g} of the current after {solution.newton} steps",
            limit=f"at most {TOLERANCE:.0e}",
            do="lower the current, or check conductivity and exchange current",
        )
    return Solved(cells, _field(cells, found, nodes, solution), found, now, solution, network.preconditioner)


def _raised(network: Network, guess: Float) -> Solution:
    """Raise the current to its value in steps: a poor film has most of it at its lead, far from any guess."""
    whole, start = network.injected, None
    for part in _PARTS:
        network.injected = part * whole
        solution = network.solve(guess, start)
        if not solution.converged:
            break
        start = solution
    return solution


def _network(
    cells: Cells, now: Cut, found: Elements, nodes: Nodes, electrolyte: Electrolyte, role: Int, bare: bool
) -> Network:
    """Liquid, electrodes and bare films: a branch for each element, then one for each contact of a film."""
    matrix = conduction(cells.tree, cells.faces, now, 1e-3 * electrolyte.conductivity_S_m)
    film, touch = np.full(len(found.cell), -1, np.int64), np.empty(0, np.int64)
    at, conductance = touch, np.empty(0)
    if bare and any(e.sheet_ohm > 0.0 for e in cells.geometry.electrodes):
        matrix, film, touch, at, conductance = with_films(matrix, cells, now, found)
    none = np.full(len(touch), -1, np.int64)
    branches = Branches(
        np.concatenate((found.cell, touch)),
        np.concatenate((film, none)),
        np.concatenate((nodes.of[found.electrode], nodes.of[at])),
        np.concatenate((role, none + 3)),
        np.concatenate((1e-6 * found.area_mm2, conductance)),
        np.concatenate((1e-3 * found.gap_mm / electrolyte.conductivity_S_m, np.zeros(len(touch)))),
    )
    contact = Kinetics("linear", resistance_ohm_m2=1.0)
    every = laws([electrolyte.cathode, electrolyte.anode, contact])
    return Network(matrix, branches, every, nodes.fixed_V, nodes.injected_A)


def nodes_of(geometry: Geometry, drive: Drive) -> Nodes:
    """Which electrodes share a potential; the cathodes of the main supply, or else an anode, are at 0 V.

    Raises
    ------
    PlatingError
        Without cathode, without anode, or without a current to drive.
    """
    electrodes = geometry.electrodes
    names = [e.name for e in electrodes]
    unknown = [name for name in drive.own_mA if name not in names]
    if unknown:
        raise PlatingError("there is no electrode of this name", value=unknown[0], limit=", ".join(names))
    for role, missing in (("cathode", "there is no cathode"), ("anode", "there is no anode")):
        if not any(e.role == role for e in electrodes):
            raise PlatingError(missing, do=f"state a {role}")
    own = [name for name in names if name in drive.own_mA]
    head = [e.with_ if e.with_ else e.name for e in electrodes]
    groups = [name if name in own else ("", electrodes[names.index(name)].role) for name in head]
    order = list(dict.fromkeys(groups))
    fixed, injected = np.full(len(order), np.nan), np.zeros(len(order))
    cathodes, anodes = (
        order.index(("", role)) if ("", role) in order else -1 for role in ("cathode", "anode")
    )
    for place, group in enumerate(order):
        if isinstance(group, str):
            sign = 1.0 if electrodes[names.index(group)].role == "anode" else -1.0
            injected[place] = 1e-3 * sign * drive.own_mA[group]
    if cathodes >= 0 and anodes >= 0:
        if (drive.current_mA is None) == (drive.voltage_V is None):
            raise PlatingError("the supply is set to nothing, or to two things", do="give current or voltage")
        if drive.voltage_V is not None:
            fixed[anodes] = drive.voltage_V
        else:
            injected[anodes] = 1e-3 * float(drive.current_mA or 0.0)
    fixed[cathodes if cathodes >= 0 else anodes if anodes >= 0 else 0] = 0.0
    return Nodes(np.array([order.index(group) for group in groups]), fixed, injected)


def _means(geometry: Geometry, drive: Drive, found: Elements) -> Float:
    """About what density each electrode carries, A/m2."""
    area = np.bincount(found.electrode, found.area_mm2, minlength=len(geometry.electrodes))
    mean = np.full(len(area), _FIRST_GUESS_A_M2)
    for role in ("cathode", "anode"):
        mine = np.array([e.role == role and e.name not in drive.own_mA for e in geometry.electrodes])
        if drive.current_mA is not None and mine.any():
            mean[mine] = 1e3 * drive.current_mA / area[mine].sum()
    for number, electrode in enumerate(geometry.electrodes):
        if electrode.name in drive.own_mA:
            mean[number] = 1e3 * drive.own_mA[electrode.name] / area[number]
    return np.maximum(mean, 1e-6)


def _field(cells: Cells, found: Elements, nodes: Nodes, solution: Solution) -> Field:
    electrodes = cells.geometry.electrodes
    density = solution.density_A_m2[: len(found.cell)]
    into = np.bincount(found.electrode, 1e-3 * found.area_mm2 * density, minlength=len(electrodes))
    area = np.bincount(found.electrode, found.area_mm2, minlength=len(electrodes))
    band = np.full(len(found.cell), -1, np.int64)
    if cells.geometry.zone is not None:
        band = cells.geometry.zone(found.point, found.electrode)
    node_V = solution.node_V[nodes.of]
    cathodes = [n for n, e in enumerate(electrodes) if e.role == "cathode"]
    anodes = [n for n, e in enumerate(electrodes) if e.role == "anode"]
    sign = [-1.0 if e.role == "anode" else 1.0 for e in electrodes]
    return Field(
        electrodes,
        Surface(found.point, found.normal, found.area_mm2, found.electrode, band),
        density,
        solution.overpotential_V[: len(found.cell)],
        {e.name: float(sign[n] * into[n]) for n, e in enumerate(electrodes)},
        {e.name: float(area[n]) for n, e in enumerate(electrodes)},
        {e.name: float(node_V[n]) for n, e in enumerate(electrodes)},
        float(node_V[anodes[0]] - node_V[cathodes[0]]),
        len(cells.tree.width),
        solution.residual,
        solution.newton,
        solution.cg,
    )
