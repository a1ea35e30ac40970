"""The workbench in a real Chromium with software rendering: first picture, frames, probe, memory, power cuts.

Needs a Chromium of the system's. Beside the first picture stands what a user would pick instead: the same
scan sent as the STL it came as, which the browser has to read, weld and shade itself before it can show it.
``python -m benchmarks workbench``; 200 power cuts take some minutes, ``PINSEAT_CUTS`` sets another number.
"""

from __future__ import annotations

import os
import shutil
import statistics
import tempfile
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
from playwright.sync_api import Browser, Page, sync_playwright

from pinseat.demo.cases import build
from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import edges
from pinseat.mesh.write import stl_bytes
from tests.power_cuts import power_cuts
from tests.serving import Served

ARGUMENTS = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


def case_of(folder: Path, triangles: int) -> Path:
    """A front case; a million triangles are made by cutting each of a quarter million in four."""
    scenario = build("front", triangles=min(triangles, 300_000))
    assert scenario.mesh is not None
    mesh = scenario.mesh if triangles <= 300_000 else finer(scenario.mesh)
    (folder / "scans").mkdir(parents=True)
    (folder / "scans" / "upper.stl").write_bytes(stl_bytes(mesh))
    (folder / "case.toml").write_text(scenario.toml, encoding="utf-8")
    return folder


def finer(mesh: Mesh) -> Mesh:
    """Each triangle cut in four at the middles of its sides."""
    found = edges(mesh)
    ends = found.ends
    key = {(int(min(a, b)), int(max(a, b))): i for i, (a, b) in enumerate(ends)}
    start = len(mesh.vertices)
    middles = mesh.vertices[ends].mean(axis=1)
    faces = []
    for a, b, c in mesh.faces.tolist():
        ab, bc, ca = (start + key[(min(p, q), max(p, q))] for p, q in ((a, b), (b, c), (c, a)))
        faces += [(a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca)]
    return Mesh(np.concatenate([mesh.vertices, middles]), np.array(faces, np.int32))


def memory_mb(pid: int) -> float:
    """Memory of a process and all it started."""
    total = 0.0
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError, ValueError):
            fields = path.read_text().rsplit(")", 1)[1].split()
            if int(path.parent.name) == pid or int(fields[1]) == pid:
                status = (path.parent / "status").read_text()
                total += float(
                    next(line.split()[1] for line in status.splitlines() if line.startswith("VmRSS"))
                )
    return total / 1024.0


def first_picture(browser: Browser, server: Served, *, warm: bool) -> tuple[float, Page]:
    """Seconds from asking for the page to the full scan on the screen."""
    context = browser.new_context(viewport={"width": 1500, "height": 900})
    page = context.new_page()
    page.set_default_timeout(120_000)
    if warm:
        page.goto(server.address)
        page.wait_for_selector("#stage[data-drawn]")
        page.goto("about:blank")
    started = time.perf_counter()
    page.goto(server.address if not warm else server.origin)
    page.wait_for_selector("#stage[data-drawn]")
    return time.perf_counter() - started, page


def drag(page: Page) -> tuple[float, float]:
    """Frames a second while turning, median and slowest tenth: one turn for each frame the browser grants."""
    page.wait_for_selector("#stage[data-tree]")
    took = page.evaluate(
        """() => new Promise((done) => {
        const v = pinseatViewer, took = [];
        let last = performance.now(), n = 0;
        const turn = () => {
          v.spin(0.02 * Math.cos(n / 9), 0.004 * Math.cos(n / 7));
          const now = performance.now();
          if (n > 20) took.push(now - last); // the drawing finds its pace first
          last = now;
          if (n++ < 140) requestAnimationFrame(turn); else done(took);
        };
        requestAnimationFrame(turn);
    })"""
    )
    frames = sorted(took)
    return 1000.0 / statistics.median(frames), 1000.0 / frames[int(0.9 * len(frames))]


