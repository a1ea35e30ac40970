import errno
import hashlib
import os
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pinseat.case.document import load_case, problems
from pinseat.case.files import atomic_write, inside, new_case, sha256_of
from pinseat.errors import CaseError


def failing(number: int) -> Callable[..., Any]:
    def fail(*_: Any, **__: Any) -> Any:
        raise OSError(number, os.strerror(number))

    return fail


def stopping(*_: Any) -> Any:
    raise KeyboardInterrupt


def test_a_file_is_written_and_replaced_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    for data in (b"first", b"", b"x" * 3_000_000):
        atomic_write(path, data)
        assert path.read_bytes() == data
        assert os.listdir(tmp_path) == ["a.json"]


def test_file_and_folder_are_forced_to_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    forced: list[bool] = []
    monkeypatch.setattr(os, "fsync", lambda handle: forced.append(stat.S_ISDIR(os.fstat(handle).st_mode)))
    atomic_write(tmp_path / "a", b"new")
    assert forced == [False, True]


def test_short_writes_are_carried_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.write
    monkeypatch.setattr(os, "write", lambda handle, data: real(handle, bytes(data)[:3]))
    atomic_write(tmp_path / "a", b"0123456789")
    assert (tmp_path / "a").read_bytes() == b"0123456789"


@pytest.mark.parametrize("call", ["write", "fsync", "replace"])
def test_a_full_disk_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    path = tmp_path / "a.json"
    path.write_bytes(b"old")
    monkeypatch.setattr(os, call, failing(errno.ENOSPC))
    with pytest.raises(CaseError, match=r"a\.json: the disk is full; make room and run it again"):
        atomic_write(path, b"new")
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.json"]


@pytest.mark.parametrize("call", ["write", "fsync", "replace"])
def test_ctrl_c_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    path = tmp_path / "a.json"
    path.write_bytes(b"old")
    monkeypatch.setattr(os, call, stopping)
    with pytest.raises(KeyboardInterrupt):
        atomic_write(path, b"new")
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.json"]


def test_a_killed_writer_leaves_the_old_file_or_the_new_one(tmp_path: Path) -> None:
    path = tmp_path / "a"
    atomic_write(path, b"0" * 200_000)
    script = (
        "import sys; from pathlib import Path; from pinseat.case.files import atomic_write\n"
        "print('ready', flush=True)\n"
        "while True:\n"
        "    for digit in b'12':\n"
        "        atomic_write(Path(sys.argv[1]), bytes([digit]) * 200_000)\n"
    )
    for pause_s in (0.0, 0.013, 0.037):
        with subprocess.Popen([sys.executable, "-c", script, str(path)], stdout=subprocess.PIPE) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(pause_s)
            writer.send_signal(signal.SIGKILL)
            writer.wait()
        data = path.read_bytes()
        assert len(data) == 200_000
        assert len(set(data)) == 1


@pytest.mark.parametrize(
    ("number", "says"),
    [
        (errno.EACCES, "may not be opened or written"),
        (errno.EROFS, "read-only"),
        (errno.EIO, "nothing was changed"),
    ],
)
def test_the_system_is_put_into_plain_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, says: str
) -> None:
    monkeypatch.setattr(os, "open", failing(number))
    with pytest.raises(CaseError, match=says):
        atomic_write(tmp_path / "a", b"new")


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match="this is not there"):
        atomic_write(tmp_path / "none" / "a", b"new")


