"""What the figures were measured on, and how."""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path


def machine() -> str:
    """Processor, cores, Python, library versions and commit, in one line."""
    libraries = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "numba"))
    python = platform.python_version()
    return f"{_processor()}, {os.cpu_count()} cores, Python {python}, {libraries}, commit {_commit()}"


def best_of(call: Callable[[], object], times: int = 3) -> float:
    """Shortest of a few runs in seconds; the machine may be noisy, the shortest is the least disturbed."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - start)
    return best


def peak_mb(*command: str) -> float:
    """Peak resident memory in MB of a Python command, such as ``("-m", "benchmarks.scan", "file.stl")``.

    A small process in between starts it: what is counted for a process includes the one that started it.
    """
    script = (
        "import resource, subprocess, sys; subprocess.run([sys.executable, *sys.argv[1:]], check=True);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    call = [sys.executable, "-I", "-S", "-c", script, *command]
    return int(subprocess.run(call, capture_output=True, text=True, check=True).stdout.split()[-1]) / 1024


def _processor() -> str:
    info = Path("/proc/cpuinfo")
    if info.exists():
        for line in info.read_text().splitlines():
            if line.startswith("model name"):
                return line.split(":", 1)[1].strip()
    return platform.processor() or platform.machine()


def _commit() -> str:
    done = subprocess.run(
        ["git", "describe", "--always", "--dirty"],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parent,
    )
    return done.stdout.strip() or "unknown"
