"""The table of changes, the best pairs and hold against seating; beside it, changes counted without pairing.

What a user would do instead is to count each change with its own random bridges. The ratio says how many more
bridges, and so how much more time, that takes for the same error of the gain.
"""

from __future__ import annotations

import math

from benchmarks.diagnosis import bridge
from benchmarks.machine import best_of, peak_mb
from pinseat.seating.bridges import seat_bridges
from pinseat.seating.changes import changes
from pinseat.seating.levers import try_changes
from pinseat.seating.plan import TRIALS, weigh
from pinseat.seating.problem import build

SEED = 1


def main() -> None:
    """Three sizes of bridge."""
    print(f"{TRIALS} bridges a change; warm")
    print("pins  changes  table s  whole plan s  bridges more without pairing (median)")
    for pins in (2, 3, 6):
        assembly, _ = bridge(pins)
        tried = changes(assembly)

        def table(assembly=assembly, tried=tried):  # type: ignore[no-untyped-def]
            before = seat_bridges(
                build(assembly), limit_mm=assembly.limit_mm, trials=TRIALS, seed=SEED, opening=False
            )
            return try_changes(tried, before, seed=SEED)

        found = table()
        ratios = sorted(
            (math.hypot(one.before.standard_error, one.after.standard_error) / one.u_gain) ** 2
            for one in found
            if one.u_gain > 0.0
        )
        took = best_of(table, 2)
        whole = best_of(lambda a=assembly: weigh(a, wanted=0.9, seed=SEED), 1)
        print(f"{2 * pins:4} {len(tried):8} {took:8.2f} {whole:13.2f} {ratios[len(ratios) // 2]:12.1f}")
    print(f"memory: {peak_mb('-m', 'benchmarks.levers', '1'):.0f} MB")


if __name__ == "__main__":
    import sys

    if len(sys.argv) > 1:
        weigh(bridge()[0], wanted=0.9, seed=SEED)
    else:
        main()
