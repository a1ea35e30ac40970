"""Keeps the processes that work for the page: one that answers questions, one for each run."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pinseat.errors import WorkbenchError

IDLE_SECONDS = 40.0
"""How long the process that answers questions is kept after the last one."""
_LINE = 1 << 24


class RefusedError(WorkbenchError):
    """What was asked for cannot be done; says why in trade words."""


@dataclass
class Hand:
    """One working process.

    Attributes
    ----------
    process : asyncio.subprocess.Process
    """

    process: asyncio.subprocess.Process
    waiting: dict[int, asyncio.Future[Any]] = field(default_factory=dict)
    told: Callable[[str, float], None] = lambda doing, fraction: None
    number: int = 0

    @classmethod
    async def start(cls, *, kindly: bool = False) -> Hand:
        """Start a process; `kindly` lets everything else on the machine go first."""
        command = [sys.executable, "-P", "-m", "pinseat.workbench.hand"]
        environment = {**os.environ, "MPLBACKEND": "agg"}
        process = await asyncio.create_subprocess_exec(
            *command,
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            start_new_session=True,
            limit=_LINE,
            env=environment,
        )
        if kindly and hasattr(os, "setpriority"):
            with contextlib.suppress(OSError):
                os.setpriority(os.PRIO_PROCESS, process.pid, 5)
        hand = cls(process)
        hand.listening = asyncio.create_task(hand._listen())
        return hand

    listening: asyncio.Task[None] | None = None

    async def ask(self, do: str, **how: Any) -> Any:
        """Ask for something and wait for it.

        Raises
        ------
        RefusedError
            When it cannot be done, or the process ended.
        """
        self.number += 1
        number = self.number
        answer: asyncio.Future[Any] = asyncio.get_running_loop().create_future()
        self.waiting[number] = answer
        assert self.process.stdin is not None
        try:
            line = json.dumps({"number": number, "do": do, "with": how}) + "\n"
            self.process.stdin.write(line.encode())
            await self.process.stdin.drain()
            return await answer
        except (ConnectionError, RuntimeError) as error:
            raise RefusedError("the process that computes has ended", do="try once more") from error
        finally:
            self.waiting.pop(number, None)

    async def _listen(self) -> None:
        assert self.process.stdout is not None
        async for line in self.process.stdout:
            said = json.loads(line)
            if "doing" in said:
                self.told(said["doing"], said["fraction"])
                continue
            answer = self.waiting.get(said["number"])
            if answer is None or answer.done():
                continue
            if "refused" in said:
                told = said["refused"]
                answer.set_exception(RefusedError(told.pop("what"), **told))
            else:
                answer.set_result(said["done"])
        for answer in self.waiting.values():
            if not answer.done():
                answer.set_exception(RefusedError("the process that computes has ended", do="try once more"))

    @property
    def alive(self) -> bool:
        """Whether it still runs."""
        return self.process.returncode is None

    async def end(self) -> None:
        """End it at once, with all it started."""
        if self.alive:
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self.process.pid, signal.SIGKILL)
        await self.process.wait()
        if self.listening is not None:
            await self.listening


class Bench:
    """The process that answers questions: started when first needed, let go when nobody asks any more."""

    def __init__(self) -> None:
        self._hand: Hand | None = None
        self._lock = asyncio.Lock()
        self._asking = 0
        self._letting_go: asyncio.TimerHandle | None = None
        self._ending: set[asyncio.Task[None]] = set()

    async def warm(self) -> None:
        """Have it ready before the first question."""
        async with self._lock:
            if self._hand is None or not self._hand.alive:
                self._hand = await Hand.start()
        self._rest()

    async def ask(self, do: str, **how: Any) -> Any:
        """As :meth:`Hand.ask`."""
        self._asking += 1
        try:
            await self.warm()
            assert self._hand is not None
            return await self._hand.ask(do, **how)
        finally:
            self._asking -= 1
            self._rest()

    def _rest(self) -> None:
        if self._letting_go is not None:
            self._letting_go.cancel()
        self._letting_go = asyncio.get_running_loop().call_later(IDLE_SECONDS, self._let_go)

    def _let_go(self) -> None:
        if self._asking:
            self._rest()
            return
        hand, self._hand = self._hand, None
        if hand is not None:
            task = asyncio.create_task(hand.end())
            self._ending.add(task)
            task.add_done_callback(self._ending.discard)

    async def end(self) -> None:
        """End it now."""
        if self._letting_go is not None:
            self._letting_go.cancel()
        if self._hand is not None:
            await self._hand.end()


@dataclass
class Run:
    """A run of one case, as far as it has got.

    Attributes
    ----------
    until : str
        The step asked for; empty for all of them.
    state : str
        ``running``, ``done``, ``stopped`` (by a person) or ``refused``.
    doing : str
    fraction : float
        Done of what it is doing, 0 to 1.
    says : str
        Why it was refused.
    refused : dict of str to str
        Steps that were refused, and why.
    """

    until: str
    state: str = "running"
    doing: str = "starting"
    fraction: float = 0.0
    says: str = ""
    refused: dict[str, str] = field(default_factory=dict)


class Runs:
    """One run a case at a time, in a process of its own."""

    def __init__(self, changed: Callable[[Path], None]) -> None:
        self._changed = changed
        self._runs: dict[Path, Run] = {}
        self._hands: dict[Path, Hand] = {}
        self._tasks: set[asyncio.Task[None]] = set()

    def of(self, folder: Path) -> Run | None:
        """The run of a case, the last one when it has ended; None when there was none."""
        return self._runs.get(folder)

    def start(self, folder: Path, until: str) -> Run:
        """Start a run.

        Raises
        ------
        RefusedError
            When one is going on.
        """
        held = self._runs.get(folder)
        if held is not None and held.state == "running":
            raise RefusedError("this case is being computed already", value=held.doing, do="wait, or stop it")
        run = self._runs[folder] = Run(until)
        task = asyncio.create_task(self._go(folder, run))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        self._changed(folder)
        return run

    async def stop(self, folder: Path) -> None:
        """Stop the run of a case at once; results of the steps it had done stay."""
        run, hand = self._runs.get(folder), self._hands.get(folder)
        if run is None or run.state != "running":
            return
        run.state, run.doing = "stopped", ""
        if hand is not None:
            await hand.end()
        sweep(folder)
        self._changed(folder)

    async def end(self) -> None:
        """Stop every run."""
        for folder in list(self._hands):
            await self.stop(folder)

    async def _go(self, folder: Path, run: Run) -> None:
        def told(doing: str, fraction: float) -> None:
            run.doing, run.fraction = doing, fraction
            self._changed(folder)

        try:
            hand = self._hands[folder] = await Hand.start(kindly=True)
            hand.told = told
            if run.state != "running":
                return
            run.refused = await hand.ask("run", folder=str(folder), until=run.until)
            run.state = "done"
        except RefusedError as error:
            if run.state == "running":
                run.state, run.says = "refused", str(error)
        finally:
            held = self._hands.pop(folder, None)
            if held is not None:
                await held.end()
            sweep(folder)
            self._changed(folder)


def sweep(folder: Path) -> None:
    """Take away what an ended process had not finished writing; no result is ever among it."""
    for part in (folder / "results").rglob(".*.part"):
        with contextlib.suppress(OSError):
            part.unlink()
