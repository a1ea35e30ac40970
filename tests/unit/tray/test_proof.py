"""The proof must fail on what is broken: each check is shown a tray that was spoilt for it."""

from dataclasses import replace

import numpy as np
import pytest

from pinseat.ledger.handover import quiet
from pinseat.mesh.model import Mesh
from pinseat.tray import body, build, checks, proof
from pinseat.tray.ask import asked_of
from pinseat.tray.cast import Cast, surface_points
from pinseat.tray.distance import grid_round
from pinseat.tray.frame import frame_of
from pinseat.tray.model import Asked
from pinseat.tray.pocket import Pocket
from pinseat.tray.stops import Stop
from pinseat.tray.teeth import pockets_of, prepared_teeth, u_of_pins

from .conftest import DRAW, case_of, pins

Parts = tuple[build.Shape, build.Body, Asked, tuple[Pocket, ...]]


@pytest.fixture(scope="module")
def parts(scan: Mesh) -> Parts:
    case = case_of(grid_mm=0.4)
    asked = asked_of(case.tray)
    frame = frame_of(scan.vertices, DRAW)
    pockets = pockets_of(pins(), frame, asked)
    prepared = prepared_teeth(case.abutments, pins(), (), frame)
    shape = build.shape_of(frame.turned(scan), [], [], pockets, prepared, asked, quiet)
    return shape, build.body_of(shape, asked, case.tray, case.number, pockets), asked, pockets


def verdicts(found: object) -> dict[str, str]:
    return {f.code: f.verdict for f in found}  # type: ignore[attr-defined]


def test_the_sound_tray_passes(parts: Parts) -> None:
    shape, made, asked, pockets = parts
    shown = build.prove(shape, made, asked, pockets, u_of_pins(pins()))
    assert set(verdicts(checks.sound_findings(shown.sound, asked)).values()) == {"clear"}
    assert set(verdicts(checks.pin_findings(shown.pins, asked)).values()) == {"clear"}
    assert set(verdicts(checks.gap_findings(shown.gaps)).values()) == {"clear"}
    assert {gap.zone for gap in shown.gaps} == {"teeth", "pins"}
    for room in shown.pins:
        assert room.swept_mm > asked.pin_relief_mm - 0.02
        assert room.rest_mm > asked.pin_relief_mm + asked.wobble_mm - 0.02


def test_outside_creases_are_round_and_bulges_keep_their_wall() -> None:
    """Balls of 4 + 2.6 + 2.5 mm, 12 mm apart, would meet in a crease that turns by 2 asin(6 / 9.1) = 82 deg.

    Weights of standard deviation s lower a ridge with slopes q to both sides by s q √(2/π): 0.26 mm here,
    less what the balls bend, s²/9.1 = 0.03 mm.
    """
    turn = np.linspace(0.0, np.pi, 60)
    down, round_ = (part.ravel() for part in np.meshgrid(turn, 2.0 * turn, indexing="ij"))
    ball = 4.0 * np.column_stack((np.sin(down) * np.cos(round_), np.sin(down) * np.sin(round_), np.cos(down)))
    aside = np.array([6.0, 0.0, 0.0])
    points = np.concatenate((ball - aside, ball + aside))
    cast = Cast(Mesh(points, np.zeros((0, 3), np.int32)), np.zeros(0, bool), points, None, (), points[:0])
    grid = grid_round(np.array([-17.0, -11.0, -3.0]), np.array([17.0, 11.0, 10.5]), 0.25)
    wanted = body.Wanted(2.6, 3.6, 2.5, 1.25)
    inside = body.inside_field(grid, cast, (), wanted)
    made = body.surface(grid, body.body_field(grid, inside, np.full(grid.shape[:2], -2.0), (), (), wanted))
    at = made.vertices[made.vertices[:, 2] > 0.5]
    far = np.linalg.norm(at - np.where(at[:, :1] < 0.0, -aside, aside), axis=1)
    crease, bulge = (far > 8.0) & (np.abs(at[:, 0]) < 0.01), (far > 8.0) & (np.abs(at[:, 0]) > 2.0)
    assert crease.sum() > 10
    assert far[crease] == pytest.approx(np.full(crease.sum(), 9.1 + 0.26 - 0.03), abs=0.04)
    assert np.median(far[bulge]) == pytest.approx(9.1, abs=0.02)


