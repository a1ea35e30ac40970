"""A real Chromium in front of a real server; every picture it takes is kept under ``build/screens``."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from pinseat.case.files import atomic_write
from pinseat.demo.cases import build
from pinseat.mesh.write import stl_bytes
from tests.serving import Served
from tests.shared import made_once

SCREENS = Path(__file__).parents[2] / "build" / "screens"
ARGUMENTS = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
"""Software rendering: the same pictures with and without a graphics card."""


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if path is None:
        pytest.fail("these tests drive a Chromium that the system provides: apt-get install chromium")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def front(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo case with a scan of 120,000 triangles, computed once."""
    return made_once(tmp_path_factory, "bench-front", _computed)


def _computed(folder: Path) -> None:
    scenario = build("front", triangles=120_000)
    assert scenario.mesh is not None
    (folder / "scans").mkdir()
    atomic_write(folder / "scans" / "upper.stl", stl_bytes(scenario.mesh))
    atomic_write(folder / "case.toml", scenario.toml.encode())
    for until in ("seating", "impression"):
        code = "import sys, pathlib, pinseat.chain as c; c.run(pathlib.Path(sys.argv[1]), until=sys.argv[2])"
        subprocess.run([sys.executable, "-c", code, str(folder), until], check=True)


@pytest.fixture(scope="session")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of cases that is served."""
    return tmp_path_factory.mktemp("practice")


@pytest.fixture(scope="session")
def served(practice: Path) -> Iterator[Served]:
    server = Served.start(practice)
    yield server
    server.stop()


@pytest.fixture
def case(practice: Path, front: Path, request: pytest.FixtureRequest) -> Path:
    """A copy of the case for one test."""
    folder = practice / request.node.name[:60].replace("[", "-").strip("]")
    shutil.copytree(front, folder)
    return folder


Open = Callable[..., Page]


@pytest.fixture
def complaints() -> list[str]:
    """What the browser complained of."""
    return []


@pytest.fixture
def page_of(chromium: Browser, served: Served, case: Path, complaints: list[str]) -> Iterator[Open]:
    """Opens a page of the server; whatever the browser complains of fails the test."""
    contexts: list[BrowserContext] = []

    def open_page(path: str = "", *, dark: bool = False, size: tuple[int, int] = (1500, 900)) -> Page:
        context = chromium.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme="dark" if dark else "light",
            accept_downloads=True,
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(60_000)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on(
            "console", lambda line: complaints.append(line.text) if _complaint(line.type, line.text) else None
        )
        page.goto(served.address)
        page.goto(served.origin + (path if path.startswith("/") else f"/case/{case.name}/{path}"))
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []


def _complaint(kind: str, text: str) -> bool:
    """Errors, less the answers 409 and 422 that a test asks for, and the slowness of software rendering."""
    expected = ("status of 409", "status of 422", "GPU stall due to ReadPixels")
    return kind in ("error", "warning") and not any(words in text for words in expected)


@pytest.fixture(scope="session")
def keep() -> Callable[[Page, str], None]:
    """Keep a picture of a page under its name."""
    SCREENS.mkdir(parents=True, exist_ok=True)

    def kept(page: Page, name: str) -> None:
        page.screenshot(path=SCREENS / f"{name}.png")

    return kept
