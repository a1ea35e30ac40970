"""The whole chain on the demo case: from its scan of 300,000 triangles to the report.

Cold: nothing computed, no kernel compiled. Warm: kernels compiled. Stored: nothing has changed since the last
run. There is no other tool to run beside it; what a user would pick for each part is in the other benchmarks.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.machine import machine, peak_mb
from pinseat.demo.cases import write


def main() -> None:
    """Print the times and the peak memory."""
    with tempfile.TemporaryDirectory() as place:
        folder, kernels = Path(place) / "front", Path(place) / "kernels"
        start = time.perf_counter()
        write("front", folder)
        print(f"generating the demo scan        {time.perf_counter() - start:6.1f} s")
        for name, forget in (("cold", True), ("warm", False), ("warm", False), ("stored", None)):
            if forget is not None:
                shutil.rmtree(folder / "results", ignore_errors=True)
            print(f"{name:8} scan to report, new process {_run(folder, kernels):6.1f} s")
        shutil.rmtree(folder / "results")
        os.environ["NUMBA_CACHE_DIR"] = str(kernels)
        print(f"peak memory, warm               {peak_mb('-m', 'pinseat', 'run', str(folder)):6.0f} MB")


def _run(folder: Path, kernels: Path) -> float:
    start = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "pinseat", "run", str(folder)],
        env={**os.environ, "NUMBA_CACHE_DIR": str(kernels)},
        stdout=subprocess.DEVNULL,
        check=True,
    )
    return time.perf_counter() - start


if __name__ == "__main__":
    print(machine())
    main()
