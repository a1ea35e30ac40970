"""From an arch to a scan with known truth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pinseat.demo import scanner as scanning
from pinseat.demo.arch import Arch, Placed
from pinseat.demo.scanner import Placing, Scanner
from pinseat.demo.surface import isosurface, project, relax, split, used, vertex_normals
from pinseat.demo.truth import TrueFace, TruePin, Truth
from pinseat.ledger.faces import FaceKind
from pinseat.mesh.model import Mesh

Float = NDArray[np.float64]
COARSEST_HALVED_MM = 0.16
"""Beyond this the coarse grid would no longer show a pin, and the whole scan gets the same edge length."""
PICKING_MM = 0.07
"""Standard deviation of a pick in each direction, before it falls on the surface."""


def surface(model: Arch, edge_mm: float, rng: np.random.Generator) -> Mesh:
    """The arch as a clean open shell, finer on the prepared teeth.

    Parameters
    ----------
    model : Arch
    edge_mm : float
        Edge length on the prepared teeth; elsewhere twice that, up to :data:`COARSEST_HALVED_MM`.
    rng : numpy.random.Generator
        Draws the ragged rim.

    Returns
    -------
    Mesh
        Vertices within a fraction of a micrometre of the model.
    """
    low, high = model.box()
    halved = edge_mm <= COARSEST_HALVED_MM
    mesh = isosurface(model.distance, model.rim, low, high, (2.15 if halved else 1.075) * edge_mm)
    mesh = scanning.trim(mesh, model.rim(mesh.vertices) > scanning.ragged(mesh.vertices, rng))
    mesh = relax(mesh, 3)
    if halved:
        mesh = split(mesh, _detailed(model, mesh))
    mesh = relax(Mesh(project(model.distance, mesh.vertices, 1), mesh.faces), 2)
    return Mesh(project(model.distance, mesh.vertices, 1), mesh.faces)


def _detailed(model: Arch, mesh: Mesh) -> NDArray[np.bool_]:
    middles = mesh.vertices[mesh.faces].mean(axis=1)
    wanted = np.zeros(len(middles), bool)
    for placed in model.teeth:
        if placed.preparation is None:
            continue
        x, y, z = placed.local(middles.T)
        c = placed.crown
        wanted |= (np.abs(x) < 0.5 * c.width_mm + 0.3) & (np.abs(y) < 0.5 * c.depth_mm + 0.5) & (z > 0.5)
    return wanted


def scan(
    model: Arch,
    picks: Sequence[tuple[FaceKind, int, Float]],
    scanner: Scanner,
    edge_mm: float,
    rng: np.random.Generator,
) -> tuple[Mesh, Truth]:
    """Scan an arch.

    Parameters
    ----------
    model : Arch
    picks : sequence of (kind, tooth, point)
        Places near the surface, in the frame of the tooth's crown, that a person will pick.
    scanner : Scanner
    edge_mm : float
        Edge length around the pins.
    rng : numpy.random.Generator

    Returns
    -------
    Mesh
        In scan coordinates.
    Truth
    """
    clean = surface(model, edge_mm, rng)
    placing = scanning.placing(clean.vertices, scanner, rng)
    spare, normals = _spare(model, clean.vertices), vertex_normals(clean)
    hidden = np.flatnonzero((spare > 1.2) & (normals[:, 2] < 0.35))
    pierced, holes = scanning.pierce(clean, scanner.holes, hidden, rng)
    noise = 1e-3 * scanner.noise_um * rng.normal(size=len(clean.vertices))
    mesh = used(placing.points(clean.vertices + noise[:, None] * normals), pierced.faces)
    if scanner.speck:
        upward = np.flatnonzero((spare > 1.2) & (normals[:, 2] > 0.9))
        air = clean.vertices[upward[rng.integers(len(upward))]] + np.array([[0.0, 0.0, 2.5]])
        mesh = scanning.together(mesh, scanning.speck(placing.points(air)[0], rng))
    faces = _faces(model, picks, placing, rng)
    prepared = [p for p in model.teeth if p.preparation is not None]
    truth = Truth(
        pins=tuple(pin for p in prepared for pin in _pins(p, placing)),
        faces=faces,
        middles={p.crown.tooth: _middle(p, placing) for p in prepared},
        draw=placing.rotation @ (prepared[0].axes.T @ prepared[0].preparation.draw),  # type: ignore[union-attr]
        holes=tuple((placing.points(c[None])[0], r) for c, r in holes),
        edge_mm=edge_mm,
        noise_um=scanner.noise_um,
        warp_um=scanner.warp_um,
        rotation=placing.rotation,
        shift=placing.shift,
    )
    return mesh, truth


def _spare(model: Arch, points: Float) -> Float:
    spare = np.full(len(points), 9.0)
    for placed in model.teeth:
        if placed.preparation is not None:
            c = placed.crown
            x, y, _ = placed.local(points.T)
            part = np.hypot(x / (0.5 * c.width_mm), y / (0.5 * c.depth_mm))
            spare = np.minimum(spare, 4.0 * (part - 1.0))
    return spare


def _pins(placed: Placed, placing: Placing) -> list[TruePin]:
    pins = []
    assert placed.preparation is not None
    for pin in placed.preparation.pins:
        ends = np.stack([pin.foot, pin.foot + pin.protrusion_mm * pin.axis])
        foot, tip = placing.points(placed.world(ends.T).T)
        long = float(np.linalg.norm(tip - foot))
        pins.append(TruePin(placed.crown.tooth, pin.number, foot, (tip - foot) / long, pin.diameter_mm, long))
    return pins


def _middle(placed: Placed, placing: Placing) -> Float:
    c = placed.crown
    q = np.stack([np.zeros(200), np.linspace(c.depth_mm, 0.0, 200), np.full(200, 0.5 * c.length_mm)])
    facing = int(np.argmax(c.closed(q, c.body(q)) < 0.0))
    return placing.points(placed.world(q[:, facing : facing + 1]).T)[0]


def _faces(
    model: Arch,
    picks: Sequence[tuple[FaceKind, int, Float]],
    placing: Placing,
    rng: np.random.Generator,
) -> tuple[TrueFace, ...]:
    if not picks:
        return ()
    points = np.stack([model.placed(tooth).world(q[:, None])[:, 0] for _, tooth, q in picks])
    points = project(model.distance, points + rng.normal(scale=PICKING_MM, size=points.shape), 3)
    small = 1e-3
    rise = [(model.distance(points + small * e) - model.distance(points - small * e)) for e in np.eye(3)]
    normals = np.stack(rise, axis=1)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    normals = placing.directions(normals)
    points = placing.points(points)
    return tuple(
        TrueFace(kind, tooth, p, n) for (kind, tooth, _), p, n in zip(picks, points, normals, strict=True)
    )
