"""A workbench in a process of its own, for tests, and a visitor that asks it as a page does."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit


@dataclass
class Served:
    """A running server, and the key that it printed."""

    process: subprocess.Popen[str]
    address: str

    @classmethod
    def start(cls, folder: Path, errors: int | None = None) -> Served:
        """Start it on a free port; back once its address is printed; ``errors`` may be a pipe."""
        command = [sys.executable, "-W", "error", "-m", "pinseat", "open", str(folder), "--no-browser"]
        process = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            env={**os.environ, "NO_COLOR": "1"},
        )
        assert process.stdout is not None
        said = []
        for line in process.stdout:
            said.append(line)
            if found := re.search(r"http://\S+", line):
                return cls(process, found[0])
        raise AssertionError(f"it ended with {process.wait()}: {said}")

    @property
    def port(self) -> int:
        return int(urlsplit(self.address).port or 0)

    @property
    def key(self) -> str:
        return self.address.split("key=")[1]

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def ask(self, path: str, body: Any = None, **headers: str) -> tuple[int, Any]:
        """Ask as the page does: a body makes it a POST; JSON comes back read."""
        raw = body if isinstance(body, bytes) or body is None else json.dumps(body).encode()
        held = {"cookie": f"pinseat-{self.port}={self.key}", "origin": self.origin} | headers
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request("GET" if body is None else "POST", path, raw, held)
            answer = connection.getresponse()
            data = answer.read()
        finally:
            connection.close()
        kind = answer.headers.get("content-type", "")
        return answer.status, json.loads(data) if "json" in kind else data

    def until(self, true: Callable[[], Any], seconds: float = 60.0) -> Any:
        """Wait until something is so; what it gave."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if found := true():
                return found
            time.sleep(0.05)
        raise AssertionError("it did not come to be")

    def stop(self) -> None:
        """Stop it as Ctrl-C would."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
        self._close()

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.kill()
        self._close()

    def _close(self) -> None:
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()
