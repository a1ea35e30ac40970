"""Shrinkage towards the tray against elasticity: layers, tubes, and finite elements on a cap of rubber.

The finite elements here are flat ones that follow the true shape, in two dimensions; those that are tested
are cubes in three, cut out of meshes by rays. Both integrate the volume part at the middle (Hughes, The
Finite Element Method, 1987, chapter 4, from memory), and both are held to closed forms first.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import scipy.sparse as sp
from manifold3d import Manifold
from scipy.sparse.linalg import spsolve

from pinseat.impression.block import block_of
from pinseat.mesh.model import Mesh
from pinseat.numerics.cubes import shrunk

TOOTH, TRAY, TALL, TOP = 3.5, 6.1, 8.0, 10.6
"""A tooth as a cylinder of 7 mm, 8 mm tall, under 2.6 mm of rubber all round."""


UP = np.array([0.0, 0.0, 1.0])


def cylinder(radius, low, high, x=0.0):
    return Manifold.cylinder(high - low, radius, circular_segments=256).translate((x, 0.0, low))


def mesh(body):
    found = body.to_mesh()
    return Mesh(np.asarray(found.vert_properties, float)[:, :3], np.asarray(found.tri_verts, np.int32))


def cap(tall=TALL, off=0.0):
    """A tooth and a tray with a lid over it, its wall off the middle by `off`."""
    shell = cylinder(TRAY + 2.0, 0.0, tall + TOP - TALL + 2.0, off)
    return mesh(cylinder(TOOTH, -2.0, tall)), mesh(shell - cylinder(TRAY, -1.0, tall + TOP - TALL, off))


def stiffness(nu):
    """Shear and bulk parts of the elasticity of a body with modulus 1, rows xx, yy, zz, xy."""
    shear, lame = 0.5 / (1 + nu), nu / ((1 + nu) * (1 - 2 * nu))
    volume = np.zeros((4, 4))
    volume[:3, :3] = lame
    return np.diag([2 * shear, 2 * shear, 2 * shear, shear]), volume


def solve(nodes, cells, fixed, nu, *, axisymmetric):
    """Displacement of a body that shrinks by 1 (strain) everywhere; `fixed` degrees of freedom stay."""
    shear, volume = stiffness(nu)
    x = nodes[cells]
    free_strain = np.array([-1.0, -1.0, -1.0, 0.0])

    def rows(a, b):
        shape = np.array([(1 - a) * (1 - b), (1 + a) * (1 - b), (1 + a) * (1 + b), (1 - a) * (1 + b)]) / 4
        slope = np.array([[b - 1, 1 - b, 1 + b, -1 - b], [a - 1, -1 - a, 1 + a, 1 - a]]) / 4
        jacobian = np.einsum("ij,ejk->eik", slope, x)
        g = np.linalg.solve(jacobian, np.broadcast_to(slope, (len(x), 2, 4)))
        strain = np.zeros((len(x), 4, 8))
        strain[:, 0, 0::2], strain[:, 1, 1::2] = g[:, 0], g[:, 1]
        strain[:, 3, 0::2], strain[:, 3, 1::2] = g[:, 1], g[:, 0]
        area = np.abs(np.linalg.det(jacobian))
        if axisymmetric:
            radius = x[:, :, 0] @ shape
            strain[:, 2, 0::2] = shape / radius[:, None]
            area = area * radius
        return strain, area

    point = 1 / math.sqrt(3)
    parts = [(shear, a, b, 1.0) for a in (-point, point) for b in (-point, point)] + [(volume, 0.0, 0.0, 4.0)]
    k, f = np.zeros((len(x), 8, 8)), np.zeros((len(x), 8))
    for material, a, b, weight in parts:
        strain, area = rows(a, b)
        k += np.einsum("eia,ij,ejb,e->eab", strain, material, strain, weight * area)
        f += np.einsum("eia,i,e->ea", strain, material @ free_strain, weight * area)
    degree = np.stack([2 * cells, 2 * cells + 1], axis=-1).reshape(len(cells), 8)
    size = 2 * len(nodes)
    whole = sp.coo_array(
        (k.ravel(), (np.repeat(degree, 8, axis=1).ravel(), np.tile(degree, (1, 8)).ravel())), (size, size)
    ).tocsr()
    load = np.bincount(degree.ravel(), f.ravel(), minlength=size)
    free = np.setdiff1d(np.unique(degree), fixed)
    u = np.zeros(size)
    u[free] = spsolve(whole[free][:, free].tocsc(), load[free])
    return u.reshape(-1, 2)


def across_tube(off, nu, turns=120, rings=24):
    """Plane strain between a free circle and a clamped one whose centre is off by `off`."""
    turn = 2 * np.pi * np.arange(turns) / turns
    way = np.column_stack([np.cos(turn), np.sin(turn)])
    out = off * way[:, 0] + np.sqrt(TRAY**2 - (off * way[:, 1]) ** 2)
    share = np.linspace(0, 1, rings + 1)[:, None, None]
    nodes = ((TOOTH + share * (out[None, :, None] - TOOTH)) * way[None]).reshape(-1, 2)
    at = np.arange((rings + 1) * turns).reshape(rings + 1, turns)
    cells = np.stack([at[:-1], at[1:], np.roll(at[1:], -1, 1), np.roll(at[:-1], -1, 1)], -1).reshape(-1, 4)
    clamped = np.concatenate([2 * at[-1], 2 * at[-1] + 1])
    return solve(nodes, cells, clamped, nu, axisymmetric=False)[:turns]


def under_cap(nu, step=0.2):
    """Axisymmetric: rubber beside and above the tooth, clamped at the tray, free at tooth and border."""
    rings, floors = round(TRAY / step), round(TOP / step)
    r, z = np.linspace(0, TRAY, rings + 1), np.linspace(0, TOP, floors + 1)
    nodes = np.stack(np.meshgrid(r, z, indexing="ij"), axis=-1).reshape(-1, 2)
    at = np.arange(len(nodes)).reshape(rings + 1, floors + 1)
    rubber = np.ones((rings, floors), bool)
    side, top = round(TOOTH / TRAY * rings), round(TALL / TOP * floors)
    rubber[:side, :top] = False
    i, j = np.nonzero(rubber)
    cells = np.column_stack([at[i, j], at[i + 1, j], at[i + 1, j + 1], at[i, j + 1]])
    clamped = np.concatenate([2 * at[-1], 2 * at[-1] + 1, 2 * at[:, -1], 2 * at[:, -1] + 1, 2 * at[0]])
    u = solve(nodes, cells, clamped, nu, axisymmetric=True).reshape(rings + 1, floors + 1, 2)
    return SimpleNamespace(
        side=[float(u[side, round(part * top), 0]) for part in (0.25, 0.5, 0.75)],
        top=[float(u[round(part * side), top, 1]) for part in (0.0, 0.5)],
    )


def plate(nu, wide, thick=2):
    held = np.zeros((wide + 1, wide + 1, thick + 1), bool)
    held[:, :, 0] = True
    return shrunk(np.ones((wide, wide, thick), bool), held, 1.0, nu)[wide // 2, wide // 2]


@pytest.mark.parametrize(("nu", "close"), [(0.0, 1e-3), (1 / 3, 1e-3), (0.45, 5e-3)])
def test_a_wide_plate_moves_as_a_bonded_layer(nu, close):
    # (1 + v) / (1 - v) e z at the height z (thin films, e.g. Timoshenko and Goodier).
    exact = -(1 + nu) / (1 - nu) * np.arange(3.0)
    # A plate 16 times as wide as thick; its rim is felt the farther the nearer the rubber keeps its volume.
    assert plate(nu, 32)[:, 2] == pytest.approx(exact, rel=close, abs=1e-4)


def test_held_all_round_nothing_moves():
    held = np.zeros((9, 9, 9), bool)
    held[[0, -1]] = held[:, [0, -1]] = held[:, :, [0, -1]] = True
    assert np.abs(shrunk(np.ones((8, 8, 8), bool), held, 0.5, 0.3)).max() < 1e-6


def test_a_body_held_at_one_corner_shrinks_by_its_strain():
    # Held in a way that leaves it free to shrink: u = -x exactly.
    held = np.zeros((5, 5, 5), bool)
    held[0, 0, 0] = True
    x = np.stack(np.meshgrid(*[np.arange(5.0)] * 3, indexing="ij"), axis=-1)
    found = shrunk(np.ones((4, 4, 4), bool), held, 1.0, 0.4)
    stretch = np.linalg.norm(found + x, axis=-1)
    # Rotation about the corner stays open and is left at nothing by the load, which has no moment.
    assert stretch.max() < 1e-3


@pytest.mark.parametrize("nu", [0.2, 1 / 3, 0.49])
def test_flat_elements_are_right_on_a_tube(nu):
    # Plane strain, u = A r + B / r with u(b) = 0 and no traction at a.
    factor = -(1 + nu) / (1 + (1 - 2 * nu) * TRAY**2 / TOOTH**2)
    exact = factor * (TOOTH - TRAY**2 / TOOTH)
    # Flat elements, whose borders are chords of the circles: second order in their size.
    assert across_tube(0.0, nu)[0, 0] == pytest.approx(exact, rel=2e-3)


def test_shrunk_rubber_takes_its_volume_from_the_free_surfaces():
    # v = 1/2: what the free circle sweeps is the volume lost, 3 e pi (b^2 - a^2) a unit of length.
    u = across_tube(0.0, 0.4999)[:, 0][0]
    # 0.4999 stands for 1/2, and chords for arcs.
    assert 2 * math.pi * TOOTH * u == pytest.approx(3 * math.pi * (TRAY**2 - TOOTH**2), rel=0.01)


@pytest.mark.parametrize("nu", [1 / 3, 0.49])
def test_cubes_cut_from_meshes_agree_with_flat_elements_under_a_cap(nu):
    tooth, tray = cap()
    block = block_of(tooth, tray, np.array([[0.0, 0.0, TALL]]), UP, TRAY - TOOTH)
    exact = under_cap(nu)
    turn = np.linspace(0.1, 0.1 + 2 * np.pi, 9)[:-1]
    ring = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    places = [TOOTH * ring + part * TALL * UP for part in (0.25, 0.5, 0.75)]
    places += [part * TOOTH * ring + TALL * UP for part in (0.0, 0.5)]
    found = block.moved(np.vstack(places), nu).reshape(5, 8, 3)
    outward = np.einsum("kij,ij->ki", found[:3], ring).mean(axis=1)
    # cubes follow a round wall in steps: a sixth of the strain, and half a side of the cubes
    near = {"rel": 0.16, "abs": 0.5 * block.side_mm}
    assert outward == pytest.approx(exact.side, **near)
    assert found[3:, :, 2].mean(axis=1) == pytest.approx(exact.top, **near)


def test_cubes_follow_an_uneven_bulk_as_flat_elements_do():
    off = 0.8
    plane = across_tube(off, 1 / 3)
    thick, beside, thin = plane[0], plane[len(plane) // 4], plane[len(plane) // 2]
    tooth, tray = cap(tall=22.0, off=off)
    block = block_of(tooth, tray, np.array([[0.0, 0.0, 17.0]]), UP, TRAY - TOOTH)
    at = TOOTH * np.array([[1.0, 0, 0], [0, 1.0, 0], [-1.0, 0, 0]]) + 17.0 * UP
    found = block.moved(at, 1 / 3)
    assert found[0, 0] == pytest.approx(thick[0], rel=0.16)
    assert found[2, 0] == pytest.approx(thin[0], rel=0.16)
    assert found[1, 1] == pytest.approx(beside[1], rel=0.16)
    # The whole cup shifts towards the thick side.
    assert (found[0, 0] + found[2, 0]) / 2 == pytest.approx((thick[0] + thin[0]) / 2, abs=0.5 * block.side_mm)
    assert found[0, 0] + found[2, 0] > 1.0