def test_the_round_of_a_stop_takes_nothing_from_a_pin() -> None:
    """A stop whose dome just touches a pin's room: without the rule its round would stand in it."""
    wanted = body.Wanted(2.6, 3.6, 2.5, 1.25)
    pin = Pocket("11-1", np.zeros(3), np.array([0.0, 0.0, 1.0]), 3.0, 0.3, np.radians(2.0), 0.3)
    grid = grid_round(np.array([-8.0, -8.0, -2.0]), np.array([12.0, 8.0, 12.0]), 0.3)
    at = np.stack(np.meshgrid(*(grid.nodes(axis) for axis in range(3)), indexing="ij"), axis=-1)
    inside = (pin.swept(at).reshape(grid.shape) - wanted.pin_relief_mm).astype(np.float32)
    centre = np.array([0.3 + 0.3 + 3.0 * np.sin(np.radians(2.0)) + 3.6 + 1.25, 0.0, 2.0])
    stop = Stop(centre - [0.0, 0.0, 1.25], centre, "picked")
    for known, whole in (((pin,), True), ((), False)):
        border = np.full(grid.shape[:2], -99.0)
        solid = body.body_field(grid, inside, border, (stop,), known, wanted) < 0.0
        assert bool((solid & (inside < -0.001)).any()) != whole


def test_a_missing_triangle_is_found(parts: Parts) -> None:
    _, made, asked, _ = parts
    sound = proof.soundness(Mesh(made.mesh.vertices, made.mesh.faces[1:]), 0)
    assert sound.open_edges == 3
    assert not sound.second_opinion.startswith("no error")
    assert verdicts(checks.sound_findings(sound, asked))["tray.sound"] == "stop"


def test_inside_out_is_found(parts: Parts) -> None:
    """The boolean library alone would let it pass."""
    _, made, asked, _ = parts
    turned = Mesh(made.mesh.vertices, np.ascontiguousarray(made.mesh.faces[:, ::-1]))
    sound = proof.soundness(turned, made.genus)
    assert sound.volume_mm3 < 0.0
    assert (sound.open_edges, sound.wrong_edges) == (0, 0)
    assert verdicts(checks.sound_findings(sound, asked))["tray.sound"] == "stop"


def test_a_second_part_and_a_hole_that_nobody_designed_are_found(parts: Parts) -> None:
    _, made, asked, _ = parts
    size = len(made.mesh.vertices)
    two = Mesh(
        np.concatenate((made.mesh.vertices, made.mesh.vertices + np.array([200.0, 0.0, 0.0]))),
        np.concatenate((made.mesh.faces, made.mesh.faces + size)).astype(np.int32),
    )
    assert proof.soundness(two, made.genus).parts == 2
    assert verdicts(checks.sound_findings(proof.soundness(two, 0), asked))["tray.sound"] == "stop"
    other = proof.soundness(made.mesh, made.genus + 1)
    assert verdicts(checks.sound_findings(other, asked))["tray.sound"] == "stop"


def test_a_tray_pushed_down_collides_and_its_stops_overlap(parts: Parts) -> None:
    shape, made, asked, _ = parts
    assert proof.collisions(made.mesh, shape.cast) == 0
    low = Mesh(made.mesh.vertices - [0.0, 0.0, 0.3], made.mesh.faces)
    hits = proof.collisions(low, shape.cast)
    assert hits > 0
    spoilt = replace(proof.soundness(low, 0), collisions=hits)
    assert verdicts(checks.sound_findings(spoilt, asked))["tray.collisions"] == "stop"
    moved = [replace(s, centre=s.centre - np.array([0, 0, 0.3])) for s in shape.stops]
    gaps = proof.stop_gaps(low, shape.cast, moved, 1.25)
    assert min(gaps) < -0.1
    assert "caution" in verdicts(checks.touch_findings(gaps)).values()


