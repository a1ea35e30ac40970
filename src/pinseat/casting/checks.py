"""What the scale does to this case's spans, and what to change in the mould."""

from __future__ import annotations

from collections.abc import Sequence

from scipy.special import ndtr

from pinseat.casting.scale import (
    doubt_shares,
    net_scale,
    probability_within,
    span_error_um,
    u_wanted_scale,
    wanted_scale,
)
from pinseat.casting.span import Span
from pinseat.ledger.cautions import dentine_caution
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.rows import Entry, Row
from pinseat.ledger.verdict import of_chance, rule_words, sure
from pinseat.reference import value

TEST_CASTING = (
    "cast a test bar in this wax, investment and alloy, and state its length before and after under "
    "[[casting.bars]]"
)


def span_finding(rows: Sequence[Row], spans: Sequence[Span]) -> Finding | None:
    """Does the net scale keep within the play of the two pins it troubles most?

    Two pins in two holes take up a pitch error `e` as long as ``|e| <= c``, with `c` the mean of their
    diametral clearances: each pin gives half of its own. Here ``e = S L``. With the decision rule of
    ISO 14253-1:2017 it is *clear* or *stop* only when that is 0.95 probable; between the two it is *caution*
    when trouble is the likelier, else *cannot tell*.

    Parameters
    ----------
    rows : sequence of Row
    spans : sequence of Span

    Returns
    -------
    Finding or None
        None with fewer than two pins.
    """
    if not spans:
        return None
    net = net_scale(rows)

    def within(span: Span) -> float:
        error, u = span_error_um(net.mean, span.length_mm), span_error_um(net.u, span.length_mm)
        return probability_within(error, u, span.clearance_um)

    worst = min(spans, key=lambda span: (within(span), -span.length_mm))
    verdict = of_chance(within(worst))
    return Finding(
        code="casting.span",
        where=f"pins {worst.pins[0]} and {worst.pins[1]}",
        says={
            "clear": "The play of the holes takes up what the chain does to this span.",
            "stop": "The chain changes this span by more than the holes can take up.",
            "caution": "The chain probably changes this span by more than the holes can take up.",
            "cannot tell": "Whether the holes take up the change of this span cannot be told yet.",
        }[verdict],
        verdict=verdict,
        value=span_error_um(net.mean, worst.length_mm),
        uncertainty=span_error_um(net.u, worst.length_mm),
        unit="um",
        limit=worst.clearance_um,
        limit_source="either way; hole less cast pin from the case, two-pin closed form (derived); "
        + rule_words(),
        do="" if verdict == "clear" else _span_remedy(rows, worst),
    )


def compensation_finding(case_span: Finding | None, rows: Sequence[Row]) -> Finding:
    """Does the mould expand by what the other copies lack?

    Parameters
    ----------
    case_span : Finding or None
        The finding about the span: an error that the play takes up needs no other mould.
    rows : sequence of Row

    Returns
    -------
    Finding
        `value` is the expansion of the investment with its own uncertainty, `limit` the one that gives no net
        error, both in %; how well that is known stands with the limit's source.
    """
    net, wanted = net_scale(rows), wanted_scale(rows, "investment")
    mould = next(row for row in rows if row.copy == "investment")
    verdict: Verdict = "cannot tell"
    says = (
        "Whether the mould's expansion makes up for the rest of the chain cannot be told from what is known."
    )
    do = _measure_first(rows)
    if case_span is not None and case_span.verdict == "clear":
        verdict, do = "clear", ""
        says = "The mould's expansion makes up for the rest of the chain as closely as this span needs."
    elif _proven(net):
        verdict, do = "caution", _mould_change(mould.route, mould.scale.mean, wanted)
        says = f"The mould expands too {'little' if net.mean < 0.0 else 'much'}: the casting comes out too "
        says += "small." if net.mean < 0.0 else "large."
    return Finding(
        code="casting.compensation",
        where=f"{mould.route} investment",
        says=says,
        verdict=verdict,
        value=mould.scale.mean,
        uncertainty=mould.scale.u,
        unit="%",
        limit=wanted,
        limit_source="expansion that gives no net error, known to "
        f"{u_wanted_scale(rows, 'investment'):.2f} %: the other copies' product, inverted (computed)",
        do=do,
    )


def investment_finding(rows: Sequence[Row]) -> Finding | None:
    """Say so when nobody has tested this batch of investment, however good the chance of seating looks.

    Parameters
    ----------
    rows : sequence of Row

    Returns
    -------
    Finding or None
        None when the expansion was measured here.
    """
    mould = next(row for row in rows if row.copy == "investment")
    if mould.scale.basis == "measured here":
        return None
    guess = mould.scale.basis == "assumed"
    tolerance = value("investment.expansion_tolerance_percent")
    return Finding(
        code="casting.investment",
        where=f"{mould.route} investment",
        says=_untested(guess, mould.scale.source),
        verdict="caution",
        value=mould.scale.mean,
        uncertainty=mould.scale.u,
        unit="%",
        limit=None if guess else tolerance.value * mould.scale.mean / 100.0,
        limit_source=value("investment.phosphate_bonded.setting_expansion_c_percent").reference
        + " (published)"
        if guess
        else f"products may differ by this much: {tolerance.cited}",
        do=TEST_CASTING,
    )


def _untested(guess: bool, source: str) -> str:
    if "maker's sheet" in source or "factory figure" in source:
        return "The expansion is the maker's figure: no casting of yours has tested it."
    if guess:
        return (
            "The expansion is a guess, and with it the chance of seating: it differs several-fold between "
            "products and with the liquid."
        )
    return "The expansion is a published figure for one product, not a reading of this batch."


def _span_remedy(rows: Sequence[Row], span: Span) -> str:
    net = net_scale(rows)
    if span.clearance_um <= 0.0:
        return (
            "thin the cast pins (as stated, they are as thick as their holes), or ream the holes, "
            f"{dentine_caution()}"
        )
    if _proven(net) and abs(span_error_um(net.mean, span.length_mm)) > span.clearance_um:
        return "change the mould's expansion as said for the investment, or cast in two parts and solder them"
    return _measure_first(rows)


def _proven(net: Entry) -> bool:
    """Whether the casting is too small, or too large, as surely as a verdict must be."""
    if net.u == 0.0:
        return net.mean != 0.0
    return bool(ndtr(abs(net.mean) / net.u) >= sure())


def _measure_first(rows: Sequence[Row]) -> str:
    shares = doubt_shares(rows)
    copy = max(shares, key=lambda name: shares[name])
    how = f": {TEST_CASTING}" if copy == "investment" else ""
    return f"measure the scale of the {copy} first, it brings {shares[copy]:.0%} of the doubt{how}"


def _mould_change(route: str, now: float, wanted: float) -> str:
    step = f"bring the total expansion from {now:.2f} % to {wanted:.2f} %"
    wet = value("investment.gypsum_bonded.expansion_wet_liner_percent")
    dry = value("investment.gypsum_bonded.expansion_dry_ceramic_liner_percent")
    if route == "gypsum bonded" and wanted > wet.value:
        how = (
            f"more than the {wet.value:.2f} % a wet liner gave ({wet.reference}): take a phosphate-bonded one"
        )
    elif route == "gypsum bonded":
        how = (
            f"a wet cellulose liner gave {wet.value:.2f} %, a dry ceramic one {dry.value:.2f} % "
            f"({wet.reference}); never asbestos"
        )
    elif wanted > now:
        how = "more special liquid and less water in the mix, or a thicker mix"
    else:
        how = "more water in the special liquid, or a thinner mix"
    return f"{step}: {how}; then cast a test bar to prove it"
