"""The mould's law and the chance of a mix in closed form, against drawing from the prior and weighing.

Drawing is what one writes without the closed form (JCGM 101 with the bars as evidence): 200,000 draws of
level, slope and scatter, each weighed by how well it foretells the bars. With many bars hardly a draw still
counts: the last column.
"""

from __future__ import annotations

import math

import numpy as np

from benchmarks.machine import best_of, machine, peak_mb
from pinseat.case.casting import Casting
from pinseat.casting.copies import reference_row
from pinseat.casting.mould import law_of
from pinseat.casting.regression import within

SIZES = (4, 40, 400)
DRAWS = 200_000
LIMIT = 0.06
ROWS = tuple(
    reference_row(copy, route)
    for copy, route in (("investment", "phosphate bonded"), ("alloy", "silver palladium"))
)
SHEET = [{"liquid_percent": 50, "total_percent": 1.3}, {"liquid_percent": 100, "total_percent": 2.0}]


def stated(bars: int) -> Casting:
    """A sheet, and so many bars of one lot."""
    rng = np.random.default_rng(bars)
    mixes = rng.uniform(50.0, 100.0, bars)
    made = [
        {
            "lot": "A",
            "liquid_percent": float(m),
            "before_mm": 40.0,
            "after_mm": 40.0 * math.exp((-1.2 + 0.0135 * m + 0.04 * e) / 100.0),
            "u_mm": 0.001,
        }
        for m, e in zip(mixes, rng.normal(size=bars), strict=True)
    ]
    return Casting.model_validate({"sheet": SHEET, "bars": made})


def closed(casting: Casting) -> float:
    """Chance that a casting at 90 % keeps within 0.06 %."""
    return within(law_of(casting, "liquid_percent", ROWS).change(90.0, "A"), 0.0, 0.0, LIMIT)


def drawn(casting: Casting) -> tuple[float, float]:
    """The same by weighed draws, and how many draws that amounts to."""
    prior = law_of(casting.model_copy(update={"bars": ()}), "liquid_percent", ROWS)
    rng = np.random.default_rng(1)
    worth, s0 = prior.belief.worth, prior.belief.deviation
    s = s0 / np.sqrt(rng.gamma(worth / 2.0, 2.0 / worth, DRAWS))
    alloy = ROWS[1].scale
    ratio = prior.belief.ratio[0, 0] + (alloy.u / (1.0 + alloy.mean / 100.0) / prior.belief.scatter) ** 2
    level = prior.belief.mean[0] + 100.0 * math.log1p(alloy.mean / 100.0)
    level = level + s * math.sqrt(ratio) * rng.normal(size=DRAWS)
    level = level + s * math.sqrt(prior.belief.ratio[2, 2]) * rng.normal(size=DRAWS)  # the lot
    slope = prior.belief.mean[1] + s * math.sqrt(prior.belief.ratio[1, 1]) * rng.normal(size=DRAWS)
    log = np.zeros(DRAWS)
    for bar in casting.bars:
        y = 100.0 * math.log(bar.after_mm / bar.before_mm)
        log -= np.log(s) + 0.5 * ((y - level - slope * ((bar.liquid_percent or 0.0) - prior.centre)) / s) ** 2
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    casting_at = level + slope * (90.0 - prior.centre) + s * rng.normal(size=DRAWS)
    return float(weight @ (np.abs(casting_at) <= LIMIT)), 1.0 / float((weight**2).sum())


def main() -> None:
    """Print times, ratio and both answers."""
    print(f"{'bars':>5} {'closed form':>12} {'drawing':>10} {'times':>7}  chance  drawn  draws that count")
    for bars in SIZES:
        casting = stated(bars)
        ours = best_of(lambda c=casting: closed(c))
        theirs = best_of(lambda c=casting: drawn(c))
        chance, effective = drawn(casting)
        print(
            f"{bars:>5} {1e3 * ours:>9.2f} ms {1e3 * theirs:>7.0f} ms {theirs / ours:>7.0f}"
            f"  {closed(casting):.3f}   {chance:.3f}  {effective:>8.0f}"
        )
    command = "import benchmarks.recipe as b; b.closed(b.stated(400))"
    print(f"peak memory, closed form, 400 bars {peak_mb('-c', command):6.0f} MB")


if __name__ == "__main__":
    print(machine())
    main()