def test_a_pin_that_stands_elsewhere_loses_its_clearance(parts: Parts) -> None:
    """The same tray, measured for a pin 1.2 mm longer: 1.2 mm of the clearance over it are gone."""
    _, made, asked, pockets = parts
    before = proof.pin_rooms(made.mesh, pockets, (0.0, 0.0))
    longer = [replace(p, length_mm=p.length_mm + 1.2) for p in pockets]
    after = proof.pin_rooms(made.mesh, longer, (0.0, 0.0))
    assert after[0].rest_mm < before[0].rest_mm - 0.7
    through = [replace(p, length_mm=p.length_mm + 9.0) for p in pockets]
    rooms = proof.pin_rooms(made.mesh, through, (0.01, 0.01))
    assert all(room.swept_mm < 0.0 for room in rooms)
    assert set(verdicts(checks.pin_findings(rooms, asked)).values()) == {"stop"}


def test_near_the_limit_nothing_is_decided(parts: Parts) -> None:
    """Within 1.645 standard uncertainties of the limit the verdict is open (ISO 14253-1)."""
    _, made, asked, pockets = parts
    rooms = proof.pin_rooms(made.mesh, pockets, (0.1, 0.1))
    close = replace(asked, pin_gap_mm=rooms[0].swept_mm - 0.05)
    assert verdicts(checks.pin_findings(rooms[:1], close))["tray.pin_clearance"] == "cannot tell"


@pytest.mark.parametrize("lift_mm", [2.5, 0.3, -0.5])
def test_least_clearance_on_the_way_of_large_triangles(lift_mm: float) -> None:
    """Against points 0.02 mm apart on each: of a gap, of next to none, of a pin that stands in the tray.

    The points miss the least by at most s²/(6 F): one of them lies within s/√3 of it, and the distance F
    from the pin's axis bends by at most 1/F.
    """
    rng = np.random.Generator(np.random.Philox(9))
    pin = Pocket("11-1", np.zeros(3), np.array([0.1, 0.0, np.sqrt(0.99)]), 3.0, 0.3, np.radians(2.0), 0.3)
    middle = rng.uniform([-2.0, -2.0, 3.0 + lift_mm], [2.0, 2.0, 4.0 + lift_mm], (12, 1, 3))
    corners = middle + rng.normal(scale=[1.0, 1.0, 0.2], size=(12, 3, 3))
    mesh = Mesh(corners.reshape(-1, 3), np.arange(36, dtype=np.int32).reshape(-1, 3))
    (room,) = proof.pin_rooms(mesh, (pin,), (0.01,))
    sampled = float(pin.swept(surface_points(mesh, 0.02)).min())
    missed = 0.02**2 / (6.0 * (sampled + pin.radius_mm + pin.shift_mm))
    assert sampled - missed <= room.swept_mm <= sampled + proof.SHORT_MM


def test_a_thin_wall_is_found(parts: Parts) -> None:
    _, made, asked, _ = parts
    thick = proof.thinnest(made.mesh, made.sides)
    assert thick == pytest.approx(asked.wall_mm, abs=0.08)
    dented = made.mesh.vertices.copy()
    where = np.flatnonzero(made.sides.outer)
    at = where[:: max(1, len(where) // proof.MEASURED_POINTS)][50]
    near = np.linalg.norm(dented - dented[at], axis=1) < 2.0
    dented[near & made.sides.outer] -= [0.0, 0.0, 1.0]
    thin = proof.thinnest(Mesh(dented, made.mesh.faces), made.sides)
    assert thin < thick - 0.2
    spoilt = replace(proof.soundness(made.mesh, 0), thinnest_mm=1.9)
    assert verdicts(checks.sound_findings(spoilt, asked))["tray.wall"] == "caution"


def test_a_gap_off_by_a_tenth_is_found(parts: Parts) -> None:
    shape, made, asked, pockets = parts
    off = Mesh(made.mesh.vertices + np.array([0.0, 0.0, 0.1]), made.mesh.faces)
    found = proof.gaps(off, made.sides.inner, shape.cast, pockets, build.wanted_of(asked))
    assert verdicts(checks.gap_findings(found))["tray.gap"] == "caution"
