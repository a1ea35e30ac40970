"""A scanner: white noise, a smooth warp, gaps, a ragged rim, a speck in the air, and a pose of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.demo.solids import dot, turn
from pinseat.demo.surface import largest, used
from pinseat.mesh.model import Mesh

Float = NDArray[np.float64]


@dataclass(frozen=True)
class Scanner:
    """How a scanner sees.

    Attributes
    ----------
    noise_um : float
        Standard deviation of the white noise along the normals.
    warp_um : float
        Largest displacement of the smooth warp over the scan.
    holes : int
        Places not captured.
    speck : bool
        Whether a crumb floats in the air.
    posed : bool
        Whether the scan lies anyhow in space.
    """

    noise_um: float = 10.0
    warp_um: float = 30.0
    holes: int = 5
    speck: bool = True
    posed: bool = True


@dataclass(frozen=True, eq=False)
class Placing:
    """From the model to the scan: a smooth warp, then a rigid pose.

    Attributes
    ----------
    middle, size : (3,) arrays
        Of the model; the warp is written in (point - middle) / size.
    bend : (3, 10) array
        Weights of the polynomials up to third order that make the warp, mm.
    rotation : (3, 3) array
    shift : (3,) array
    """

    middle: Float
    size: Float
    bend: Float
    rotation: Float
    shift: Float

    def points(self, points: Float) -> Float:
        """Model points in the scan, (n, 3)."""
        moved = (points + _warp(self.bend, (points - self.middle) / self.size)).T
        return turn(self.rotation, moved).T + self.shift

    def directions(self, directions: Float) -> Float:
        """Unit normals of the model, (n, 3), in the scan; the warp turns them by some 0.02 deg more."""
        return turn(self.rotation, directions.T).T


def _warp(bend: Float, p: Float) -> Float:
    x, y, z = p.T
    terms = (x * x, y * y, x * y, x * z, y * z, x**3, y**3, x * x * y, x * y * y, x * y * z)
    total = np.zeros_like(p)
    for weight, term in zip(bend.T, terms, strict=True):
        total += term[:, None] * weight
    return total


def placing(vertices: Float, scanner: Scanner, rng: np.random.Generator) -> Placing:
    """Draw a warp and a pose.

    Parameters
    ----------
    vertices : (n, 3) array
        The model.
    scanner : Scanner
    rng : numpy.random.Generator

    Returns
    -------
    Placing
    """
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    middle, size = 0.5 * (low + high), np.full(3, 0.5 * float((high - low).max()))
    bend = rng.normal(size=(3, 10))
    largest_mm = np.linalg.norm(_warp(bend, (vertices - middle) / size), axis=1).max()
    bend *= 1e-3 * scanner.warp_um / largest_mm
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    q[:, 0] *= np.sign(np.linalg.det(q))
    shift = rng.uniform(-40.0, 40.0, size=3)
    if not scanner.posed:
        q, shift = np.eye(3), np.zeros(3)
    return Placing(middle, size, bend, q, shift)


def ragged(points: Float, rng: np.random.Generator) -> Float:
    """How far the rim of a scan strays inward at each place, 0 to 1.7 mm.

    Parameters
    ----------
    points : (n, 3) array
    rng : numpy.random.Generator

    Returns
    -------
    (n,) array, mm
    """
    total = np.full(len(points), 0.85)
    for wavelength, height in ((9.0, 0.35), (4.0, 0.25), (1.7, 0.15), (0.7, 0.1)):
        for _ in range(2):
            wave = rng.normal(size=3)
            wave *= 2.0 * np.pi / wavelength / np.linalg.norm(wave)
            total += 0.5 * height * np.sin(dot(wave, points.T) + rng.uniform(0.0, 6.28))
    return total


def pierce(
    mesh: Mesh, count: int, hidden: NDArray[np.intp], rng: np.random.Generator
) -> tuple[Mesh, tuple[tuple[Float, float], ...]]:
    """Leave out small places, as where the scanner did not look.

    Parameters
    ----------
    mesh : Mesh
    count : int
    hidden : (k,) array
        Vertices round which a place may be left out.
    rng : numpy.random.Generator

    Returns
    -------
    mesh : Mesh
        With all vertices, fewer faces.
    holes : tuple of (centre, radius)
    """
    seen = np.ones(len(mesh.faces), bool)
    holes = []
    for _ in range(count):
        centre = mesh.vertices[hidden[rng.integers(len(hidden))]]
        radius = float(rng.uniform(0.3, 0.7))
        offset = mesh.vertices - centre
        away = np.sqrt((offset * offset).sum(axis=1))
        inside = away < radius * (1.0 + 0.25 * np.sin(7.0 * offset[:, 0] / radius + rng.uniform(0.0, 6.0)))
        seen &= ~inside[mesh.faces].any(axis=1)
        holes.append((centre, radius))
    return Mesh(mesh.vertices, mesh.faces[seen]), tuple(holes)


def speck(near: Float, rng: np.random.Generator) -> Mesh:
    """A crumb of scanned air, about half a millimetre wide.

    Parameters
    ----------
    near : (3,) array
        Its middle.
    rng : numpy.random.Generator

    Returns
    -------
    Mesh
    """
    golden = (1.0 + 5.0**0.5) / 2.0
    a = [(-1, golden, 0), (1, golden, 0), (-1, -golden, 0), (1, -golden, 0)]
    corners = np.array([*a, *((z, x, y) for x, y, z in a), *((y, z, x) for x, y, z in a)], float)
    faces = [
        (0, 11, 5), (0, 5, 1), (0, 1, 7), (0, 7, 10), (0, 10, 11), (1, 5, 9), (5, 11, 4), (11, 10, 2),
        (10, 7, 6), (7, 1, 8), (3, 9, 4), (3, 4, 2), (3, 2, 6), (3, 6, 8), (3, 8, 9), (4, 9, 5),
        (2, 4, 11), (6, 2, 10), (8, 6, 7), (9, 8, 1),
    ]  # fmt: skip
    bumps = rng.uniform(0.7, 1.3, size=(12, 1))
    return Mesh(near + 0.13 * bumps * corners, np.array(faces, np.int32))


def together(a: Mesh, b: Mesh) -> Mesh:
    """Two meshes as one."""
    faces = np.concatenate([a.faces, b.faces + np.int32(len(a.vertices))])
    return Mesh(np.concatenate([a.vertices, b.vertices]), faces)


def trim(mesh: Mesh, keep: NDArray[np.bool_]) -> Mesh:
    """Keep the faces whose three vertices are kept, in one piece.

    Parameters
    ----------
    mesh : Mesh
    keep : (n,) bool array

    Returns
    -------
    Mesh
    """
    return largest(used(mesh.vertices, mesh.faces[keep[mesh.faces].all(axis=1)]))
