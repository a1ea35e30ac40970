"""The invented cases, each written and run once for all the tests."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.shared import made_once


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


def _demo(factory: pytest.TempPathFactory, name: str) -> tuple[Path, Said]:
    """An invented case, written and run; what it printed is kept beside it."""

    def make(place: Path) -> None:
        said = pinseat("demo", name, "--out", place / name, "--json", "--threads", "1")
        (place / "said.json").write_text(json.dumps(asdict(said)), encoding="utf-8")

    place = made_once(factory, name, make)
    return place / name, Said(**json.loads((place / "said.json").read_text(encoding="utf-8")))


@pytest.fixture(scope="session")
def front(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Said]:
    return _demo(tmp_path_factory, "front")


@pytest.fixture(scope="session")
def span(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Said]:
    return _demo(tmp_path_factory, "span")


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Said]:
    return _demo(tmp_path_factory, "bench")