def probe(page: Page) -> float:
    """Milliseconds for the number under the pointer, slowest of thirty places."""
    return float(
        page.evaluate(
            """() => { const v = pinseatViewer, took = [];
            for (let i = 0; i < 30; i++) { const t = performance.now();
              v.probe(v.wide * (0.3 + 0.4 * i / 30), v.high * 0.5); took.push(performance.now() - t); }
            return Math.max(...took); }"""
        )
    )


def plain_stl(browser: Browser, server: Served, scan: Path) -> float:
    """Seconds for the same scan as its STL, read and drawn by three.js alone, in the same browser."""
    page = browser.new_context(viewport={"width": 1500, "height": 900}).new_page()
    page.set_default_timeout(120_000)
    page.goto(server.address)
    page.route("**/plain.stl", lambda route: route.fulfill(body=scan.read_bytes()))
    return float(
        page.evaluate(
            """async () => { const started = performance.now();
            const { THREE, STLLoader } = await import('/kit/three.js');
            const got = await (await fetch('/plain.stl')).arrayBuffer();
            const shape = new STLLoader().parse(got);
            shape.computeVertexNormals(); shape.computeBoundingSphere();
            const canvas = document.createElement('canvas'); canvas.width = 640; canvas.height = 440;
            const renderer = new THREE.WebGLRenderer({ canvas, antialias: true });
            const scene = new THREE.Scene(); scene.add(new THREE.HemisphereLight(0xffffff, 0x888888, 2));
            scene.add(new THREE.Mesh(shape, new THREE.MeshStandardMaterial()));
            const ball = shape.boundingSphere, camera = new THREE.PerspectiveCamera(45, 640 / 440, 0.1, 1000);
            camera.position.copy(ball.center).addScalar(1.6 * ball.radius); camera.lookAt(ball.center);
            renderer.render(scene, camera); renderer.getContext().finish();
            return (performance.now() - started) / 1000; }"""
        )
    )


def pictures(browser: Browser, place: Path) -> None:
    """The table of three sizes."""
    heads = ("triangles", "first ever", "first", "as STL", "ratio", "drag", "slowest", "probe", "idle")
    print("".join(f"{head:>11}" for head in heads))
    for triangles in (120_000, 300_000, 1_000_000):
        folder = case_of(place / str(triangles), triangles)
        server = Served.start(folder)
        try:
            cold, page = first_picture(browser, server, warm=False)
            page.context.close()
            times = []
            for _ in range(3):
                warm, page = first_picture(browser, server, warm=True)
                times.append(warm)
                if len(times) < 3:
                    page.context.close()
            frames, slow = drag(page)
            took = probe(page)
            page.context.close()
            other = plain_stl(browser, server, folder / "scans" / "upper.stl")
            time.sleep(45.0)
            idle = memory_mb(server.process.pid)
        finally:
            server.stop()
        best = min(times)
        row = (f"{triangles}", f"{cold:.2f} s", f"{best:.2f} s", f"{other:.2f} s", f"{best / other:.2f}")
        row += (f"{frames:.0f}/s", f"{slow:.0f}/s", f"{took:.1f} ms", f"{idle:.0f} MB")
        print("".join(f"{cell:>11}" for cell in row))


def cuts(place: Path, many: int, seed: int = 7) -> None:
    """Kill server and workers at random moments; count what was acknowledged and is not there."""
    started = time.perf_counter()
    found = power_cuts(place, many, seed)
    print(
        f"{many} power cuts in {time.perf_counter() - started:.0f} s: {found.acknowledged} acknowledged "
        f"entries, edits and uploads, {found.lost} lost; {found.broken} cases that do not open, "
        f"{found.half_written} half-written results"
    )


def main() -> None:
    """Print both tables."""
    place = Path(tempfile.mkdtemp(prefix="pinseat-bench-"))
    path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    try:
        if path is None:
            print("no Chromium here: pictures left out")
        else:
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=path, args=ARGUMENTS)
                pictures(browser, place)
                browser.close()
        cuts(place, int(os.environ.get("PINSEAT_CUTS", "200")))
    finally:
        shutil.rmtree(place, ignore_errors=True)


if __name__ == "__main__":
    main()
