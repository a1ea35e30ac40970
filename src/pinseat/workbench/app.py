"""The addresses of the page: what each gives, and what each changes."""

from __future__ import annotations

import asyncio
import contextlib
import json
import mimetypes
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable
from importlib.resources import files as resources
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from pinseat.case import archive, edit, log, returns
from pinseat.case.edit import Change, ConflictError, Draft
from pinseat.case.files import inside, new_case, plainly, sha256_of, sync_folder
from pinseat.case.trouble import UNFILLED
from pinseat.errors import CaseError, PinseatError, WorkbenchError
from pinseat.workbench import forms, pages
from pinseat.workbench.bench_log import typed_entry
from pinseat.workbench.desk import Desk, free_name
from pinseat.workbench.guard import App, Door, Guard, TooLargeError, limited
from pinseat.workbench.hands import RefusedError
from pinseat.workbench.kit import Kit
from pinseat.workbench.overlay import overlay
from pinseat.workbench.sheet import refused
from pinseat.workbench.shelf import name_of, path_of
from pinseat.workbench.view import pieces_of

LARGEST_SCAN = 600_000_000
"""Bytes of a scan or a zip that may be sent: about ten times a large arch scan."""
LARGEST_WORDS = 200_000
"""Bytes of anything else."""
SCANS = (".stl", ".ply", ".obj", ".off", ".3mf")
_SHOWN = {".svg", ".png", ".pdf"}


def make_app(desk: Desk, kit: Kit, door: Door) -> App:
    """The whole application behind its guard.

    Parameters
    ----------
    desk : Desk
    kit : Kit
    door : Door

    Returns
    -------
    ASGI application
    """

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        desk.begin()
        yield
        await desk.end()

    app = Starlette(
        routes=_Routes(desk, kit).all(),
        lifespan=lifespan,
        exception_handlers={PinseatError: _told, HTTPException: _plainly_told},
    )
    return Guard(app, door)


async def _told(request: Request, error: Exception) -> Response:
    assert isinstance(error, PinseatError)
    if isinstance(error, ConflictError):
        said = {**refused(error), "revision": error.now.revision, "document": error.now.document}
        return JSONResponse({"conflict": said}, 409)
    return JSONResponse({"refused": refused(error)}, 422)


