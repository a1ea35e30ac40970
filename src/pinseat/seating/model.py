"""What seating gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.findings import Finding, SeatVerdict

Float = NDArray[np.float64]
Cost = Literal["minutes", "pattern", "mould", "casting", "impression", "holes"]
"""What a change costs, cheapest first: minutes at bench or chair; another pattern; another setting of the
mould; another casting; another impression and all that follows; the teeth cut again."""
COSTS: dict[Cost, str] = {
    "minutes": "minutes",
    "pattern": "pattern",
    "mould": "mould",
    "casting": "new die or casting",
    "impression": "new impression",
    "holes": "teeth cut again",
}


@dataclass(frozen=True)
class Chance:
    """A probability by Monte Carlo, with the standard error of the counting (JCGM 101)."""

    probability: float
    standard_error: float


@dataclass(frozen=True)
class Share:
    """How much one group of errors matters: total-order index of the clearance lacking."""

    group: str
    total_index: float
    standard_error: float


@dataclass(frozen=True)
class Lever:
    """One single change, recomputed with the same random bridges.

    Attributes
    ----------
    change : str
        What to do, in bench words.
    before, after : Chance
    gain, u_gain : float
        Gain in probability and its Monte Carlo standard error (paired).
    gain_lacking_um : float
        How much less clearance is lacking, mean over the bridges.
    cost : Cost or ""
        What it takes; for two changes together the dearer.
    caution : str
        Where the change can hurt; empty when it cannot.
    u_gain_lacking_um : float
        Its Monte Carlo standard error (paired).
    """

    change: str
    before: Chance
    after: Chance
    gain: float
    u_gain: float
    gain_lacking_um: float
    cost: Cost | Literal[""] = ""
    caution: str = ""
    u_gain_lacking_um: float = 0.0

    @property
    def in_full(self) -> str:
        """What to do, with its caution."""
        return f"{self.change}: {self.caution}" if self.caution else self.change


@dataclass(frozen=True, eq=False)
class SeatingResult:
    """The verdict and what stands behind it.

    Attributes
    ----------
    verdict : {"goes home", "will bind", "cannot tell"}
    why : str
        For "cannot tell": whether the probability lies between or readings are missing; else the number
        that decided.
    chance : Chance
        Of going home within `limit_um`.
    chance_tight : Chance
        Within 50 um.
    wanted_probability, limit_um, tight_limit_um : float
    trials : int
    seed : int
    opening_um : (q,) array
        Quantiles of the opening at `quantiles`; infinite where the bridge cannot go on at all.
    quantiles : (q,) array
    histogram_um : (b + 1,) array
        Bin edges of `histogram_count`.
    histogram_count : (b,) array
    clearance_lacking_um : (q,) array
        Quantiles at `quantiles`; positive = lacking, negative = to spare.
    entry_failures : Chance
        Share of bridges whose pins cannot even enter.
    shares : tuple of Share
        Largest first.
    levers : tuple of Lever
        The three that gain most, largest first.
    findings : tuple of Finding
    """

    verdict: SeatVerdict
    why: str
    chance: Chance
    chance_tight: Chance
    wanted_probability: float
    limit_um: float
    tight_limit_um: float
    trials: int
    seed: int
    opening_um: Float
    quantiles: Float
    histogram_um: Float
    histogram_count: NDArray[np.int64]
    clearance_lacking_um: Float
    entry_failures: Chance
    shares: tuple[Share, ...]
    levers: tuple[Lever, ...]
    findings: tuple[Finding, ...]
