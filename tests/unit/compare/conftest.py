"""Two scans of rolling ground, with pins whose axes are simply stated: what survey would have found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest

from pinseat.ledger.pins import Pin, PinField, frame
from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import vertex_normals
from pinseat.numerics.similarity import rotation_of

TURN, SHIFT = np.array([0.7, -1.1, 0.4]), np.array([20.0, 7.0, -31.0])
U_SHIFT_MM, U_TILT, U_END_MM, U_DIAMETER_MM = 0.0015, np.radians(0.05), 0.003, 0.001
TEETH = {11: ((-9.0, 1.0), (-7.0, 3.5), (-6.5, -1.0)), 22: ((7.5, 0.5), (9.0, 3.0))}


def height(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    rng = np.random.default_rng(4)
    at, wide = rng.uniform(-15.0, 15.0, (40, 2)), rng.uniform(1.2, 3.0, 40)
    high = rng.uniform(0.7, 2.0, 40) * rng.choice([-1.0, 1.0], 40)
    away = (x[..., None] - at[:, 0]) ** 2 + (y[..., None] - at[:, 1]) ** 2
    return (high * np.exp(-away / wide**2)).sum(axis=-1)


def ground(step: float, noise_mm: float, seed: int) -> Mesh:
    side = np.arange(-15.0, 15.0, step)
    x, y = np.meshgrid(side, side)
    index = np.arange(x.size, dtype=np.int32).reshape(x.shape)
    a, b, c, d = (part.ravel() for part in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    faces = np.concatenate((np.column_stack((a, b, c)), np.column_stack((a, c, d))))
    mesh = Mesh(np.column_stack((x.ravel(), y.ravel(), height(x, y).ravel())), faces)
    tremble = np.random.default_rng(seed).normal(0.0, noise_mm, (x.size, 1))
    return Mesh(mesh.vertices + tremble * vertex_normals(mesh), mesh.faces)


def standing() -> tuple[Pin, ...]:
    """Five pins in two teeth, none quite upright."""
    rng = np.random.default_rng(9)
    pins = []
    for tooth, feet in TEETH.items():
        for number, (x, y) in enumerate(feet, 1):
            axis = np.array([*rng.normal(0.0, 0.02, 2), 1.0])
            foot = np.array([x, y, float(height(np.array(x), np.array(y)))])
            pins.append(Pin(tooth, number, foot, axis / np.linalg.norm(axis), 0.65, 3.0, 0.02, 0.001, 0.0202))
    return tuple(pins)


def field_of(pins: tuple[Pin, ...]) -> PinField:
    u = np.tile([U_SHIFT_MM, U_SHIFT_MM, U_TILT, U_TILT], len(pins))
    return PinField(pins, np.diag(u**2), "scan")


def seen(pins: tuple[Pin, ...], seed: int) -> PinField:
    """Pins as a scan would show them: strayed by their own uncertainty."""
    rng = np.random.default_rng(seed)
    strayed = []
    for pin in pins:
        f = frame(pin.axis)
        axis = pin.axis + (rng.normal(0.0, U_TILT, 2) @ f)
        strayed.append(
            replace(
                pin,
                foot=pin.foot + rng.normal(0.0, U_SHIFT_MM, 2) @ f,
                axis=axis / np.linalg.norm(axis),
                diameter_mm=pin.diameter_mm + rng.normal(0.0, U_DIAMETER_MM),
                protrusion_mm=pin.protrusion_mm + rng.normal(0.0, U_END_MM),
            )
        )
    return field_of(tuple(strayed))


def moved(pins: PinField) -> PinField:
    """The second scan lies elsewhere."""
    turn = rotation_of(TURN)
    return field_of(tuple(replace(p, foot=turn @ p.foot + SHIFT, axis=turn @ p.axis) for p in pins.pins))


def moved_mesh(mesh: Mesh) -> Mesh:
    return Mesh(mesh.vertices @ rotation_of(TURN).T + SHIFT, mesh.faces)


@dataclass(frozen=True, eq=False)
class Made:
    """What the tests take from here."""

    first: Mesh
    second: Mesh
    pins: tuple[Pin, ...]
    seen: Callable[..., PinField]
    moved: Callable[..., PinField]
    moved_mesh: Callable[..., Mesh]


@pytest.fixture(scope="session")
def made() -> Made:
    return Made(ground(0.25, 0.008, 1), ground(0.257, 0.008, 2), standing(), seen, moved, moved_mesh)
