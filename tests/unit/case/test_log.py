import errno
import fcntl
import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from pinseat.case.log import FIRST, Entry, RawReading, append, read
from pinseat.errors import CaseError


def filled(folder: Path, count: int = 4) -> list[bytes]:
    for i in range(count):
        append(folder, Entry(kind="reading", reading=RawReading(value=f"18,4{i}", unit="mm"), who="A"))
    return (folder / "log.jsonl").read_bytes().splitlines(keepends=True)


def test_what_was_added_is_read_back_in_order(tmp_path: Path) -> None:
    assert read(tmp_path).entries == ()
    full = Entry(
        kind="batch",
        who="B",
        instrument="calliper 3",
        calibrated="2026-01-10, gauge block 10 mm",
        lot="77",
        reading=RawReading(value="18,42", unit="mm"),
        note="line one\nline two \u2028 ü",
        time="2026-03-01T09:30:00Z",
    )
    assert append(tmp_path, full) == full
    later = append(tmp_path, Entry(kind="run"))
    assert read(tmp_path).entries == (full, later)
    assert read(tmp_path).torn == ""
    assert later.time.endswith("Z")
    assert full.reading is not None
    assert full.reading.value == 18.42


def test_each_line_carries_the_hash_of_the_line_before(tmp_path: Path) -> None:
    lines = filled(tmp_path, 3)
    before = FIRST
    for line in lines:
        assert json.loads(line)["before"] == before
        before = hashlib.sha256(line.rstrip(b"\n")).hexdigest()


@pytest.mark.parametrize("change", ["edit", "remove", "swap", "repeat"])
def test_a_changed_line_is_told_with_its_number(tmp_path: Path, change: str) -> None:
    a, b, c, d = filled(tmp_path)
    edited = b.replace(b"18.41", b"18.51")
    assert edited != b
    changed = {
        "edit": [a, edited, c, d],
        "remove": [a, c, d],
        "swap": [a, c, b, d],
        "repeat": [a, b, b, c, d],
    }
    first_bad = {"edit": 3, "remove": 2, "swap": 2, "repeat": 3}
    (tmp_path / "log.jsonl").write_bytes(b"".join(changed[change]))
    says = f"log.jsonl, line {first_bad[change]}: this line does not follow from the one before it"
    with pytest.raises(CaseError, match=says):
        read(tmp_path)


def test_a_line_in_the_middle_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    a, b, c, d = filled(tmp_path)
    (tmp_path / "log.jsonl").write_bytes(a + b[:20] + b"\n" + c + d)
    with pytest.raises(CaseError, match="line 2: this line of the log cannot be read"):
        read(tmp_path)


def test_a_line_with_a_foreign_key_is_told(tmp_path: Path) -> None:
    (tmp_path / "log.jsonl").write_text(json.dumps({"before": FIRST, "kind": "run", "colour": "red"}) + "\n")
    with pytest.raises(CaseError, match=r"line 1: this line holds what no log holds \(colour\)"):
        read(tmp_path)


@pytest.mark.parametrize("keep", [1, 40, -1])
@pytest.mark.parametrize("end", [b"", b"\0\0\0\n"])
def test_a_torn_last_line_is_reported_and_put_aside_never_lost(tmp_path: Path, keep: int, end: bytes) -> None:
    a, b, c, d = filled(tmp_path)
    torn = d[:keep] + end
    (tmp_path / "log.jsonl").write_bytes(a + b + c + torn)
    seen = read(tmp_path)
    assert len(seen.entries) == 3
    assert seen.torn == torn.decode()
    assert (tmp_path / "log.jsonl").read_bytes() == a + b + c + torn
    append(tmp_path, Entry(kind="run"))
    after = read(tmp_path)
    assert [e.kind for e in after.entries] == ["reading"] * 3 + ["torn", "run"]
    assert after.torn == ""
    assert "log-torn-4.txt" in after.entries[3].note
    assert (tmp_path / "log-torn-4.txt").read_bytes() == torn


def test_an_earlier_torn_line_put_aside_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "log-torn-1.txt").write_bytes(b"earlier")
    (tmp_path / "log.jsonl").write_bytes(b'{"befo')
    append(tmp_path, Entry(kind="run"))
    assert (tmp_path / "log-torn-1.txt").read_bytes() == b"earlier"
    assert (tmp_path / "log-torn-1-2.txt").read_bytes() == b'{"befo'


@pytest.mark.parametrize("call", ["write", "fsync"])
def test_a_full_disk_leaves_the_log_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    before = b"".join(filled(tmp_path))
    real = os.write

    def full(handle: int, data: Any = b"") -> int:
        if call == "write" and len(data) > 5:
            return real(handle, bytes(data)[:5])
        raise OSError(errno.ENOSPC, "no space")

    with monkeypatch.context() as patch:
        patch.setattr(os, call, full)
        with pytest.raises(CaseError, match="the disk is full"):
            append(tmp_path, Entry(kind="run"))
    assert (tmp_path / "log.jsonl").read_bytes() == before
    append(tmp_path, Entry(kind="run"))
    assert len(read(tmp_path).entries) == 5


def test_a_line_is_on_the_disk_before_it_is_acknowledged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[str] = []
    real_write, real_sync = os.write, os.fsync

    def write(handle: int, data: Any) -> int:
        calls.append("write")
        return real_write(handle, data)

    def sync(handle: int) -> None:
        calls.append("fsync")
        real_sync(handle)

    filled(tmp_path, 1)
    monkeypatch.setattr(os, "write", write)
    monkeypatch.setattr(os, "fsync", sync)
    append(tmp_path, Entry(kind="run"))
    assert calls == ["write", "fsync"]


def test_two_writers_at_once_keep_one_chain(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from pinseat.case.log import Entry, append\n"
        "for i in range(60): append(Path(sys.argv[1]), Entry(kind='run', who=sys.argv[2], note=str(i)))\n"
    )
    writers = [subprocess.Popen([sys.executable, "-c", script, str(tmp_path), who]) for who in "ab"]
    assert [w.wait() for w in writers] == [0, 0]
    entries = read(tmp_path).entries
    assert len(entries) == 120
    for who in "ab":
        assert [e.note for e in entries if e.who == who] == [str(i) for i in range(60)]


def test_a_writer_waits_for_the_one_who_is_writing(tmp_path: Path) -> None:
    before = b"".join(filled(tmp_path))
    script = (
        "import sys; from pathlib import Path; from pinseat.case.log import Entry, append\n"
        "print('ready', flush=True)\n"
        "append(Path(sys.argv[1]), Entry(kind='run'))\n"
    )
    with (tmp_path / "log.jsonl").open("rb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        writer = subprocess.Popen([sys.executable, "-c", script, str(tmp_path)], stdout=subprocess.PIPE)
        with writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            with pytest.raises(subprocess.TimeoutExpired):
                writer.wait(0.3)
            assert (tmp_path / "log.jsonl").read_bytes() == before
            fcntl.flock(held, fcntl.LOCK_UN)
            assert writer.wait() == 0
    assert len(read(tmp_path).entries) == 5


@pytest.mark.parametrize("time", ["2026-03-01", "2026-03-01T09:30:00", "2026-03-01T09:30:00+01:00", "noon"])
def test_a_time_is_iso_8601_in_utc(time: str) -> None:
    with pytest.raises(ValidationError):
        Entry(kind="run", time=time)
