import numpy as np
import pytest

from pinseat.mesh.raster import height_field
from pinseat.mesh.topology import components, edges
from pinseat.tray import lettering
from pinseat.tray.distance import Grid
from pinseat.tray.handle import LETTER_MM, PEN_MM, handle_mesh, lines_of, pull_line, seat_of

GRID = Grid(np.array([0.0, 0.0, -5.0]), (121, 111, 30), 0.5)


def covered(shape: str) -> np.ndarray:
    x, y = np.meshgrid(GRID.nodes(0) - 30.0, GRID.nodes(1) - 20.0, indexing="ij")
    if shape == "row":
        return (np.abs(x) < 20.0) & (np.abs(y) < 6.0)
    if shape == "small":
        return (np.abs(x) < 6.0) & (np.abs(y) < 4.0)
    far, turn = np.hypot(x, y), np.arctan2(y, x)
    if shape == "arch":
        return (far > 18.0) & (far < 28.0) & (np.abs(turn + 0.5 * np.pi) > 0.8)
    return (far > 16.0) & (far < 28.0) & (turn > np.pi / 3.5) & (turn < 0.7 * np.pi)


@pytest.mark.parametrize(("shape", "kind"), [("row", "post"), ("arch", "strap"), ("arc", "post")])
def test_the_grip_stands_on_the_line_of_pull(shape: str, kind: str) -> None:
    area = covered(shape)
    pull = pull_line(area, GRID)
    seat = seat_of(area, np.zeros(area.shape), GRID, pull, 2.5)
    assert seat is not None
    assert seat.kind == kind
    assert seat.genus == (1 if kind == "strap" else 0)
    assert np.linalg.norm(seat.base[:2] - pull) < 0.5
    assert seat.off_pull_mm < 0.5
    if kind == "strap":
        far = np.linalg.norm(seat.ends[:, :2] - pull, axis=1)
        assert abs(far[0] - far[1]) < 3.0


def test_a_lug_reaches_for_the_line_of_pull_and_says_what_it_misses() -> None:
    area = covered("arc")
    seat = seat_of(area, np.zeros(area.shape), GRID, np.array([30.0, 20.0]), 2.5)
    assert seat is not None
    assert seat.kind == "lug"
    assert seat.off_pull_mm > 3.0
    assert "off the line of pull" in seat.words


def test_the_grip_on_a_lug_keeps_off_the_wall_beside_it() -> None:
    """Where it touched in places only, there would be openings between them that nobody designed."""
    area = covered("arc")
    seat = seat_of(area, np.zeros(area.shape), GRID, np.array([30.0, 35.0]), 2.5)
    assert seat is not None
    inward = seat.ends[1, :2] - seat.ends[0, :2]
    beside = np.stack(np.meshgrid(GRID.nodes(0), GRID.nodes(1), indexing="ij"), axis=-1) - seat.ends[0, :2]
    beyond = beside @ (inward / np.linalg.norm(inward))
    inside = np.repeat((beyond + 2.5)[..., None], GRID.shape[2], axis=2).astype(np.float32)
    for wall_mm, least in ((2.5, 0.5), (-20.0, -20.0)):
        mesh = handle_mesh(seat, GRID, inside, wall_mm, "26-014")
        high = mesh.vertices[:, 2]
        grip = mesh.vertices[(high > seat.base[2] + 3.0) & (high < 9.0)]
        off = (grip[:, :2] - seat.ends[0, :2]) @ (inward / np.linalg.norm(inward))
        assert off.min() > least
    assert off.min() < 0.0  # without the rule it would stand in the wall


def test_too_small_a_tray_gets_no_grip() -> None:
    area = covered("small")
    assert seat_of(area, np.zeros(area.shape), GRID, pull_line(area, GRID), 2.5) is None


@pytest.mark.parametrize("face", [1.0, -1.0])
def test_number_and_arrow_read_the_right_way_round_on_both_faces(face: float) -> None:
    """What is raised, seen from outside with the draw up, is the drawing and not its mirror image."""
    area = covered("row")
    seat = seat_of(area, np.zeros(area.shape), GRID, pull_line(area, GRID), 2.5)
    assert seat is not None
    mesh = handle_mesh(seat, GRID, np.full(GRID.shape, 9.0, np.float32), 2.5, "7LK")
    outward = face * np.array([-seat.along[1], seat.along[0], 0.0])
    seen = height_field(mesh, outward, 0.1, up=(0.0, 0.0, 1.0))
    right = np.cross([0.0, 0.0, 1.0], outward)
    rows, columns = np.nonzero(seen.height > np.nanmax(seen.height) - 0.25)
    place = seen.to_world(rows, columns) - seat.base
    flat = np.column_stack((place @ right, place[:, 2]))
    text = lettering.strokes("7LK", LETTER_MM)
    middle = np.array([0.0, 4.4])
    letters = flat[np.abs(flat[:, 1] - 4.4) < 0.5 * LETTER_MM + 0.5] - middle
    true = lettering.pen_distance(letters, text)
    mirrored = lettering.pen_distance(letters * [-1.0, 1.0], text)
    assert len(letters) > 200
    assert (true < PEN_MM + 0.2).mean() > 0.97
    assert (mirrored < PEN_MM + 0.2).mean() < 0.75
    head = flat[(flat[:, 1] > 7.5)]
    tip, foot = head[head[:, 1] > head[:, 1].max() - 0.5], head[head[:, 1] < head[:, 1].min() + 0.5]
    assert np.abs(tip[:, 0]).max() < 1.0
    assert np.abs(foot[:, 0]).max() < 0.6
    widest = head[np.argmax(np.abs(head[:, 0])), 1]
    assert widest > 0.5 * (head[:, 1].min() + head[:, 1].max())


def test_handle_is_closed_and_in_one_part() -> None:
    area = covered("arch")
    seat = seat_of(area, np.zeros(area.shape), GRID, pull_line(area, GRID), 2.5)
    assert seat is not None
    mesh = handle_mesh(seat, GRID, np.full(GRID.shape, 9.0, np.float32), 2.5, "26-014")
    assert (edges(mesh).count == 2).all()
    assert components(mesh).max() == 0


def test_long_and_strange_numbers_are_cut_and_told() -> None:
    assert lines_of("26-014") == (["26-014"], True)
    assert lines_of("fall 7") == (["FALL 7"], True)
    assert lines_of("26/014 Ä")[1] is False
    parts, whole = lines_of("X" * 30)
    assert (len(parts), whole) == (2, False)


def test_every_letter_differs_from_every_other() -> None:
    letters = list("0123456789ABCDEFGHIJKLMNPQRSTUVWXYZ-_./")
    ticks = np.stack(np.meshgrid(np.linspace(-2, 2, 21), np.linspace(-3, 3, 31)), -1).reshape(-1, 2)
    inked = {x: lettering.pen_distance(ticks, lettering.strokes(x, 6.0)) < 0.6 for x in letters}
    for i, a in enumerate(letters):
        for b in letters[:i]:
            assert (inked[a] != inked[b]).sum() > 8, (a, b)
