"""The invented cases, each written and run once for all the tests of a worker."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest


@dataclass(frozen=True)
class Said:
    """What a command printed, and how it ended."""

    code: int
    out: str
    err: str

    @property
    def answer(self) -> dict[str, Any]:
        return json.loads(self.out)


def pinseat(*words: str | Path, cwd: Path | None = None) -> Said:
    """Run the command as a person would, in a process of its own."""
    command = [sys.executable, "-W", "error", "-m", "pinseat", *map(str, words)]
    environment = {**os.environ, "COLUMNS": "100", "NO_COLOR": "1"}
    done = subprocess.run(command, capture_output=True, text=True, cwd=cwd, check=False, env=environment)
    return Said(done.returncode, done.stdout, done.stderr)


@pytest.fixture(scope="session")
def front(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Said]:
    folder = tmp_path_factory.mktemp("demo") / "front"
    return folder, pinseat("demo", "front", "--out", folder, "--json", "--threads", "1")


@pytest.fixture(scope="session")
def span(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Said]:
    folder = tmp_path_factory.mktemp("demo") / "span"
    return folder, pinseat("demo", "span", "--out", folder, "--json")


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Said]:
    folder = tmp_path_factory.mktemp("demo") / "bench"
    return folder, pinseat("demo", "bench", "--out", folder, "--json")
