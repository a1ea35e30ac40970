"""The cases that are served: where they lie, how they stand, and who is to be told when one changes."""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pinseat.case.document import NAME
from pinseat.case.files import inside
from pinseat.errors import CaseError, PinseatError, WorkbenchError
from pinseat.workbench.hands import Bench, Run, Runs
from pinseat.workbench.sheet import part_hash, parts
from pinseat.workbench.shelf import name_of, path_of
from pinseat.workbench.view import View

_LOOK_SECONDS = 0.4
"""How often the files of a case that is on a screen are looked at."""


@dataclass(frozen=True)
class _Known:
    """What was found out about a case when its files had a stamp."""

    stamp: str
    steps: Sequence[Mapping[str, Any]] | None = None
    plating: Mapping[str, Any] | None = None
    trouble: str = ""


class Desk:
    """All cases of one server.

    Parameters
    ----------
    place : Path
        A case folder, or a folder of case folders.
    """

    def __init__(self, place: Path) -> None:
        self.single = (place / NAME).is_file()
        self.practice = place.resolve().parent if self.single else place.resolve()
        self.name = place.resolve().name
        self.looking = Bench()
        self.drawing = Bench()
        self.runs = Runs(self.touch)
        self._standing: dict[Path, _Known] = {}
        self._watchers: dict[Path, set[asyncio.Event]] = {}
        self.parting = False
        self._tasks: set[asyncio.Task[None]] = set()
        self._asked: set[tuple[Path, str]] = set()

    def folder(self, name: str) -> Path:
        """The folder of a case by the name in its address.

        Raises
        ------
        CaseError
            When there is no such case, or the name leads elsewhere.
        """
        if name.startswith(".") or "/" in name or (self.single and name != self.name):
            raise CaseError("there is no such case here", value=name)
        folder = inside(self.practice, name)
        if not (folder / NAME).is_file():
            raise CaseError("there is no such case here", value=name)
        return folder

    def view(self, name: str) -> View:
        """A case as it stands now."""
        folder = self.folder(name)
        stamp = stamp_of(folder)
        held = self._standing.get(folder)
        if held is None or held.stamp != stamp:
            self._look(folder, stamp)
        known = held or _Known("")
        return View(name, folder, known.steps, self.runs.of(folder), known.plating, known.trouble)

    def sheet(self, name: str) -> dict[str, Any]:
        """The parts of the sheet, each with a hash, so that only what changed is exchanged on the page."""
        view = self.view(name)
        made = [{"name": part, "hash": part_hash(html), "html": str(html)} for part, html in parts(view)]
        return {"revision": view.draft.revision, "stamp": self.stamp(name), "parts": made}

    def stamp(self, name: str) -> str:
        """Changes whenever anything the sheet shows of files has changed."""
        folder = self.folder(name)
        held = self._standing.get(folder)
        known = "" if held is None else held.stamp
        return f"{stamp_of(folder)}-{known}"[:80]

    def _look(self, folder: Path, stamp: str) -> None:
        """Find out in the background how the steps stand; whoever watches is told."""
        if (folder, stamp) in self._asked:
            return
        self._asked.add((folder, stamp))
        task = asyncio.create_task(self._looked(folder, stamp))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _looked(self, folder: Path, stamp: str) -> None:
        held = self._standing.get(folder) or _Known("")
        try:
            said = await self.looking.ask("look", folder=str(folder))
            self._standing[folder] = _Known(stamp, said["steps"], said["plating"])
        except PinseatError as error:
            self._standing[folder] = _Known(stamp, held.steps, held.plating, str(error))
        finally:
            self._asked.discard((folder, stamp))
        self.touch(folder)

    def part(self) -> None:
        """Tell every page's stream to end: the server is about to stop."""
        self.parting = True
        for folder in self._watchers:
            self.touch(folder)

    def touch(self, folder: Path) -> None:
        """Tell everyone who watches a case that something has changed."""
        for event in self._watchers.get(folder, ()):
            event.set()

    @contextlib.contextmanager
    def watching(self, name: str) -> Any:
        """An event that is set whenever the case changes, on the page or under it."""
        folder = self.folder(name)
        event = asyncio.Event()
        watchers = self._watchers.setdefault(folder, set())
        watchers.add(event)
        if len(watchers) == 1:
            task = asyncio.create_task(self._watch(folder))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)
        try:
            yield event
        finally:
            watchers.discard(event)

    async def _watch(self, folder: Path) -> None:
        before = stamp_of(folder)
        while self._watchers.get(folder):
            await asyncio.sleep(_LOOK_SECONDS)
            now = stamp_of(folder)
            if now != before:
                before = now
                self.touch(folder)

    def begin(self) -> None:
        """With one case, make its drawing while the browser is still opening."""
        if self.single:
            task = asyncio.create_task(self._ahead(self.folder(self.name)))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _ahead(self, folder: Path) -> None:
        with contextlib.suppress(PinseatError):  # told when the page asks for it
            if path_of(folder, name_of(folder, "scan")).is_file():
                return
            await self.drawing.ask("draw", folder=str(folder), what="scan")

    async def end(self) -> None:
        """Stop everything that was started."""
        for task in list(self._tasks):
            task.cancel()
        await self.runs.end()
        await self.looking.end()
        await self.drawing.end()

    def run_of(self, name: str) -> Run | None:
        """The run of a case."""
        return self.runs.of(self.folder(name))


def stamp_of(folder: Path) -> str:
    """Names, times and sizes of the files a sheet is made from, as a hash."""
    digest = hashlib.sha256()
    paths = [folder / NAME, folder / "log.jsonl", *sorted((folder / "results").glob("*.json"))]
    paths += [folder / "results" / "work-ticket.pdf"]
    for path in paths:
        with contextlib.suppress(OSError):
            state = path.stat()
            digest.update(f"{path.name} {state.st_mtime_ns} {state.st_size};".encode())
    return digest.hexdigest()[:24]


def free_name(practice: Path, wanted: str) -> str:
    """A folder name made from what a person typed that is not taken yet.

    Raises
    ------
    WorkbenchError
        When nothing is left of it.
    """
    plain = "".join(letter if letter.isalnum() or letter in "-_" else "-" for letter in wanted.strip())
    plain = plain.strip("-_")[:60]
    if not plain:
        raise WorkbenchError("a case needs a number of its own", value=repr(wanted), do="type one")
    name, again = plain, 2
    while (practice / name).exists():
        name, again = f"{plain}-{again}", again + 1
    return name
