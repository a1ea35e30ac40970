"""The verdict in one sentence, the next thing to do, and the findings in the order they matter."""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise

from pinseat.casting.model import CastingResult
from pinseat.ledger.findings import Finding
from pinseat.report.rounding import fixed
from pinseat.seating.model import SeatingResult
from pinseat.survey.model import SurveyResult

_ORDER = {"stop": 0, "cannot tell": 1, "caution": 2, "clear": 3}


def all_findings(*results: SurveyResult | CastingResult | SeatingResult | None) -> tuple[Finding, ...]:
    """Every finding of the steps that were run, stop first; within a verdict in the order of the work.

    Parameters
    ----------
    *results : results of the steps in their order, None where a step was not run
    """
    return worst_first([finding for result in results if result is not None for finding in result.findings])


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings with the stops first; within a verdict as given."""
    return tuple(sorted(findings, key=lambda finding: _ORDER[finding.verdict]))


def next_action(survey: SurveyResult, casting: CastingResult, seating: SeatingResult) -> str:
    """What to do now, as one sentence.

    A stop comes first, then what would let an open question be answered, then the change that gains most.
    """
    found = all_findings(survey, casting, seating)
    if seating.verdict == "goes home":
        urgent = [finding.do for finding in found if finding.verdict == "stop" and finding.do]
        if urgent:
            return sentence(urgent[0])
        guessed = _guessed_mould(casting)
        return guessed or "Nothing needs changing. Go on with the next copy."
    wanted = ["stop"] if seating.verdict == "will bind" else ["cannot tell", "stop"]
    for verdict in wanted:
        for finding in found:
            if finding.verdict == verdict and finding.do:
                return sentence(finding.do)
    if seating.verdict == "cannot tell" and survey.blind:
        return sentence(f"take a reading that shows {survey.blind[0]}")
    useful = [lever for lever in seating.levers if lever.gain > 0.0]
    if useful:
        return sentence(useful[0].in_full)
    return "No single change helps enough. Go back to the holes before the next copy is made."


def _guessed_mould(casting: CastingResult) -> str:
    """What to do before casting when nobody has published or measured what the mould expands by."""
    mould = next((row for row in casting.fit.rows if row.copy == "investment"), None)
    if mould is None or mould.scale.basis != "assumed":
        return ""
    asked = [finding.do for finding in casting.findings if finding.code == "casting.investment"]
    return f"The mould's expansion is a guess. Before the bridge is cast, {asked[0]}." if asked else ""


def sentence(words: str) -> str:
    """Words as a sentence: a capital first, a stop last; nothing stays nothing.

    Examples
    --------
    >>> sentence("ream the hole"), sentence("")
    ('Ream the hole.', '')
    """
    words = words.strip()
    return words and words[:1].upper() + words[1:] + ("" if words.endswith((".", "?", "!")) else ".")


def why(seating: SeatingResult) -> str:
    """The reason for the verdict as a sentence."""
    return sentence(seating.why)


def opening_words(seating: SeatingResult) -> str:
    """The opening that the wanted share of bridges keeps within."""
    share = fixed(100.0 * seating.wanted_probability, 0)
    bound = opening_at(seating, seating.wanted_probability)
    if not math.isfinite(bound):
        return f"fewer than {share} in 100 bridges go on at all"
    return f"up to {fixed(bound, 0)} µm in {share} of 100 bridges"


def opening_at(seating: SeatingResult, share: float) -> float:
    """Opening in micrometres that `share` of the bridges do not exceed; infinite where they cannot go on.

    Between two stored quantiles the value is read off a straight line.

    Parameters
    ----------
    seating : SeatingResult
    share : float
        From 0 to 1.
    """
    at, value = list(seating.quantiles), list(seating.opening_um)
    for i, (low, high) in enumerate(pairwise(at)):
        if low <= share <= high:
            if share == low or not math.isfinite(value[i + 1]):
                return float(value[i] if share == low else math.inf)
            return float(value[i] + (value[i + 1] - value[i]) * (share - low) / (high - low))
    return float(value[0] if share < at[0] else value[-1] if share == at[-1] else math.inf)
