"""Contact faces: picked, stated, assumed."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.errors import SurveyError
from pinseat.ledger.handover import Handover
from pinseat.reference import value
from pinseat.survey.step import run
from pinseat.survey.surface import Surface

ABUTMENT = {"impression_pin_diameter_mm": 0.65, "impression_pin_length_mm": 5.5}


def picking(made, **pick: object):  # type: ignore[no-untyped-def]
    contact = {"kind": "margin", "tooth": 11, "point": (-3.0, -3.0, -1.0), **pick}
    return made.case(made.abutment(**ABUTMENT), contacts=[contact])


def test_a_pick_is_set_on_the_surface_with_a_normal_without_noise(made):
    face = run(picking(made), Handover(), mesh=made.mesh).faces[0]
    x, y, z = face.point
    assert z == pytest.approx(0.25 * x + 0.1 * y - 0.05 * x * x - 0.03 * y * y, abs=0.03)
    true = np.array([-(0.25 - 0.1 * x), -(0.1 - 0.06 * y), 1.0])
    assert face.normal @ true / np.linalg.norm(true) > np.cos(np.radians(3.0))
    assert face.basis == "picked on the scan"


def test_the_nearest_place_may_lie_inside_a_face(made):
    surface = Surface(made.mesh)
    corner = made.mesh.vertices[made.mesh.faces[4000]]
    point, face = surface.pick(corner.mean(axis=0), "here")
    assert face == 4000
    np.testing.assert_allclose(point, corner.mean(axis=0), atol=1e-9)


def test_picks_that_cannot_be_are_refused(made):
    with pytest.raises(SurveyError, match=r"pick 1 \(margin of tooth 11\).*off the scanned surface"):
        run(picking(made, point=(-3.0, -3.0, 4.0)), Handover(), mesh=made.mesh)
    with pytest.raises(SurveyError, match="no abutment"):
        run(picking(made, tooth=22), Handover(), mesh=made.mesh)
    with pytest.raises(SurveyError, match="no length"):
        run(picking(made, normal=(0.0, 0.0, 0.0)), Handover(), mesh=made.mesh)


def test_without_a_margin_four_are_assumed_at_half_the_crown(made):
    result = run(picking(made, kind="ledge"), Handover(), mesh=made.mesh)
    assumed = [face for face in result.faces if face.basis == "assumed from crown size"]
    middle = np.mean([pin.foot for pin in result.field.pins], axis=0)
    reach = sorted(float(np.linalg.norm(face.point - middle)) for face in assumed)
    half = [value(f"crown.11.{size}").value / 2.0 for size in ("faciolingual_mm", "mesiodistal_mm")]
    np.testing.assert_allclose(reach, sorted([half[0], half[0], half[1], half[1]]))
    assert all(face.kind == "margin" and face.normal @ result.window.centre > 1.0 - 1e-12 for face in assumed)
    assert len(run(picking(made), Handover(), mesh=made.mesh).faces) == 1


def test_without_a_scan_a_pick_needs_its_direction(made):
    layout = [{"tooth": 11, "number": 1, "x_mm": 0, "y_mm": 0, "guide_length_mm": 6}]
    contact = {"kind": "margin", "tooth": 11, "point": (1, 2, 0)}
    bare = {"callipers": {"layout": layout}, "contacts": [contact]}
    with pytest.raises(SurveyError, match="needs its direction"):
        run(made.case(made.abutment(), **bare), Handover())
    stated = {**bare, "contacts": [{**contact, "normal": (0, 0, 2)}]}
    face = run(made.case(made.abutment(), **stated), Handover()).faces[0]
    np.testing.assert_allclose(face.normal, [0.0, 0.0, 1.0])
    assert face.basis == "stated"


def test_a_tooth_of_unknown_size_asks_for_its_margins(made):
    with pytest.raises(SurveyError, match=r"tooth 18: no crown size.*\[\[contacts\]\]"):
        run(made.case(made.abutment(18, 3, **ABUTMENT)), Handover(), mesh=made.mesh)
