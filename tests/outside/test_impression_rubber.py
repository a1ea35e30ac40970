"""Shrinkage towards the tray against elasticity: layers, tubes, and finite elements on a cap of rubber.

The finite elements here are the textbook's four-node ones with the volume part integrated at the middle
(Hughes, The Finite Element Method, 1987, chapter 4, from memory); they share nothing with the sum over rays.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.linalg import spsolve

from pinseat.impression.fibres import reach
from pinseat.mesh.model import Mesh
from pinseat.mesh.rays import Rays
from pinseat.reference import value

TOOTH, TRAY, TALL, TOP = 3.5, 6.1, 8.0, 10.6
"""A tooth as a cylinder of 7 mm, 8 mm tall, under 2.6 mm of rubber all round."""


def tube(radius, centre_x, low, high, lid=False, count=720):
    turn = 2 * np.pi * np.arange(count) / count
    ring = np.column_stack([centre_x + radius * np.cos(turn), radius * np.sin(turn)])
    points = [np.column_stack([ring, np.full(count, z)]) for z in (low, high)]
    i = np.arange(count)
    j = (i + 1) % count
    faces = [np.column_stack([i, j, j + count]), np.column_stack([i, j + count, i + count])]
    if lid:
        points.append(np.array([[centre_x, 0.0, high]]))
        faces.append(np.column_stack([i + count, j + count, np.full(count, 2 * count)]))
    return Rays(Mesh(np.concatenate(points), np.concatenate(faces).astype(np.int32)))


def plate(z):
    far = 400.0
    points = np.array([[-far, -far, z], [far, -far, z], [far, far, z], [-far, far, z]])
    return Rays(Mesh(points, np.array([[0, 1, 2], [0, 2, 3]], np.int32)))


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


def cap_by_rays():
    wall, tooth = tube(TRAY, 0.0, 0.0, TOP, lid=True), tube(TOOTH, 0.0, 0.0, TALL, lid=True)
    beside = [[TOOTH + 0.03, 0.0, part * TALL] for part in (0.25, 0.5, 0.75)]
    above = [[part * TOOTH + 0.001, 0.0, TALL + 0.03] for part in (0.0, 0.5)]
    found = reach(beside + above, wall, tooth).reach_mm
    return found[:3, 0], found[3:, 2]


def test_layer_moves_as_a_bonded_layer_of_poisson_one_third():
    # (1 + v) / (1 - v) e t = 2 e t for v = 1/3 (thin films, e.g. Timoshenko and Goodier); linear in depth.
    found = reach([[0, 0, 0.001], [0, 0, 1.0], [0, 0, 2.0]], plate(3.0), plate(0.0)).reach_mm
    assert found[:, 2] == pytest.approx([6.0, 4.0, 2.0], rel=0.02)
    assert np.abs(found[:, :2]).max() < 0.05


def test_between_two_walls_nothing_moves():
    found = reach([[0.0, 0.0, 1.0]], tube(TRAY, 0.0, -60, 60), None).reach_mm
    assert np.abs(found).max() < 0.02


@pytest.mark.parametrize("nu", [0.2, 1 / 3, 0.49])
def test_finite_elements_are_right_on_a_tube(nu):
    # Plane strain, u = A r + B / r with u(b) = 0 and no traction at a.
    factor = -(1 + nu) / (1 + (1 - 2 * nu) * TRAY**2 / TOOTH**2)
    exact = factor * (TOOTH - TRAY**2 / TOOTH)
    assert across_tube(0.0, nu)[0, 0] == pytest.approx(exact, rel=2e-3)


def test_rays_agree_with_elasticity_on_a_tube():
    exact = -(4 / 3) / (1 + TRAY**2 / TOOTH**2 / 3) * (TOOTH - TRAY**2 / TOOTH)
    found = reach([[TOOTH + 0.01, 0, 0]], tube(TRAY, 0, -60, 60), tube(TOOTH, 0, -60, 60)).reach_mm
    assert found[0, 0] == pytest.approx(exact, rel=0.02)


def test_rays_follow_an_uneven_bulk_as_finite_elements_do():
    off = 0.8
    plane = across_tube(off, 1 / 3)
    thick, beside, thin = plane[0], plane[len(plane) // 4], plane[len(plane) // 2]
    at = (TOOTH + 0.01) * np.array([[1.0, 0, 0], [0, 1.0, 0], [-1.0, 0, 0]])
    found = reach(at, tube(TRAY, off, -60, 60), tube(TOOTH, 0, -60, 60)).reach_mm
    assert found[0, 0] == pytest.approx(thick[0], rel=0.06)
    assert found[2, 0] == pytest.approx(thin[0], rel=0.06)
    assert found[1, 1] == pytest.approx(beside[1], rel=0.06)
    # The whole cup shifts towards the thick side, by a sixth of what one side moves.
    assert (found[0, 0] + found[2, 0]) / 2 == pytest.approx((thick[0] + thin[0]) / 2, rel=0.25)
    assert found[0, 0] + found[2, 0] > 0.5


def test_rays_agree_with_finite_elements_on_a_cap():
    side, top = cap_by_rays()
    plain = under_cap(1 / 3)
    assert side == pytest.approx(plain.side, rel=0.10)
    assert top == pytest.approx(plain.top, rel=0.20)


def test_the_factor_holds_what_rubber_can_do():
    """From the rays' own figure (bond and tray giving way) to rubber that keeps its volume."""
    factor = value("impression.constraint_ratio")
    assert factor.uncertainty is not None
    half = factor.uncertainty * math.sqrt(3.0)
    side, top = cap_by_rays()
    full = under_cap(0.49)
    ratios = np.concatenate([full.side / side, full.top / top])
    assert ratios.min() > 1.5
    assert factor.value - half <= 1.0 + 1e-9
    assert ratios.max() <= factor.value + half
    assert ratios.mean() == pytest.approx(factor.value, abs=0.5)


def test_shrunk_rubber_takes_its_volume_from_the_free_surfaces():
    # v = 1/2: what the free circle sweeps is the volume lost, 3 e pi (b^2 - a^2) a unit of length.
    u = across_tube(0.0, 0.4999)[:, 0][0]
    assert 2 * math.pi * TOOTH * u == pytest.approx(3 * math.pi * (TRAY**2 - TOOTH**2), rel=0.01)
