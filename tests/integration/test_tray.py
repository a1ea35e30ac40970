"""``pinseat tray``: from a case folder to files, and to the plan at 1:1."""

from __future__ import annotations

import io
import json
import shutil
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest
import trimesh
import typst
from PIL import Image

from pinseat.demo.cases import build, write
from pinseat.mesh.write import stl_bytes
from pinseat.report.setting import page_count
from tests.shared import made_once

from .conftest import Said, pinseat

Ran = tuple[Path, Said]


@pytest.fixture(scope="session")
def front_tray(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    def make(folder: Path) -> None:
        scenario = build("front", triangles=120_000)
        assert scenario.mesh is not None
        (folder / "scans").mkdir()
        (folder / "scans" / "upper.stl").write_bytes(stl_bytes(scenario.mesh))
        (folder / "case.toml").write_text(scenario.toml + "\n[tray]\ngrid_mm = 0.45\n")
        keep_said(folder, pinseat("tray", folder))

    return said_in(made_once(tmp_path_factory, "front-tray", make))


@pytest.fixture(scope="session")
def bench_tray(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    def make(folder: Path) -> None:
        write("bench", folder / "bench")
        keep_said(folder / "bench", pinseat("tray", folder / "bench", "--json"))

    return said_in(made_once(tmp_path_factory, "bench-tray", make) / "bench")


def keep_said(folder: Path, said: Said) -> None:
    (folder / "said.json").write_text(json.dumps(asdict(said)), encoding="utf-8")


def said_in(folder: Path) -> Ran:
    return folder, Said(**json.loads((folder / "said.json").read_text(encoding="utf-8")))


def test_the_command_says_what_matters_and_writes_everything(front_tray: Ran) -> None:
    folder, said = front_tray
    assert (said.code, said.err) == (0, "")
    for words in ("clearance at least", "collisions along the draw", "light body", "sheets of 1.3 mm"):
        assert words in " ".join(said.out.split())
    for name in (
        "tray.stl",
        "tray.3mf",
        "tray-relief.glb",
        "tray-block-out.glb",
        "tray-sheet.pdf",
        "tray-plan.pdf",
    ):
        assert (folder / "results" / name).stat().st_size > 1000
    stored = json.loads((folder / "results" / "tray.json").read_text())
    assert len(json.dumps(stored)) < 200_000
    read = trimesh.load(folder / "results" / "tray.stl")
    read.merge_vertices()
    assert read.is_watertight
    assert read.volume > 5000.0


def test_sheet_and_plan_have_their_pages(front_tray: Ran) -> None:
    folder, _ = front_tray
    assert page_count((folder / "results" / "tray-sheet.pdf").read_bytes()) == 1
    assert page_count((folder / "results" / "tray-plan.pdf").read_bytes()) == 2


def test_a_missing_file_is_made_again_the_same(bench_tray: Ran, tmp_path: Path) -> None:
    folder = tmp_path / "case"
    shutil.copytree(bench_tray[0], folder)
    plan = folder / "results" / "tray-plan.pdf"
    before = plan.read_bytes()
    plan.unlink()
    assert pinseat("tray", folder).code == 0
    assert plan.read_bytes() == before


def test_callipers_alone_give_the_plan_no_body_and_say_so(bench_tray: Ran) -> None:
    folder, said = bench_tray
    assert (said.code, said.err) == (0, "")
    tray = said.answer["steps"]["tray"]
    assert tray["made"] is False
    assert "no file to print" in tray["why_not"]
    assert tray["files"] == ["results/tray-plan.pdf"]
    assert not (folder / "results" / "tray.stl").exists()
    assert page_count((folder / "results" / "tray-plan.pdf").read_bytes()) == 2


def test_what_is_wrong_is_one_line_and_a_remedy(bench_tray: Ran, tmp_path: Path) -> None:
    folder = tmp_path / "case"
    shutil.copytree(bench_tray[0], folder)
    toml = folder / "case.toml"
    toml.write_text(toml.read_text() + "\n[tray]\nrelief_sheets = 2\n")
    said = pinseat("tray", folder)
    assert said.code == 2
    assert said.err.count("\n") == 1
    assert "baseplate wax 1.3 mm" in said.err
    assert "sheet_mm" in said.err


def test_the_plan_is_to_scale() -> None:
    """The second page at ten pixels a millimetre: cross 50 mm, ruler 100 mm, a square of 40 mm."""
    from pinseat.report.setting import template

    square = [[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0], [0.0, 0.0]]
    data = {
        "heading": "x", "footer": "x", "case": {"number": "x", "title": "", "bridge": ""},
        "verdict": {"word": "clear", "why": "x", "next": "x"}, "stock": "x", "zones": [], "piles": [],
        "filler": "x", "area": "x", "outline": "", "stops": "x", "wobble": "x", "cautions": [], "made": "x",
        "drawing": {
            "outline": [square], "patches": [], "openings": [], "feet": [], "names": [],
            "width": 40.0, "height": 40.0,
        },
    }  # fmt: skip
    inputs = {"data": json.dumps(data), "size": "9", "most": "9"}
    ppi = 254.0  # ten pixels a millimetre
    pages = typst.Compiler().compile(template("tray_plan.typ"), format="png", ppi=ppi, sys_inputs=inputs)
    page = np.array(Image.open(io.BytesIO(pages[1])).convert("L")) < 128
    assert page.shape == (2970, 2100)
    middle = page[:1800, 900:1200]  # the square stands in the middle of the page
    lines = np.flatnonzero(middle.mean(axis=1) > 0.98)
    columns = np.flatnonzero(page[lines.max() - 200, 800:1300])
    assert columns.max() - columns.min() == pytest.approx(400, abs=6)
    below = lines[lines > lines.max() - 450]
    assert below.max() - below.min() == pytest.approx(400, abs=6)
    proof = page[1800:2830]
    down = np.flatnonzero(proof[:, :750].any(axis=1))
    across = np.flatnonzero(proof[:, :750].any(axis=0))
    assert down.max() - down.min() == pytest.approx(500, abs=5)
    assert across.max() - across.min() == pytest.approx(500, abs=5)
    longest = max((np.ptp(np.flatnonzero(row[750:])) for row in proof if row[750:].sum() > 900), default=0)
    assert longest == pytest.approx(1000, abs=6)
