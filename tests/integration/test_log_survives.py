"""An entry that was acknowledged is in the log, whenever the program was killed."""

import random
import subprocess
import sys
from pathlib import Path

from pinseat.case import log
from pinseat.demo.cases import write

KILLED = """
import os, signal, sys, time
from pathlib import Path
from pinseat.cli.log import log

folder, wait = Path(sys.argv[1]), [float(text) for text in sys.argv[2:]]
log(folder, current="30", note="warm")
sys.stdout.flush()
for turn, seconds in enumerate(wait):
    read, out = os.pipe()
    child = os.fork()
    if child == 0:
        os.dup2(out, 1)
        for i in range(100000):
            log(folder, current=f"{turn},{i:06d}", seen="covered")
    os.close(out)
    head = b""
    while b"logged" not in head:
        head += os.read(read, 4096)
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while part := os.read(read, 65536):
        head += part
    whole = head.decode().split(chr(10))[:-1]
    told = [line for line in whole if line.startswith("logged: ")]
    print("turn", turn, "acknowledged", len(told), flush=True)
"""


def test_kill_minus_nine_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    """A child logs as fast as it can and is killed at eight moments; each line it printed must be there."""
    folder = tmp_path / "bench"
    write("bench", folder)
    moments = [0.02 + 0.25 * random.Random(7).random() * k / 8.0 for k in range(1, 9)]
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(folder), *map(str, moments)],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    told = [line.split() for line in done.stdout.splitlines() if line.startswith("turn ")]
    acknowledged = {int(words[1]): int(words[3]) for words in told}
    assert len(acknowledged) == len(moments)
    assert sum(acknowledged.values()) >= len(moments)
    read = log.read(folder)
    for turn, count in acknowledged.items():
        there = [
            e for e in read.entries if e.readings and int(e.readings[0].value) == turn and e.seen == "covered"
        ]
        assert count <= len(there) <= count + 1
        values = [e.readings[0].value for e in there]
        assert values == sorted(values)
    after = log.append(folder, log.Entry(kind="plating", note="after it all"))
    assert log.read(folder).entries[-1] == after
