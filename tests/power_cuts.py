"""Power cuts at random moments, while everything that a bench does goes on at once."""

from __future__ import annotations

import json
import random
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from http.client import HTTPException
from pathlib import Path

from pinseat.case import log
from pinseat.case.document import load_case
from pinseat.case.edit import read_draft
from pinseat.case.files import new_case
from pinseat.demo.cases import build
from tests.serving import Served


@dataclass
class Found:
    """What the cuts did."""

    acknowledged: int = 0
    lost: int = 0
    broken: int = 0
    half_written: int = 0


@dataclass
class Said:
    """What the server had acknowledged when the power went."""

    notes: list[str] = field(default_factory=list)
    edits: list[int] = field(default_factory=list)
    scans: list[tuple[str, int]] = field(default_factory=list)


def power_cuts(place: Path, many: int, seed: int) -> Found:
    """Cut the power `many` times.

    Edits, log entries, uploads and a run go on at once; server and workers are killed after a random time.
    """
    chosen, found = random.Random(seed), Found()
    practice = place / "practice"
    (practice / "a").mkdir(parents=True)
    (practice / "a" / "case.toml").write_text(build("bench").toml, encoding="utf-8")
    new_case(practice / "b", "b")
    for turn in range(many):
        said = strain(practice, chosen.uniform(0.0, 1.0), turn)
        found.acknowledged += len(said.notes) + len(said.edits) + len(said.scans)
        try:
            found.lost += missing(practice, said, turn)
            load_case(practice / "a")
            read_draft(practice / "b")
        except Exception:
            found.broken += 1
        found.half_written += half_written(practice)
    return found


def strain(practice: Path, seconds: float, turn: int) -> Said:
    """Keep everything going until the power goes."""
    server, said = Served.start(practice), Said()

    def entries() -> None:
        for k in range(10_000):
            note = f"turn {turn} entry {k}"
            if server.ask("/case/a/log", {"kind": "note", "note": note})[0] == 200:
                said.notes.append(note)

    def edits() -> None:
        revision = server.ask("/case/a/sheet")[1]["revision"]
        for k in range(10_000):
            change = [{"place": ["title"], "text": f"turn {turn} edit {k}"}]
            status, answer = server.ask("/case/a/edit", {"revision": revision, "changes": change})
            if status == 200:
                said.edits.append(k)
                revision = answer["revision"]

    def uploads() -> None:
        for k in range(10_000):
            data = f"solid turn {turn} scan {k}\n".encode() * 2000
            status, answer = server.ask(f"/case/b/scan?name=s{turn}-{k}.stl", data)
            if status == 200:
                said.scans.append((answer["file"], len(data)))

    def runs() -> None:
        server.ask("/case/a/run", {"until": "casting"})

    workers = [threading.Thread(target=_until_cut, args=(work,)) for work in (entries, edits, uploads, runs)]
    for worker in workers:
        worker.start()
    if turn % 5:  # every fifth cut comes whenever it comes, perhaps before anything was done
        server.until(lambda: said.notes or said.edits or said.scans)
    time.sleep(seconds)
    server.kill()
    for worker in workers:
        worker.join()
    return said


def _until_cut(work: Callable[[], None]) -> None:
    with suppress(OSError, HTTPException, ValueError, KeyError, TypeError):
        work()


def missing(practice: Path, said: Said, turn: int) -> int:
    """How many acknowledged things are not there."""
    notes = {entry.note for entry in log.read(practice / "a").entries}
    lost = sum(note not in notes for note in said.notes)
    if said.edits:
        # one more edit may have reached the disk without being acknowledged
        words = load_case(practice / "a").title.split()
        lost += words[:3] != ["turn", str(turn), "edit"] or int(words[3]) < said.edits[-1]
    for name, size in said.scans:
        path = practice / "b" / name
        lost += not path.is_file() or path.stat().st_size != size
    return lost


def half_written(practice: Path) -> int:
    """Results that cannot be read back."""
    bad = 0
    for path in practice.glob("*/results/*.json"):
        try:
            json.loads(path.read_bytes())
        except ValueError:
            bad += 1
    return bad
