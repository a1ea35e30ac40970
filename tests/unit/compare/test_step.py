from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinseat.case.results import json_text
from pinseat.compare.model import Side
from pinseat.compare.step import run
from pinseat.errors import CompareError
from pinseat.ledger.pins import frame
from pinseat.mesh.model import Mesh
from pinseat.mesh.registration import register


def bent(pin, degrees: float):
    turn = np.radians(degrees)
    return replace(pin, axis=np.cos(turn) * pin.axis + np.sin(turn) * frame(pin.axis)[0])


def verdicts(result) -> dict[str, str]:
    return {f.where: f.verdict for f in result.findings if f.code.startswith("compare.pin")}


@pytest.fixture(scope="module")
def laid(made):
    """How the untouched second scan lies on the first."""
    return register(made.first, made.moved_mesh(made.second))


@pytest.fixture(scope="module")
def changed(made):
    """Pin 11-1 pulled by 80 um, pin 22-2 bent by 1.2 deg; nothing else."""
    later = (replace(made.pins[0], protrusion_mm=3.08), *made.pins[1:4], bent(made.pins[4], 1.2))
    second = Side("later", made.moved_mesh(made.second), made.moved(made.seen(later, 2)))
    return run(Side("teeth", made.first, made.seen(made.pins, 1)), second, copy="die")


def test_the_two_changed_pins_are_named_and_no_other(changed):
    result, _ = changed
    assert {pin.name: pin.certain for pin in result.pins} == {
        "11-1": ("farther out",),
        "11-2": (),
        "11-3": (),
        "22-1": (),
        "22-2": ("bent",),
    }
    by_name = {pin.name: pin for pin in result.pins}
    pulled, lean = by_name["11-1"], by_name["22-2"]
    assert pulled.depth_um == pytest.approx(80.0, abs=3.0 * pulled.u_depth_um)
    assert lean.tilt_deg == pytest.approx(1.2, abs=3.0 * lean.u_tilt_deg)
    assert pulled.u_depth_um < 8.0
    assert lean.u_tilt_deg < 0.15


def test_findings_judge_by_limit_and_uncertainty(changed):
    result, _ = changed
    said = verdicts(result)
    assert said["pin 11-1"] == "stop"  # 80 um against 50
    assert said["pin 22-2"] == "caution"  # bent beyond doubt, by less than the 1.4 deg that matter
    assert {said[f"pin {name}"] for name in ("11-2", "11-3", "22-1")} == {"clear"}
    assert all(f.do for f in result.findings if f.verdict != "clear")


def test_spans_and_scale_are_said_beside_the_pins(changed):
    result, _ = changed
    assert [span.teeth for span in result.spans] == [(11, 22)]
    span = result.spans[0]
    assert abs(span.change_um) < 3.0 * span.u_um < 30.0
    assert [scale.basis for scale in result.scales] == ["shared surface", "pins"]
    for scale in result.scales:
        assert abs(scale.change_percent) < 3.0 * scale.u_percent


def test_the_result_goes_into_json(changed):
    result, found = changed
    assert '"certain"' in json_text(result)
    assert len(found.distance_mm) == len(found.mesh.vertices)


def test_a_span_error_is_not_hidden_by_the_best_fit(made):
    """0.3 % over the 15 mm between the teeth: 45 um, and every pin stays in its place in its tooth."""
    larger = made.moved_mesh(Mesh(1.003 * made.second.vertices, made.second.faces))
    pins = tuple(replace(pin, foot=1.003 * pin.foot) for pin in made.pins)
    result, _ = run(
        Side("teeth", made.first, made.seen(made.pins, 1)),
        Side("die", larger, made.moved(made.seen(pins, 2))),
    )
    for scale in result.scales:
        assert scale.change_percent == pytest.approx(0.3, abs=3.0 * scale.u_percent)
    span = result.spans[0]
    assert span.change_um == pytest.approx(3.0 * span.first_mm, abs=3.0 * span.u_um)
    assert span.by_scale_um == pytest.approx(3.0 * span.first_mm, rel=0.05)
    said = {f.code: f.verdict for f in result.findings if not f.code.startswith("compare.pin")}
    assert said["compare.scale_shared_surface"] in ("caution", "stop")
    assert said["compare.pose"] == "clear"
    assert [pin.name for pin in result.pins if pin.certain] == []