def test_content_hash(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    # FIPS 180-4 example for SHA-256 of "abc", from memory; and the library's own value
    assert sha256_of(tmp_path / "a") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    (tmp_path / "a").write_bytes(b"x" * 2_000_001)
    assert sha256_of(tmp_path / "a") == hashlib.sha256(b"x" * 2_000_001).hexdigest()
    with pytest.raises(CaseError, match="this is not there"):
        sha256_of(tmp_path / "b")


@pytest.mark.parametrize(
    "name",
    [
        "",
        " ",
        "..",
        "../a",
        "scans/../../a",
        "/etc/a",
        "\\a",
        "C:/a",
        "C:a",
        "..\\a",
        "a\\b",
        "a\0b",
        "//host/a",
    ],
)
def test_names_that_lead_out_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(CaseError):
        inside(tmp_path, name)


def test_links_are_followed_before_a_name_is_trusted(tmp_path: Path) -> None:
    folder, outside = tmp_path / "case", tmp_path / "other"
    (folder / "scans").mkdir(parents=True)
    outside.mkdir()
    (folder / "out").symlink_to(outside)
    (folder / "in").symlink_to(folder / "scans")
    (folder / "round").symlink_to(folder / "round")
    with pytest.raises(CaseError, match="a link leads out"):
        inside(folder, "out/a.stl")
    assert inside(folder, "in/a.stl") == folder / "in" / "a.stl"
    assert inside(folder, "scans/ä b.stl") == folder / "scans" / "ä b.stl"
    assert not inside(folder, "round/a").is_file()


def test_a_new_case_asks_for_what_is_missing_from_top_to_bottom(tmp_path: Path) -> None:
    folder = tmp_path / "cases" / "26-014"
    new_case(folder, '26-014 "b"')
    assert sorted(os.listdir(folder)) == ["case.toml", "log.jsonl", "results", "scans"]
    assert (folder / "log.jsonl").read_bytes() == b""
    asked = problems(folder)
    assert all("still to be filled in" in line for line in asked)
    assert [line.split(", ")[2].split(":")[0] for line in asked[:3]] == [
        "notation",
        "missing[1]",
        "abutments[1].tooth",
    ]
    assert asked[-1].split(", ")[2].startswith("scan.file")


def test_the_template_loads_once_filled_in(tmp_path: Path) -> None:
    folder = tmp_path / "a"
    new_case(folder, '26-014 "b"')
    (folder / "scans" / "u.stl").write_bytes(b"any")
    text = (folder / "case.toml").read_text(encoding="utf-8")
    for value in (
        '"FDI"',
        "21",
        "11",
        "3",
        "0.7",
        "2.5",
        "0.6",
        "22",
        "2",
        "0.7",
        "2.5",
        "0.6",
        '"scans/u.stl"',
    ):
        text = text.replace('= "?"', f"= {value}", 1) if value != "21" else text.replace('["?"]', "[21]")
    (folder / "case.toml").write_text(text, encoding="utf-8")
    case = load_case(folder)
    assert case.number == '26-014 "b"'
    assert case.missing == (21,)


def test_the_callipers_of_the_template_load_too(tmp_path: Path) -> None:
    new_case(tmp_path / "a", "7")
    text = (tmp_path / "a" / "case.toml").read_text(encoding="utf-8")
    head, scan, rest = text.partition("# The scan of")
    assert scan
    rest = rest[rest.index("# Without a scanner") :].replace("# [callipers]", "[callipers]", 1)
    start, end = rest.index("[callipers]"), rest.index("# What the copies")
    rest = rest[:start] + rest[start:end].replace("\n# ", "\n") + rest[end:]
    for value in ('"FDI"', "11", "1", "0.7", "2.5", "0.6", "22", "1", "0.7", "2.5", "0.6"):
        head = head.replace('= "?"', f"= {value}", 1)
    (tmp_path / "a" / "case.toml").write_text(head.replace('["?"]', "[21]") + rest, encoding="utf-8")
    case = load_case(tmp_path / "a")
    assert case.callipers is not None
    assert case.callipers.readings[0].mm == (18.42, 18.44)


def test_a_folder_with_something_in_it_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("mine")
    with pytest.raises(CaseError, match="this folder is not empty"):
        new_case(tmp_path, "7")
    assert os.listdir(tmp_path) == ["note.txt"]
    with pytest.raises(CaseError, match="a file where a folder was expected"):
        new_case(tmp_path / "note.txt", "7")
    with pytest.raises(CaseError, match="one line of plain text"):
        new_case(tmp_path / "new", "a\nb")
    assert os.listdir(tmp_path) == ["note.txt"]


def test_a_new_case_that_cannot_be_written_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "fsync", failing(errno.ENOSPC))
    with pytest.raises(CaseError, match="the disk is full"):
        new_case(tmp_path / "cases" / "7", "7")
    assert os.listdir(tmp_path) == []
