"""The server as a process: what a page would ask it, without a browser."""

from __future__ import annotations

import http.client
import io
import json
import signal
import socket
import subprocess
import threading
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import trimesh

from pinseat.case import log
from pinseat.case.document import load_case
from pinseat.demo.cases import build
from pinseat.mesh.model import Mesh
from pinseat.mesh.write import stl_bytes
from tests.serving import Served


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one case from callipers."""
    folder = tmp_path_factory.mktemp("practice")
    scenario = build("bench")
    (folder / "b").mkdir()
    (folder / "b" / "case.toml").write_text(scenario.toml, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def served(practice: Path) -> Iterator[Served]:
    server = Served.start(practice)
    yield server
    server.stop()


def _revision(served: Served, case: str = "b") -> str:
    return served.ask(f"/case/{case}/sheet")[1]["revision"]


def _edit(served: Served, revision: str, place: list, text: str, case: str = "b") -> tuple:
    changes = [{"place": place, "text": text}]
    return served.ask(f"/case/{case}/edit", {"revision": revision, "changes": changes})


PIN = ["abutments", 0, "cast_pin_diameter_mm"]


def test_ctrl_c_ends_it_at_once_and_quietly_while_pages_are_open(practice: Path) -> None:
    served = Served.start(practice, subprocess.PIPE)
    pages = [http.client.HTTPConnection("127.0.0.1", served.port, timeout=10) for _ in range(2)]
    answers = []
    for page in pages:
        held = {"cookie": f"pinseat-{served.port}={served.key}", "origin": served.origin}
        page.request("GET", "/case/b/events", headers=held)
        answers.append(page.getresponse())
        assert answers[-1].readline().startswith(b"data: ")
    served.process.send_signal(signal.SIGINT)
    assert served.process.stderr is not None
    said = served.process.stderr.read()
    for page, answer in zip(pages, answers, strict=True):
        assert answer.read().startswith(b"\n")  # the stream came to its own end
        page.close()
    served.process.stderr.close()
    served.stop()
    assert said in ("", "pinseat: stopped; nothing half-written was left behind\n")


def test_only_this_machine_can_reach_it(served: Served) -> None:
    other = next((a[4][0] for a in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)), "")
    with pytest.raises(OSError, match=r"refused|timed out|unreachable"):
        socket.create_connection(("127.0.0.2" if other.startswith("127.") else other, served.port), 2).close()


def test_the_pages_come_with_the_key_alone(served: Served) -> None:
    assert served.ask("/case/b/", cookie="none=1")[0] == 403
    assert served.ask("/", host=f"evil.example:{served.port}")[0] == 421
    status, body = served.ask("/case/b/")
    assert status == 200
    assert body.startswith(b"<!doctype html><html")
    for style in (b"style=", b"onclick=", b"<style", b"http://", b"https://"):
        assert style not in body.replace(b"http://www.w3.org", b"")


def test_an_upgrade_to_a_websocket_is_not_answered_as_one(served: Served) -> None:
    asked = {"upgrade": "websocket", "connection": "Upgrade", "sec-websocket-version": "13"}
    asked["sec-websocket-key"] = "AAAAAAAAAAAAAAAAAAAAAA=="
    status, _ = served.ask("/case/b/events2", **asked, origin="https://evil.example")
    assert status == 403


def test_an_edit_is_on_the_disk_when_it_is_acknowledged(served: Served, practice: Path) -> None:
    before = load_case(practice / "b").abutments[0].cast_pin_diameter_mm
    status, said = _edit(served, _revision(served), PIN, "0,58")
    assert status == 200
    assert load_case(practice / "b").abutments[0].cast_pin_diameter_mm == 0.58
    assert served.ask("/case/b/undo", {"revision": said["revision"]})[0] == 200
    assert load_case(practice / "b").abutments[0].cast_pin_diameter_mm == before


def test_the_second_of_two_tabs_is_told(served: Served, practice: Path) -> None:
    both = _revision(served)
    assert _edit(served, both, PIN, "0.57")[0] == 200
    status, said = _edit(served, both, PIN, "0.56")
    assert status == 409
    assert said["conflict"]["document"]["abutments"][0]["cast_pin_diameter_mm"] == 0.57
    assert _edit(served, said["conflict"]["revision"], PIN, "0.56")[0] == 200
    assert load_case(practice / "b").abutments[0].cast_pin_diameter_mm == 0.56


@pytest.mark.parametrize(
    ("place", "text", "told"),
    [
        (PIN, "thick", "not a number"),
        (PIN, "9", "less than 3"),
        (["seat", "wanted_probability"], "2", "large"),
        (["nothing"], "2", "no case has"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    served: Served, practice: Path, place: list, text: str, told: str
) -> None:
    before = (practice / "b" / "case.toml").read_bytes()
    status, said = _edit(served, _revision(served), place, text)
    assert status == 422
    assert told in said["refused"]["says"]
    assert (practice / "b" / "case.toml").read_bytes() == before


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"{", b'{"changes": []}', b'{"revision": 3, "changes": [{"place": [[]]}]}']
)
def test_nonsense_is_answered_plainly(served: Served, body: bytes) -> None:
    assert served.ask("/case/b/edit", body)[0] in (400, 422)


@pytest.mark.parametrize(
    "path",
    [
        "/case/b/file/case.toml",
        "/case/b/file/results/../case.toml",
        "/case/b/file/results/%2e%2e/case.toml",
        "/case/b/file//etc/passwd",
        "/case/..%2fb/",
        "/case/.hidden/",
        "/case/c/",
        "/static/../app.py",
        "/case/b/array/../case.toml",
        "/case/b/array/results/none.stl",
    ],
)
def test_paths_stay_inside(served: Served, path: str) -> None:
    status, body = served.ask(path)
    assert status in (404, 422)
    assert b"abutments" not in (body if isinstance(body, bytes) else json.dumps(body).encode())


def test_a_log_entry_is_on_the_disk_when_it_is_acknowledged(served: Served, practice: Path) -> None:
    entry = {"kind": "reading", "value": "18,42", "unit": "mm", "instrument": "calliper 3", "who": "ab"}
    status, said = served.ask("/case/b/log", entry)
    assert status == 200
    last = log.read(practice / "b").entries[-1]
    assert last.model_dump(mode="json") == said["entered"]
    assert last.reading is not None
    assert last.reading.value == 18.42
    for wrong in (
        {**entry, "unit": ""},
        {**entry, "value": "much"},
        {"kind": "note"},
        {"kind": "?", "note": "x"},
    ):
        assert served.ask("/case/b/log", wrong)[0] == 422
    assert log.read(practice / "b").entries[-1] == last


def test_a_change_under_the_page_is_noticed_and_two_tabs_see_it(served: Served, practice: Path) -> None:
    told: list[list[dict]] = [[], []]

    def listen(mine: list[dict]) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", served.port, timeout=20)
        connection.request("GET", "/case/b/events", headers={"cookie": f"pinseat-{served.port}={served.key}"})
        answer = connection.getresponse()
        while len({one["stamp"] for one in mine}) < 2:
            line = answer.readline()
            if line.startswith(b"data: "):
                mine.append(json.loads(line[6:]))
        connection.close()

    tabs = [threading.Thread(target=listen, args=(mine,)) for mine in told]
    for tab in tabs:
        tab.start()
    served.until(lambda: all(told))
    path = practice / "b" / "case.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n# by hand\n", encoding="utf-8")
    for tab in tabs:
        tab.join(20)
        assert not tab.is_alive()


def _run(served: Served) -> dict:
    connection = http.client.HTTPConnection("127.0.0.1", served.port, timeout=20)
    connection.request("GET", "/case/b/events", headers={"cookie": f"pinseat-{served.port}={served.key}"})
    answer = connection.getresponse()
    line = answer.readline()
    connection.close()
    return json.loads(line[6:])["run"]


def test_a_run_goes_on_in_the_background_and_stops_at_once(served: Served, practice: Path) -> None:
    assert served.ask("/case/b/run", {"until": "seating"})[0] == 200
    assert served.ask("/case/b/run", {"until": "seating"})[0] == 422
    assert _run(served)["state"] == "running"
    assert served.ask("/case/b/stop", {})[0] == 200
    assert _run(served)["state"] == "stopped"
    assert not list((practice / "b" / "results").glob(".*"))
    assert served.ask("/case/b/run", {"until": "seating"})[0] == 200
    served.until(lambda: _run(served)["state"] == "done")
    sheet = {part["name"]: part["html"] for part in served.ask("/case/b/sheet")[1]["parts"]}
    assert "within 120 µm" in sheet["bar"]
    assert 'class="ledger"' in sheet["ledger"]
    assert "sheet-survey" in sheet
    overlay = served.ask("/case/b/overlay")[1]
    assert overlay["scan"] == ""
    assert len(overlay["pins"]) > 2
    status, pages = served.ask("/case/b/whole-report")
    assert (status, pages[:5]) == (200, b"%PDF-")


def test_a_case_goes_out_as_zip_and_comes_back(served: Served, practice: Path) -> None:
    status, data = served.ask("/case/b/zip")
    assert status == 200
    assert "case.toml" in zipfile.ZipFile(io.BytesIO(data)).namelist()
    status, said = served.ask("/import?name=b.zip", data)
    assert (status, said["case"]) == (200, "/case/b-2/")
    assert (practice / "b-2" / "case.toml").read_bytes() == (practice / "b" / "case.toml").read_bytes()
    assert served.ask("/import?name=x.zip", b"no zip")[0] == 422
    assert not [path for path in practice.iterdir() if path.name.endswith(".part")]


@pytest.fixture(scope="module")
def dropped(served: Served, practice: Path) -> Path:
    """A case that was started from a dropped scan."""
    solid = trimesh.creation.box((30.0, 20.0, 10.0))
    scan = stl_bytes(Mesh(np.array(solid.vertices), np.array(solid.faces, np.int32)))
    status, said = served.ask("/new?number=26%2F014&name=upper%20jaw.STL", scan)
    assert (status, said["case"]) == (200, "/case/26-014/")
    assert (practice / "26-014" / "scans" / "upper-jaw.stl").read_bytes() == scan
    return practice / "26-014"


def test_a_case_starts_from_a_dropped_scan(served: Served, practice: Path, dropped: Path) -> None:
    scan = (dropped / "scans" / "upper-jaw.stl").read_bytes()
    assert 'file = "scans/upper-jaw.stl"' in (dropped / "case.toml").read_text(encoding="utf-8")
    found = served.ask("/cases?search=26%2F014")[1]
    assert b"26/014" in found
    assert b"/case/b/" not in found
    for query, body in (("number=5&name=a.exe", scan), ("number=6&name=a.stl", b""), ("number=%20", b"")):
        assert served.ask(f"/new?{query}", body)[0] == 422
    assert not (practice / "5").exists()
    assert not (practice / "6").exists()


def test_a_scan_sent_twice_is_kept_once(served: Served, dropped: Path) -> None:
    scan = (dropped / "scans" / "upper-jaw.stl").read_bytes()
    for name, data in (("upper-jaw.stl", scan), ("upper-jaw.stl", scan + b"\0")):
        assert served.ask(f"/case/26-014/scan?name={name}", data)[0] == 200
    assert sorted(p.name for p in (dropped / "scans").iterdir()) == ["upper-jaw-2.stl", "upper-jaw.stl"]
    assert served.ask("/case/b/scan?name=a.stl", scan)[0] == 422  # that case is measured with callipers


def test_a_broken_off_upload_leaves_nothing(served: Served, dropped: Path) -> None:
    line = socket.create_connection(("127.0.0.1", served.port), 10)
    head = (
        f"POST /case/26-014/scan?name=torn.stl HTTP/1.1\r\nhost: 127.0.0.1:{served.port}\r\n"
        f"origin: {served.origin}\r\ncookie: pinseat-{served.port}={served.key}\r\n"
        "content-length: 1000000\r\n\r\n"
    )
    line.sendall(head.encode() + b"x" * 5000)
    scans = dropped / "scans"
    served.until(lambda: any(path.name.endswith(".part") for path in scans.iterdir()))
    line.close()
    served.until(lambda: not any(path.name.endswith(".part") for path in scans.iterdir()))
    assert not (scans / "torn.stl").exists()


def test_it_ends_with_all_it_started(practice: Path) -> None:
    server = Served.start(practice / "b")
    assert server.ask("/")[0] == 303
    assert server.ask("/new?number=1", b"")[0] == 422
    server.ask("/case/b/sheet")
    children = Path(f"/proc/{server.process.pid}/task/{server.process.pid}/children")
    started = server.until(lambda: children.read_text().split()) if children.exists() else []
    server.stop()
    server.until(
        lambda: (
            not any(
                Path(f"/proc/{pid}/cmdline").exists()
                and b"pinseat" in Path(f"/proc/{pid}/cmdline").read_bytes()
                for pid in started
            )
        ),
        10,
    )