def test_a_tooth_that_moved_is_a_span_error_and_no_pin_changed(made):
    """The right third of the second scan lies 60 um farther out, its pins with it."""
    step = 0.06 * (made.second.vertices[:, :1] > 3.0) * np.array([1.0, 0.0, 0.0])
    second = Mesh(made.second.vertices + step, made.second.faces)
    pins = tuple(
        replace(pin, foot=pin.foot + (pin.tooth == 22) * np.array([0.06, 0.0, 0.0])) for pin in made.pins
    )
    result, _ = run(
        Side("teeth", made.first, made.seen(made.pins, 1)),
        Side("die", made.moved_mesh(second), made.moved(made.seen(pins, 2))),
    )
    assert result.spans[0].change_um == pytest.approx(60.0, abs=10.0)
    assert not any(pin.certain for pin in result.pins)


def test_an_impression_shows_depth_only_with_the_pin_s_length(made):
    """Pins of 5.2 mm, of which 3.0 stand out of the tooth, must stand 2.2 mm out of the impression."""
    out_mm = {"11-2": 2.24}
    turned = tuple(replace(p, axis=-p.axis, protrusion_mm=out_mm.get(p.name, 2.2)) for p in made.pins)
    negative = Mesh(made.second.vertices, made.second.faces[:, ::-1])
    sides = (
        Side("teeth", made.first, made.seen(made.pins, 1)),
        Side("impression", made.moved_mesh(negative), made.moved(made.seen(turned, 2))),
    )
    over = register(made.first, sides[1].mesh)
    told, _ = run(*sides, laid=over, length_mm={11: 5.2, 22: 5.2}, copy="impression")
    assert told.laid.negative
    by_name = {pin.name: pin for pin in told.pins}
    assert by_name["11-2"].depth_um == pytest.approx(40.0, abs=3.0 * by_name["11-2"].u_depth_um)
    assert [row.error for row in told.rows] == ["scale", "position", "tilt", "depth"]
    assert told.rows[3].mean == pytest.approx(8.0, abs=8.0)  # the mean of one pin 40 um out and four not
    untold, _ = run(*sides, laid=over)
    assert all(pin.depth_um is None for pin in untold.pins)


def test_a_pin_without_partner_is_said(made, laid):
    second = Side("later", made.moved_mesh(made.second), made.moved(made.seen(made.pins[:4], 2)))
    result, _ = run(Side("teeth", made.first, made.seen(made.pins, 1)), second, laid=laid)
    assert result.unpaired == ("pin 22-2 of the first scan",)
    assert [f.verdict for f in result.findings if f.code == "compare.unpaired"] == ["cannot tell"]


def test_pins_on_one_scan_only_are_said_and_never_passed_over(made, laid):
    second = Side("later", made.moved_mesh(made.second))
    result, _ = run(Side("teeth", made.first, made.seen(made.pins, 1)), second, laid=laid)
    said = [f for f in result.findings if f.code == "compare.pins_unseen"]
    assert [(f.where, f.verdict) for f in said] == [("later", "cannot tell")]


def test_teeth_alone_are_compared_without_pins(made):
    result, _ = run(Side("a", made.first), Side("b", made.moved_mesh(made.second)))
    assert result.pins == ()
    assert result.spans == ()
    assert [scale.basis for scale in result.scales] == ["shared surface"]
    assert result.within_share > 0.999
    assert {f.verdict for f in result.findings} == {"clear"}


def test_a_mirror_image_gives_no_map(made):
    with pytest.raises(CompareError, match="mirror image"):
        run(
            Side("a", made.first),
            Side("b", Mesh(made.second.vertices * [1.0, 1.0, -1.0], made.second.faces[:, ::-1])),
        )


def test_moving_both_scans_changes_nothing(made, changed):
    """The same scans elsewhere in space: the same changes."""
    later = (replace(made.pins[0], protrusion_mm=3.08), *made.pins[1:4], bent(made.pins[4], 1.2))
    first = Side("teeth", made.moved_mesh(made.first), made.moved(made.seen(made.pins, 1)))
    second = Side("later", made.second, made.seen(later, 2))
    result, _ = run(first, second)
    for one, other in zip(result.pins, changed[0].pins, strict=True):
        assert one.certain == other.certain
        assert one.depth_um == pytest.approx(other.depth_um, abs=1.0)
        assert one.tilt_deg == pytest.approx(other.tilt_deg, abs=0.02)
