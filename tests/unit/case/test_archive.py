from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from pinseat.case.archive import unzip, zip_bytes
from pinseat.case.files import new_case
from pinseat.errors import CaseError


def _zipped(path: Path, files: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return path


def test_a_case_comes_back_to_the_byte(tmp_path: Path) -> None:
    folder = tmp_path / "a"
    new_case(folder, "7")
    (folder / "scans" / "upper.stl").write_bytes(b"solid\0\xff" * 100)
    (folder / "results" / "drawing").mkdir()
    (folder / "results" / "drawing" / "scan.bin").write_bytes(b"made again")
    data = zip_bytes(folder)
    assert data == zip_bytes(folder)
    (tmp_path / "a.zip").write_bytes(data)
    back = unzip(tmp_path / "a.zip", tmp_path / "b")
    names = {p.relative_to(folder) for p in folder.rglob("*") if p.is_file() and "drawing" not in p.parts}
    assert {p.relative_to(back) for p in back.rglob("*") if p.is_file()} == names
    assert all((back / name).read_bytes() == (folder / name).read_bytes() for name in names)


def test_a_zip_of_the_folder_itself_is_as_good(tmp_path: Path) -> None:
    path = _zipped(tmp_path / "x.zip", {"case-7/case.toml": b"x = 1", "case-7/scans/a.stl": b"1"})
    assert (unzip(path, tmp_path / "b") / "scans" / "a.stl").read_bytes() == b"1"


@pytest.mark.parametrize("name", ["../out.txt", "/etc/out", "a\\b", "c:/x", "scans/../../out"])
def test_nothing_is_written_outside(tmp_path: Path, name: str) -> None:
    path = _zipped(tmp_path / "x.zip", {"case.toml": b"", name: b"!"})
    with pytest.raises(CaseError):
        unzip(path, tmp_path / "b")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["x.zip"]


def test_bombs_links_and_other_files_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pinseat.case.archive.LARGEST_BYTES", 1000)
    with pytest.raises(CaseError, match="too large"):
        unzip(_zipped(tmp_path / "bomb.zip", {"case.toml": b"", "big": b"0" * 2000}), tmp_path / "b")
    with pytest.raises(CaseError, match=r"no case\.toml"):
        unzip(_zipped(tmp_path / "other.zip", {"a": b""}), tmp_path / "b")
    link = zipfile.ZipInfo("scans/l")
    link.external_attr = 0o120777 << 16
    with zipfile.ZipFile(tmp_path / "link.zip", "w") as archive:
        archive.writestr("case.toml", b"")
        archive.writestr(link, "/etc/passwd")
    with pytest.raises(CaseError, match="link"):
        unzip(tmp_path / "link.zip", tmp_path / "b")
    (tmp_path / "no.zip").write_bytes(b"PK but no zip")
    with pytest.raises(CaseError, match="no zip"):
        unzip(tmp_path / "no.zip", tmp_path / "b")
    assert not (tmp_path / "b").exists()
