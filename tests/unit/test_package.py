"""An installed copy carries every file that the program reads, not only an editable one."""

from __future__ import annotations

import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_every_data_file_is_packed() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = settings["tool"]["setuptools"]["package-data"]["pinseat"]
    package = ROOT / "src" / "pinseat"
    packed = {path for pattern in patterns for path in package.glob(pattern)}
    needed = {p for p in package.rglob("*") if p.is_file() and "__pycache__" not in p.parts}
    assert not {p.name for p in needed - packed if p.suffix != ".py"}
