"""Every benchmark in one run: ``python -m benchmarks [NAME ...]``.

Each prints a table of three sizes with what a user would pick instead beside it, as ratios from the same run.
"""

from __future__ import annotations

import importlib
import pkgutil
import sys

import benchmarks
from benchmarks.machine import machine


def main() -> None:
    """Run the named benchmarks, or all of them."""
    every = [
        m.name for m in pkgutil.iter_modules(benchmarks.__path__) if m.name not in {"__main__", "machine"}
    ]
    wanted = sys.argv[1:] or every
    unknown = set(wanted) - set(every)
    if unknown:
        sys.exit(f"no benchmark called {', '.join(sorted(unknown))}; there are: {', '.join(every)}")
    print(machine())
    for name in wanted:
        print(f"\n== {name}")
        importlib.import_module(f"benchmarks.{name}").main()


if __name__ == "__main__":
    main()
