"""``pinseat survey`` and ``pinseat readings``, as a person runs them.

Two blocks stand for prepared teeth, each with a pin that a wide hole leaves free. In one plane the walls of
tooth 11 let go draws that lean 3 to 9 degrees to the left, those of tooth 22 draws from 8 to 2 degrees to the
right; all are 4 mm high. By hand: the nearest draws, 3 and -2, are 5 degrees apart; 4 mm x tan(2.5 deg) is
0.1746 mm.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pinseat import chain
from pinseat.errors import PinseatError
from pinseat.ledger.findings import Finding
from pinseat.mesh.model import Mesh
from pinseat.mesh.write import stl_bytes
from tests.integration.conftest import Said, pinseat

EDGE_MM = 0.2
HEIGHT_MM = 4.0


def lean(angle_deg: float) -> float:
    return HEIGHT_MM * float(np.tan(np.radians(angle_deg)))


def quad(a, b, c, d) -> tuple[np.ndarray, np.ndarray]:
    """A flat four-sided piece as a grid of triangles, wound a, b, c, d."""
    a, b, c, d = (np.asarray(x, float) for x in (a, b, c, d))
    n = max(1, round(max(np.linalg.norm(b - a), np.linalg.norm(c - d)) / EDGE_MM))
    m = max(1, round(max(np.linalg.norm(d - a), np.linalg.norm(c - b)) / EDGE_MM))
    u, v = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, m + 1), indexing="ij")
    u, v = u[..., None], v[..., None]
    points = ((1 - u) * (1 - v) * a + u * (1 - v) * b + u * v * c + (1 - u) * v * d).reshape(-1, 3)
    at = np.arange((n + 1) * (m + 1)).reshape(n + 1, m + 1)
    p, q, r, s = at[:-1, :-1].ravel(), at[1:, :-1].ravel(), at[1:, 1:].ravel(), at[:-1, 1:].ravel()
    return points, np.concatenate([np.stack([p, q, r], 1), np.stack([p, r, s], 1)])


def block(middle_x: float, left_deg: float, right_deg: float) -> list[tuple[np.ndarray, np.ndarray]]:
    """Four walls and a top; the left one opens by `left_deg`, the right by `right_deg`, the others by 6."""
    x0, x1, y = middle_x - 3.0, middle_x + 3.0, 3.0
    low = [(x0, -y, 0.0), (x1, -y, 0.0), (x1, y, 0.0), (x0, y, 0.0)]
    a, b, c = lean(left_deg), lean(right_deg), lean(6.0)
    high = [
        (x0 + a, -y + c, HEIGHT_MM),
        (x1 - b, -y + c, HEIGHT_MM),
        (x1 - b, y - c, HEIGHT_MM),
        (x0 + a, y - c, HEIGHT_MM),
    ]
    walls = [quad(low[k], low[(k + 1) % 4], high[(k + 1) % 4], high[k]) for k in range(4)]
    return [*walls, quad(*high)]


def pin(x: float) -> tuple[np.ndarray, np.ndarray]:
    """An upright pin of 0.7 mm on the top of a block, 3 mm long, with a closed end."""
    turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    levels = np.linspace(HEIGHT_MM - 0.02, HEIGHT_MM + 3.0, 22)
    ring = np.stack([x + 0.35 * np.cos(turn), 0.35 * np.sin(turn)], axis=1)
    points = np.concatenate([np.column_stack([ring, np.full(24, z)]) for z in levels])
    k = np.arange(24)
    faces = []
    for level in range(len(levels) - 1):
        low, high = 24 * level + k, 24 * level + 24 + k
        next_low, next_high = 24 * level + (k + 1) % 24, 24 * level + 24 + (k + 1) % 24
        faces += [np.stack([low, next_low, next_high], 1), np.stack([low, next_high, high], 1)]
    top = len(points)
    points = np.vstack([points, [x, 0.0, levels[-1]]])
    last = 24 * (len(levels) - 1)
    faces.append(np.stack([last + k, last + (k + 1) % 24, np.full(24, top)], 1))
    return points, np.concatenate(faces)


def joined(parts) -> Mesh:
    start = np.cumsum([0, *(len(points) for points, _ in parts)])
    points = np.concatenate([points for points, _ in parts])
    faces = np.concatenate([faces + s for (_, faces), s in zip(parts, start, strict=False)])
    welded, back = np.unique(np.round(points, 6), axis=0, return_inverse=True)
    return Mesh(welded, back.ravel()[faces].astype(np.int32))


def write_blocks(folder: Path) -> None:
    """Tooth 11 to the left of the gap; draws lean to -x where the angle is positive."""
    (folder / "scans").mkdir(parents=True)
    mesh = joined(
        [
            *block(-8.0, left_deg=9.0, right_deg=-3.0),
            *block(8.0, left_deg=-2.0, right_deg=8.0),
            pin(-8.0),
            pin(8.0),
            quad((-20, -12, 0), (20, -12, 0), (20, 12, 0), (-20, 12, 0)),
        ]
    )
    (folder / "scans/two.stl").write_bytes(stl_bytes(mesh))
    middle = 0.5 * HEIGHT_MM
    picks = {
        11: (-11.0 + 0.5 * lean(9.0), -5.0 - 0.5 * lean(-3.0)),
        22: (5.0 + 0.5 * lean(-2.0), 11.0 - 0.5 * lean(8.0)),
    }
    text = ['number = "two blocks"', 'notation = "FDI"', "missing = [21]"]
    for tooth, x in ((11, -8.0), (22, 8.0)):
        text.append(
            f"[[abutments]]\ntooth = {tooth}\npins = 1\nat = [{x}, 2.0, {HEIGHT_MM}]\n"
            "hole_diameter_mm = 1.6\nhole_depth_mm = 2.0\nfloor_relief_mm = 0.4\ncast_pin_diameter_mm = 0.7\n"
            "impression_pin_diameter_mm = 0.7"
        )
    text.append('[scan]\nfile = "scans/two.stl"\nunit = "mm"')
    for tooth, places in picks.items():
        for x in places:
            text.append(f'[[regions]]\nkind = "wall"\ntooth = {tooth}\nat = [{x:.4f}, 0.3, {middle}]')
    (folder / "case.toml").write_text("\n\n".join(text) + "\n", encoding="utf-8")


@pytest.fixture(scope="module")
def blocks(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Said]:
    folder = tmp_path_factory.mktemp("blocks") / "case"
    write_blocks(folder)
    return folder, pinseat("survey", folder, "--json")


def findings(said: Said) -> dict[str, list[dict[str, object]]]:
    by_code: dict[str, list[dict[str, object]]] = {}
    for found in said.answer["findings"]:
        by_code.setdefault(found["code"], []).append(found)
    return by_code


def test_two_teeth_without_a_common_draw_are_told_how_short_and_what_to_cut(blocks) -> None:
    _, said = blocks
    assert said.code == 0, said.err
    window = said.answer["steps"]["survey"]["window"]
    assert window["short_deg"] == pytest.approx(5.0, abs=0.05)
    assert set(window["limited_by"]) == {"wall 2 of tooth 11", "wall 1 of tooth 22"}
    (draw,) = findings(said)["survey.draw"]
    assert draw["verdict"] == "stop"
    assert draw["do"].count("0.17 mm off the top of the wall") == 2
    assert "on one tooth alone, 0.35 mm off the top" in draw["do"]
    assert "pulp" in draw["do"]


def test_the_sheet_measures_the_walls(blocks) -> None:
    folder, said = blocks
    draw = np.array(said.answer["steps"]["survey"]["window"]["centre"])
    lean_deg = np.degrees(np.arctan2(-draw[0], draw[2]))
    for found in findings(said)["survey.taper"]:
        open_deg = {"wall 1 of tooth 11": 9.0, "wall 2 of tooth 11": -3.0}.get(found["where"])
        if open_deg is not None:
            sign = 1.0 if found["where"].startswith("wall 1") else -1.0
            assert found["value"] == pytest.approx(open_deg + sign * lean_deg, abs=0.2)
    for name in ("survey-sheet.pdf", "survey.ply", "survey.glb"):
        assert (folder / "results" / name).stat().st_size > 10_000


def test_what_has_not_changed_is_not_computed_again(blocks) -> None:
    folder, said = blocks
    lines = (folder / "log.jsonl").read_text(encoding="utf-8")
    assert pinseat("survey", folder, "--json").out == said.out
    assert (folder / "log.jsonl").read_text(encoding="utf-8") == lines


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('kind = "wall"\ntooth = 22', 'kind = "wall"\ntooth = 24', "this tooth is not an abutment (24"),
        ('kind = "wall"', 'kind = "well"', "well"),
        ("0.3, 2.0]", "0.3, 12.0]", "this pick lies off the scanned surface"),
        ('kind = "wall"', 'kind = "prepared"', "needs a closed margin line"),
    ],
)
def test_a_wrong_pick_is_refused(blocks, tmp_path: Path, old: str, new: str, says: str) -> None:
    folder, _ = blocks
    (tmp_path / "scans").mkdir()
    (tmp_path / "scans/two.stl").write_bytes((folder / "scans/two.stl").read_bytes())
    text = (folder / "case.toml").read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "case.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(PinseatError) as refused:
        chain.run(tmp_path, until="survey")
    assert says in str(refused.value)


def test_a_margin_off_the_mesh_is_refused(blocks, tmp_path: Path) -> None:
    folder, _ = blocks
    (tmp_path / "scans").mkdir()
    (tmp_path / "scans/two.stl").write_bytes((folder / "scans/two.stl").read_bytes())
    margin = "\n[[margins]]\ntooth = 11\npoints = [[-11, -3, 0], [-5, -3, 0], [-5, 3, 9], [-11, 3, 0]]\n"
    text = (folder / "case.toml").read_text(encoding="utf-8") + margin
    (tmp_path / "case.toml").write_text(text, encoding="utf-8")
    said = pinseat("survey", tmp_path)
    assert (said.code, len(said.err.strip().splitlines())) == (2, 1)
    for words in ("margin", "point 3", "off the scanned surface"):
        assert words in said.err


def calliper_case(folder: Path, tip_mm: float, *more: str) -> None:
    """Two 6 mm guide pins, feet 18.42 mm apart; each hole takes up 0.025 mm over 2.4 mm."""
    text = ['number = "two pins"', 'notation = "FDI"', "missing = [21]"]
    text += [
        f"[[abutments]]\ntooth = {tooth}\npins = 1\nhole_diameter_mm = 0.650\nhole_depth_mm = 2.5\n"
        "floor_relief_mm = 0.1\ncast_pin_diameter_mm = 0.625"
        for tooth in (11, 22)
    ]
    text.append(
        "[callipers]\nlayout = [{ tooth = 11, number = 1, x_mm = 0, y_mm = 0, guide_length_mm = 6 }, "
        "{ tooth = 22, number = 1, x_mm = 18.4, y_mm = 0, guide_length_mm = 6 }]"
    )
    for kind, mm in (("base", 18.42), ("tip", tip_mm)):
        text.append(
            f'[[callipers.readings]]\nkind = "{kind}"\npins = ["11-1", "22-1"]\nmm = [{mm}]\nu_mm = 0.02'
        )
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "case.toml").write_text("\n\n".join([*text, *more]) + "\n", encoding="utf-8")


def splay(folder: Path) -> Finding:
    """What the survey of a case says of its splay, computed in this process."""
    found = chain.run(folder, until="survey").results["survey"].findings
    return next(finding for finding in found if finding.code == "survey.splay")


def test_free_ends_too_far_apart_stop(tmp_path: Path) -> None:
    calliper_case(tmp_path, 18.60)
    found = findings(pinseat("survey", tmp_path, "--json"))
    (splay,) = found["survey.splay"]
    assert (splay["verdict"], splay["limit"]) == ("stop", pytest.approx(1.19, abs=0.005))
    assert splay["value"] == pytest.approx(1.72, abs=0.01)
    assert splay["uncertainty"] == pytest.approx(0.27, abs=0.005)
    assert "97." in splay["says"]
    assert found["survey.draw"][0]["verdict"] == "stop"


ALONG = '[[callipers.photos]]\nseen = "along the line"\npins = ["11-1", "22-1"]\ndeg = [{}]\nu_deg = 0.2'


def test_a_photograph_along_the_line_decides_what_callipers_cannot_see(tmp_path: Path) -> None:
    calliper_case(tmp_path / "blind", 18.42)
    blind = splay(tmp_path / "blind")
    assert blind.verdict == "cannot tell"
    assert "along their line" in blind.do

    calliper_case(tmp_path / "straight", 18.42, ALONG.format("0.1, -0.1"))
    assert splay(tmp_path / "straight").verdict == "clear"
    calliper_case(tmp_path / "crooked", 18.42, ALONG.format("2.4"))
    crooked = splay(tmp_path / "crooked")
    assert crooked.verdict == "stop"
    assert crooked.value == pytest.approx(2.4, abs=0.02)


def test_a_photograph_of_an_unknown_pin_is_refused(tmp_path: Path) -> None:
    calliper_case(tmp_path, 18.42, ALONG.format("0.1").replace("22-1", "22-3"))
    said = pinseat("survey", tmp_path)
    assert (said.code, len(said.err.strip().splitlines())) == (2, 1)
    assert "22-3" in said.err


def test_the_plan_of_readings_comes_before_any_reading_and_shrinks_as_they_are_taken(
    bench: tuple[Path, Said], tmp_path: Path
) -> None:
    text = (bench[0] / "case.toml").read_text(encoding="utf-8")
    head, *readings = text.split("[[callipers.readings]]")
    tail = readings[-1][readings[-1].index("[chain]") :]
    counts = []
    for some in ([], readings[:3], readings):
        body = "".join("[[callipers.readings]]" + one.replace(tail, "") for one in some)
        (tmp_path / "case.toml").write_text(head + body + "\n" + tail, encoding="utf-8")
        counts.append(len(chain.run(tmp_path, until="readings").results["readings"].steps))
    assert counts[0] > counts[1] > counts[2]
    assert (tmp_path / "results/readings.pdf").read_bytes().startswith(b"%PDF-")


def test_readings_without_a_layout_say_what_to_do(front: tuple[Path, Said]) -> None:
    said = pinseat("readings", front[0])
    assert (said.code, len(said.err.strip().splitlines())) == (2, 1)
    assert "[callipers]" in said.err
