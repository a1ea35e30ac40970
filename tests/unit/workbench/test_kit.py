from __future__ import annotations

from pathlib import Path

import pytest

from pinseat.errors import WorkbenchError
from pinseat.workbench import kit


def test_the_bundled_parts_are_there() -> None:
    found = kit.find_kit()
    assert found.revision >= kit.LEAST_REVISION
    assert "export{" in found.three.read_text(encoding="utf-8")
    assert found.serif.read_bytes()[:4] == b"\x00\x01\x00\x00"  # TrueType


@pytest.mark.parametrize(
    "text", ['const t="120";export{a as THREE};', 'const t="180";export{a as OTHER};', "nothing at all"]
)
def test_another_three_is_told_at_the_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    real = kit.find_kit()
    dist = tmp_path / "elements" / "scene" / "dist"
    dist.mkdir(parents=True)
    (dist / "index.js").write_text(text)
    (tmp_path / "static").symlink_to(real.fonts)
    folder = kit._folder
    monkeypatch.setattr(kit, "_folder", lambda name: tmp_path if name == "nicegui" else folder(name))
    with pytest.raises(WorkbenchError, match=r"three\.js"):
        kit.find_kit()
    (dist / "index.js").unlink()
    with pytest.raises(WorkbenchError, match="missing"):
        kit.find_kit()
