"""The process that does the heavy work for the page, so that the page itself stays light and quick.

It reads one request a line on its standard input and answers a line at a time on its standard output. When
its input ends, because the server is gone or wants it gone, it and all it started end at once. Results are
written whole or not at all, so it may be ended at any moment.
Run as ``python -P -m pinseat.workbench.hand``.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import sys
import threading
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pinseat.errors import PinseatError


def main() -> None:
    """Answer requests until there are no more."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # whatever a library prints must not get between the answers
    asked: queue.Queue[dict[str, Any]] = queue.Queue()
    threading.Thread(target=_listen, args=(asked,), daemon=True).start()
    work = Work(answers)
    work.warm()
    while True:
        work.answer(asked.get())


def _listen(asked: queue.Queue[dict[str, Any]]) -> None:
    for line in sys.stdin:
        asked.put(json.loads(line))
    if hasattr(os, "killpg"):
        os.killpg(0, signal.SIGKILL)
    os._exit(0)


class Work:
    """The things that can be asked for."""

    def __init__(self, answers: Any) -> None:
        self.answers = answers
        self.drawing: Any = None

    def warm(self) -> None:
        """Load what the first request would otherwise wait for."""
        from pinseat.workbench.drawing import Draughtsman

        self.drawing = Draughtsman()

    def answer(self, asked: dict[str, Any]) -> None:
        """Do one thing and say how it went."""
        number = asked["number"]
        try:
            done = getattr(self, f"do_{asked['do']}")(number, **asked["with"])
            self.say({"number": number, "done": done})
        except PinseatError as error:
            told = {key: getattr(error, key) for key in ("what", "where", "value", "limit", "do")}
            self.say({"number": number, "refused": told})
        except Exception as error:  # a fault of ours must not stop the page: it is told there
            said = f"{type(error).__name__}: {error}"
            told = {"what": "this could not be computed", "where": "", "value": said, "limit": ""}
            self.say({"number": number, "refused": {**told, "do": "please report it with the case number"}})

    def say(self, what: dict[str, Any]) -> None:
        """One line to the server."""
        self.answers.write(json.dumps(what) + "\n")
        self.answers.flush()

    def do_look(self, number: int, folder: str) -> dict[str, Any]:
        """How each step stands, and how the plating does by the bench log."""
        from pinseat.chain.look import look

        return {"steps": [asdict(one) for one in look(Path(folder))], "plating": _plating(Path(folder))}

    def do_draw(self, number: int, folder: str, what: str) -> str:
        """Make something to draw."""
        return str(self.drawing.make(Path(folder), what))

    def do_bind(self, number: int, folder: str) -> str:
        """Bind every page that holds into one PDF; gives its place."""
        from pinseat.chain.bind import bind

        return str(bind(Path(folder)).path)

    def do_run(self, number: int, folder: str, until: str) -> dict[str, str]:
        """Run a case up to a step, or all of it; gives the steps that were refused, and why."""
        from pinseat import chain
        from pinseat.case.document import load_case
        from pinseat.chain.look import ends

        def progress(doing: str, fraction: float) -> None:
            self.say({"number": number, "doing": doing, "fraction": fraction})

        if until:
            chain.run(Path(folder), until=until, progress=progress)
            return {}
        refused = {}
        for step in ends(load_case(Path(folder))):
            try:
                chain.run(Path(folder), until=step, progress=progress)
            except PinseatError as error:
                refused[step] = str(error)
        return refused


def _plating(folder: Path) -> dict[str, Any] | None:
    """The programme as far as the log has got; None where nothing was plated yet."""
    from pinseat.case.results import to_plain
    from pinseat.chain.plating import bench, entries

    if not entries(folder):
        return None
    stands = bench(folder)
    plain = to_plain(stands.programme)
    return {key: plain[key] for key in ("log", "remaining_h", "ends")} | {"basis": stands.basis}


if __name__ == "__main__":
    main()
