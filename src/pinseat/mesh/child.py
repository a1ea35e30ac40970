"""The process that reads one untrusted scan file and can do nothing else.

It gets the file as its standard input, already open; it never opens a path itself, may write no file, and has
limits on memory and processor time. It answers on its standard output: one line of JSON, then the arrays.
Run as ``python -P -m pinseat.mesh.child FORMAT MEMORY_BYTES SECONDS``.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any

from pinseat.errors import ScanError
from pinseat.mesh.parse import parse

FORBIDDEN = (
    "os.system",
    "os.exec",
    "os.posix_spawn",
    "subprocess.Popen",
    "socket.connect",
    "socket.getaddrinfo",
)


def main() -> None:
    """Read, parse, answer."""
    kind, memory_bytes, seconds = sys.argv[1], int(sys.argv[2]), float(sys.argv[3])
    limit(memory_bytes, seconds)
    try:
        data = sys.stdin.buffer.read()
        if kind != "STL":
            import trimesh  # noqa: F401  (before the doors are shut)
        shut_doors()
        parsed = parse(data, kind)
    except MemoryError:
        answer({"memory": True})
    except ScanError as error:
        answer({"what": error.what, "value": error.value, "limit": error.limit, "do": error.do})
    else:
        head = {
            "vertices": len(parsed.vertices),
            "faces": len(parsed.faces),
            "unit": parsed.unit,
            "notes": parsed.notes,
        }
        answer(head, parsed.vertices, parsed.faces)


def limit(memory_bytes: int, seconds: float) -> None:
    """Limit this process, where the system can: memory, processor time, no file written."""
    try:
        import resource
    except ImportError:  # not a Unix: the time limit of the parent still holds
        return
    for what, most in (
        (resource.RLIMIT_AS, memory_bytes),
        (resource.RLIMIT_CPU, int(seconds) + 1),
        (resource.RLIMIT_FSIZE, 0),
    ):
        hard = resource.getrlimit(what)[1]
        allowed = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(what, (allowed, allowed))


def shut_doors() -> None:
    """From here on, open nothing but Python's own modules, and start or call nothing."""
    own = tuple({os.path.realpath(p) + os.sep for p in (*sys.path, sys.prefix, sys.base_prefix) if p})

    def guard(event: str, arguments: tuple[Any, ...]) -> None:
        if event == "open" and isinstance(arguments[0], str | bytes):
            wanted = os.path.realpath(os.fsdecode(arguments[0]))
            if not wanted.startswith(own):
                raise PermissionError("a scan file may not open other files")
        elif event in FORBIDDEN:
            raise PermissionError("a scan file may not start anything")

    sys.addaudithook(guard)


def answer(head: dict[str, Any], *arrays: Any) -> None:
    """Write the line and the arrays."""
    out = sys.stdout.buffer
    out.write(json.dumps(head).encode() + b"\n")
    for array in arrays:
        out.write(memoryview(array).cast("B"))
    out.flush()


if __name__ == "__main__":
    main()