async def _plainly_told(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return JSONResponse({"refused": refused(WorkbenchError(str(error.detail)))}, error.status_code)


Answer = Callable[[Request], Awaitable[Response]]


class _Routes:
    """Every address of one server."""

    def __init__(self, desk: Desk, kit: Kit) -> None:
        self.desk, self.kit = desk, kit

    def all(self) -> list[Route | Mount]:
        """The table of addresses."""
        get: dict[str, Answer] = {
            "": self.bench,
            "sheet": self.sheet,
            "events": self.events,
            "overlay": self.overlay,
            "array/{what:path}": self.array,
            "file/{name:path}": self.file,
            "chair": self.chair,
            "zip": self.zip,
            "whole-report": self.whole_report,
        }
        post: dict[str, Answer] = {
            "edit": self.edit,
            "undo": self.undo,
            "redo": self.redo,
            "run": self.run,
            "stop": self.stop,
            "log": self.log,
            "scan": self.scan,
            "returns": self.returns,
        }
        return [
            Route("/", self.front),
            Route("/cases", self.cases),
            Route("/new", self.new, methods=["POST"]),
            Route("/import", self.take_in, methods=["POST"]),
            *(Route(f"/case/{{case}}/{path}", call) for path, call in get.items()),
            *(Route(f"/case/{{case}}/{path}", call, methods=["POST"]) for path, call in post.items()),
            Route("/favicon.ico", self.nothing),
            Route("/kit/three.js", self.three),
            Route("/kit/serif.ttf", self.serif),
            Route("/kit/fonts.css", self.fonts),
            Mount("/kit/fonts", StaticFiles(directory=self.kit.fonts / "fonts")),
            Mount("/static", StaticFiles(directory=str(resources("pinseat.workbench") / "static"))),
        ]

    # what is shown

    async def nothing(self, request: Request) -> Response:
        """Browsers ask for a sign of the site by themselves; there is none."""
        return Response(status_code=204)

    async def front(self, request: Request) -> Response:
        """The case, or the list of cases."""
        if self.desk.single:
            return RedirectResponse(f"/case/{self.desk.name}/", 303)
        return HTMLResponse(pages.cases_page(self.desk.practice))

    async def cases(self, request: Request) -> Response:
        """The list of cases that fit what was searched for."""
        if self.desk.single:
            raise HTTPException(404, "only one case is open here")
        found = pages.case_rows(self.desk.practice, request.query_params.get("search", ""))
        return HTMLResponse(str(found))

    async def bench(self, request: Request) -> Response:
        """The bench sheet."""
        name = request.path_params["case"]
        view, stamp = self.desk.view(name), self.desk.stamp(name)
        return HTMLResponse(pages.bench_page(view, single=self.desk.single, stamp=stamp))

    async def chair(self, request: Request) -> Response:
        """The chair card."""
        return HTMLResponse(pages.chair_page(self.desk.view(request.path_params["case"])))

    async def sheet(self, request: Request) -> Response:
        """The parts of the sheet as JSON."""
        return JSONResponse(self.desk.sheet(request.path_params["case"]))

    async def events(self, request: Request) -> Response:
        """A stream that says when to look again, and how far a run has got."""
        name = request.path_params["case"]
        self.desk.folder(name)
        return StreamingResponse(
            self._stream(request, name), media_type="text/event-stream", headers={"cache-control": "no-store"}
        )

    async def _stream(self, request: Request, name: str) -> AsyncIterator[str]:
        before = ""
        with self.desk.watching(name) as changed:
            while not (self.desk.parting or await request.is_disconnected()):
                try:
                    run = self.desk.run_of(name)
                    said = {
                        "stamp": self.desk.stamp(name),
                        "run": None if run is None else run.__dict__,
                    }
                except CaseError:
                    said = {"stamp": "gone", "run": None}
                text = json.dumps(said)
                if text != before:
                    before = text
                    yield f"data: {text}\n\n"
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(changed.wait(), 15.0)
                if not changed.is_set():
                    yield ": still here\n\n"
                changed.clear()

    async def overlay(self, request: Request) -> Response:
        """Pins, contacts, draw and layers of the drawing."""
        return JSONResponse(overlay(self.desk.view(request.path_params["case"])))

    async def array(self, request: Request) -> Response:
        """A surface, or numbers on one, as raw arrays."""
        folder = self.desk.folder(request.path_params["case"])
        what = request.path_params["what"]
        if what not in ("scan", "undercut"):
            inside(folder, what)
        path = path_of(folder, await asyncio.to_thread(name_of, folder, what))
        if not path.is_file():
            path = path_of(folder, await self.desk.drawing.ask("draw", folder=str(folder), what=what))
        return FileResponse(path, media_type="application/octet-stream")

    async def file(self, request: Request) -> Response:
        """A file of the case's results."""
        folder = self.desk.folder(request.path_params["case"])
        name = request.path_params["name"]
        path = inside(folder, name)
        if not name.startswith("results/") or not path.is_file():
            raise HTTPException(404, "there is no such file among the results")
        kind = mimetypes.guess_type(path.name)[0] or "application/octet-stream"
        seen = path.suffix in _SHOWN
        return FileResponse(
            path,
            media_type=kind if seen else "application/octet-stream",
            filename=path.name,
            content_disposition_type="inline" if seen else "attachment",
        )

    async def zip(self, request: Request) -> Response:
        """The whole case as a zip."""
        name = request.path_params["case"]
        data = await asyncio.to_thread(archive.zip_bytes, self.desk.folder(name))
        said = {
            "content-disposition": f'attachment; filename="{name.encode("ascii", "replace").decode()}.zip"'
        }
        return Response(data, media_type="application/zip", headers=said)

    async def whole_report(self, request: Request) -> Response:
        """Every page that holds, bound in one PDF as the case stands now."""
        folder = self.desk.folder(request.path_params["case"])
        path = Path(await self.desk.drawing.ask("bind", folder=str(folder)))
        return FileResponse(path, media_type="application/pdf", filename=path.name)

    async def three(self, request: Request) -> Response:
        """three.js as it was installed."""
        return FileResponse(self.kit.three, media_type="text/javascript", headers=_KEPT)

    async def serif(self, request: Request) -> Response:
        """The type face of the headings."""
        return FileResponse(self.kit.serif, media_type="font/ttf", headers=_KEPT)

    async def fonts(self, request: Request) -> Response:
        """The style that names the type face of the text."""
        return FileResponse(self.kit.fonts / "fonts.css", media_type="text/css", headers=_KEPT)

    # what is changed

    async def edit(self, request: Request) -> Response:
        """Change facts of the case: all of them or none."""
        folder = self.desk.folder(request.path_params["case"])
        asked = await _json(request)
        changes = [_change(one) for one in _list(asked, "changes")]
        draft = await asyncio.to_thread(
            edit.change, folder, _word(asked, "revision"), changes, str(asked.get("what", ""))
        )
        self.desk.touch(folder)
        return JSONResponse({"revision": draft.revision})

    async def undo(self, request: Request) -> Response:
        """Take the last change back."""
        return await self._turn(request, edit.undo)

    async def redo(self, request: Request) -> Response:
        """Make it again."""
        return await self._turn(request, edit.redo)

    async def _turn(self, request: Request, turn: Callable[[Path, str], Draft]) -> Response:
        folder = self.desk.folder(request.path_params["case"])
        revision = _word(await _json(request), "revision")
        draft = await asyncio.to_thread(turn, folder, revision)
        self.desk.touch(folder)
        return JSONResponse({"revision": draft.revision})

    async def run(self, request: Request) -> Response:
        """Start computing in the background."""
        folder = self.desk.folder(request.path_params["case"])
        asked = await _json(request)
        run = self.desk.runs.start(folder, str(asked.get("until", "")))
        return JSONResponse({"run": run.__dict__})

    async def stop(self, request: Request) -> Response:
        """Stop at once."""
        folder = self.desk.folder(request.path_params["case"])
        await self.desk.runs.stop(folder)
        return JSONResponse({"stopped": True})

    async def log(self, request: Request) -> Response:
        """Enter a line in the bench log; when this answers, it is on the disk."""
        view = self.desk.view(request.path_params["case"])
        entry = typed_entry(await _json(request), pieces_of(view))
        done = await asyncio.to_thread(log.append, view.folder, entry)
        self.desk.touch(view.folder)
        return JSONResponse({"entered": done.model_dump(mode="json")})

    async def scan(self, request: Request) -> Response:
        """Take in a scan as it comes, and state it in the case."""
        folder = self.desk.folder(request.path_params["case"])
        name = await self._receive_scan(request, folder)
        draft = await asyncio.to_thread(_state_scan, folder, name)
        self.desk.touch(folder)
        return JSONResponse({"file": f"scans/{name}", "revision": draft.revision})

    async def _receive_scan(self, request: Request, folder: Path) -> str:
        given = Path(request.query_params.get("name", "").replace("\\", "/")).name
        stem = free_name(Path("/nowhere"), Path(given).stem or "scan")
        ending = Path(given).suffix.lower()
        if ending not in SCANS:
            raise WorkbenchError(
                "this is no scan that can be read", value=given, limit=", ".join(SCANS), do="export it so"
            )
        with plainly(folder / "scans"):
            (folder / "scans").mkdir(exist_ok=True)
        part = await _receive(request, folder / "scans")
        name, again = f"{stem}{ending}", 2
        while (folder / "scans" / name).exists():
            if sha256_of(folder / "scans" / name) == sha256_of(part):
                part.unlink()
                return name
            name, again = f"{stem}-{again}{ending}", again + 1
        with plainly(part):
            part.rename(folder / "scans" / name)
            sync_folder(folder / "scans")
        return name

    async def new(self, request: Request) -> Response:
        """Start a case; with a scan as body, from the scan."""
        self._many()
        number = request.query_params.get("number", "")
        name = free_name(self.desk.practice, number)
        folder = self.desk.practice / name
        await asyncio.to_thread(new_case, folder, number.strip())
        if request.query_params.get("name"):
            try:
                scan = await self._receive_scan(request, folder)
            except BaseException:
                _take_back(folder)
                raise
            await asyncio.to_thread(_state_scan, folder, scan)
        return JSONResponse({"case": f"/case/{name}/"})

    async def take_in(self, request: Request) -> Response:
        """Take in a zipped case."""
        self._many()
        given = Path(request.query_params.get("name", "case")).stem
        name = free_name(self.desk.practice, given)
        part = await _receive(request, self.desk.practice)
        try:
            await asyncio.to_thread(archive.unzip, part, self.desk.practice / name)
        finally:
            part.unlink(missing_ok=True)
        return JSONResponse({"case": f"/case/{name}/"})

    def _many(self) -> None:
        if self.desk.single:
            raise WorkbenchError(
                "only one case is open here", do="open the folder that holds your cases: pinseat open FOLDER"
            )

    async def returns(self, request: Request) -> Response:
        """Read a returned ticket in."""
        folder = self.desk.folder(request.path_params["case"])
        body = await _body(request, 2_000_000)
        told = await asyncio.to_thread(returns.take_in, folder, body)
        self.desk.touch(folder)
        return JSONResponse({"told": list(told)})


_KEPT = {"cache-control": "private, max-age=86400"}


async def _body(request: Request, most: int) -> bytes:
    try:
        return b"".join([part async for part in limited(request.receive, most)])
    except TooLargeError:
        raise HTTPException(413, f"this is more than {most / 1e6:g} MB") from None
    except ConnectionError:
        raise HTTPException(400, "the sending was broken off") from None


async def _json(request: Request) -> dict[str, Any]:
    try:
        held = json.loads(await _body(request, LARGEST_WORDS) or b"{}")
    except ValueError:
        raise HTTPException(400, "this is not JSON") from None
    if not isinstance(held, dict):
        raise HTTPException(400, "this is not a table")
    return held


def _word(asked: dict[str, Any], key: str) -> str:
    if not isinstance(asked.get(key), str):
        raise HTTPException(400, f"{key} is missing")
    return str(asked[key])


def _list(asked: dict[str, Any], key: str) -> list[Any]:
    if not isinstance(asked.get(key), list) or not asked[key]:
        raise HTTPException(400, f"{key} is missing")
    return list(asked[key])


def _change(one: Any) -> Change:
    """A change as the page states it: as typed text, as an item to add, or as something to take out."""
    if not isinstance(one, dict) or not isinstance(one.get("place"), list) or not one["place"]:
        raise HTTPException(400, "a change needs its place")
    place = tuple(one["place"])
    if not isinstance(place[0], str) or not all(isinstance(key, str | int) for key in place):
        raise HTTPException(400, "a place is made of keys and list places")
    if "text" in one:
        return Change(place, forms.typed(place, str(one["text"])))
    forms.node_at(place)
    value = one.get("value")
    if value is not None and not isinstance(value, dict):
        raise HTTPException(400, "only an item can be added whole")
    return Change(place, value)


async def _receive(request: Request, folder: Path) -> Path:
    """Write a body to a file of its own as it comes; nothing is left of it when it is broken off."""
    part = folder / f".upload.{secrets.token_hex(6)}.part"
    try:
        with plainly(part), part.open("xb") as file:
            async for data in limited(request.receive, LARGEST_SCAN):
                await asyncio.to_thread(file.write, data)
            await asyncio.to_thread(_settle, file)
    except BaseException as error:
        part.unlink(missing_ok=True)
        if isinstance(error, TooLargeError):
            raise HTTPException(413, f"this is more than {LARGEST_SCAN / 1e6:g} MB") from None
        if isinstance(error, ConnectionError):
            raise HTTPException(400, "the sending was broken off") from None
        raise
    if part.stat().st_size == 0:
        part.unlink()
        raise WorkbenchError("this file is empty", do="choose another")
    return part


def _settle(file: Any) -> None:
    import os

    file.flush()
    os.fsync(file.fileno())


def _state_scan(folder: Path, name: str) -> Draft:
    """State a scan in the case, whatever else changes meanwhile."""
    while True:
        draft = edit.read_draft(folder)
        held = draft.document.get("scan")
        changes = [Change(("scan", "file"), f"scans/{name}")]
        if isinstance(held, dict):
            changes += [Change(("scan", key), None) for key in ("unit", "sha256") if key in held]
        if draft.document.get("callipers") not in (None, UNFILLED):
            raise RefusedError("this case is measured with callipers", do="take the callipers out first")
        try:
            return edit.change(folder, draft.revision, changes, f"scan {name}")
        except ConflictError:
            continue


def _take_back(folder: Path) -> None:
    import shutil

    shutil.rmtree(folder, ignore_errors=True)
