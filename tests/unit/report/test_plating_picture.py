"""The thickness map as files: colours step at the minimum, the mesh is the one that was given."""

from pathlib import Path

import numpy as np
import trimesh

from pinseat.mesh.colour import NOT_MEASURED
from pinseat.mesh.model import Mesh
from pinseat.report.plating_picture import FILES, Coloured, write_thickness


def bowl() -> Coloured:
    """A hollow of 6 mm in a plate of 20 mm; thickness falls from the rim to the floor."""
    side = np.linspace(-10.0, 10.0, 41)
    x, y = np.meshgrid(side, side)
    r = np.hypot(x, y)
    z = -3.0 * np.clip(1.0 - (r / 6.0) ** 2, 0.0, None)
    rows = np.arange(41 * 41, dtype=np.int32).reshape(41, 41)
    a, b, c, d = (part.ravel() for part in (rows[:-1, :-1], rows[:-1, 1:], rows[1:, 1:], rows[1:, :-1]))
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    thickness = np.where(r < 6.0, 0.2 + 0.1 * r, np.nan).ravel()
    mesh = Mesh(np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1), faces)
    return Coloured(mesh, thickness, 0.5, np.array([0.0, 0.0, 1.0]), None, np.array([0.0, 0.0, -3.0]))


def test_the_files_carry_the_mesh_and_a_step_at_the_minimum(tmp_path: Path) -> None:
    """Read back with trimesh: the same points; grey outside; a jump of lightness where 0.5 mm is passed."""
    shown = bowl()
    assert write_thickness(tmp_path, shown, {"code": "test"}) == FILES
    first = [(tmp_path / name).read_bytes() for name in FILES]
    write_thickness(tmp_path, shown, {"code": "test"})
    assert first == [(tmp_path / name).read_bytes() for name in FILES]
    back = trimesh.load(tmp_path / FILES[1], process=False)
    np.testing.assert_allclose(back.vertices, shown.mesh.vertices, atol=1e-5)
    colours = np.asarray(back.visual.vertex_colors)[:, :3]
    outside = np.isnan(shown.thickness_mm)
    assert (colours[outside] == NOT_MEASURED).all()
    light = colours.astype(float).mean(axis=1)
    below = light[~outside & (shown.thickness_mm <= 0.5)]
    above = light[~outside & (shown.thickness_mm > 0.5)]
    assert below.min() > above.max() + 20.0
    glb = trimesh.load(tmp_path / FILES[0], process=False)
    assert sum(len(part.faces) for part in glb.geometry.values()) == len(shown.mesh.faces)
