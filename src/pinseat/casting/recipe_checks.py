"""Findings on the recipe: mould, metal and span."""

from __future__ import annotations

from pinseat.case.model import Case
from pinseat.casting.compensation import mix_words
from pinseat.casting.model import Beam, Compensation, DayStep, Metal, Mix, PinCount
from pinseat.casting.mould import expansion, percent
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.verdict import of_chance, one_sided, rule_words, sure
from pinseat.reference import value

BAR = (
    "cast a test bar of 30 mm at this mix in the same wax, powder and alloy, and state its length before and "
    "after under [[casting.bars]]"
)
FURNACE = 3
"""Place of the burn-out among the steps of the day."""
EARLY_H = 7
"""A day that has to begin before this hour is better begun on the evening before."""


def mould_findings(case: Case, mould: Compensation) -> tuple[Finding, ...]:
    """Findings on the mould's recipe.

    Parameters
    ----------
    case : Case
    mould : Compensation

    Returns
    -------
    tuple of Finding
    """
    found = [
        _mix_finding(mould),
        _rests_on(mould),
        _reach(mould),
        _lots(mould),
        _more_pins(mould),
        *_sheet_limits(case),
        _off_its_sheet(case, mould),
    ]
    return tuple(finding for finding in found if finding is not None)


def metal_findings(case: Case, metal: Metal | None) -> tuple[Finding, ...]:
    """Findings on button and thinnest place."""
    found = []
    if metal is not None:
        button = 1000.0 * metal.button_g / metal.density_g_cm3
        loss = value("alloy.gold.freezing_volume_shrinkage_percent")
        short = button < metal.feed_mm3
        found.append(
            Finding(
                code="recipe.button",
                where="button",
                says="The button is too small to feed the casting while it freezes: it will be porous."
                if short
                else "The button can feed the casting while it freezes.",
                verdict="stop" if short else "clear",
                value=button,
                unit="mm3",
                limit=metal.feed_mm3,
                limit_source=f"{loss.value:g} % of volume lost on freezing, {loss.cited}",
                do=f"melt {metal.feed_mm3 * metal.density_g_cm3 / 1000.0 - metal.button_g:.1f} g more"
                if short
                else "",
            )
        )
    thinnest = case.casting.thinnest_mm
    if thinnest is not None:
        least = value(f"alloy.{case.chain.alloy.replace(' ', '_')}.thinnest_mm")
        thin = thinnest < least.value
        found.append(
            Finding(
                code="recipe.thin",
                where="thinnest place",
                says="This place may not fill, and will not stand finishing."
                if thin
                else "The thinnest place should fill.",
                verdict="caution" if thin else "clear",
                value=thinnest,
                unit="mm",
                limit=least.value,
                limit_source=least.cited,
                do="thicken it in wax, or sprue close to it" if thin else "",
            )
        )
    return tuple(found)


def beam_findings(case: Case, beam: Beam | None) -> tuple[Finding, ...]:
    """Findings on the span under the bite."""
    return () if beam is None else (_strength(case, beam), _sag(beam))


def _strength(case: Case, beam: Beam) -> Finding:
    highest = 1.0 + one_sided() * beam.u_load_N / beam.load_N
    proof = value(f"alloy.{case.chain.alloy.replace(' ', '_')}.proof_MPa")
    verdict: Verdict = "cannot tell"
    if highest * beam.stress_free_MPa <= beam.proof_MPa:
        verdict = "clear"
    elif beam.stress_fixed_MPa > beam.proof_MPa:
        verdict = "stop"
    elif beam.stress_free_MPa > beam.proof_MPa:
        verdict = "caution"
    height = f"make the connector {beam.height_needed_mm:.1f} mm high, or the alloy one type stronger"
    return Finding(
        code="recipe.span_strength",
        where=f"connector {beam.width_mm:g} x {beam.height_mm:g} mm, span {beam.span_mm:.1f} mm",
        says={
            "clear": "The connector stands the bite, even if the retainers hold it like hinges.",
            "stop": "The bite bends this connector for good, even if the retainers hold it rigidly.",
            "caution": "The bite bends this connector for good if the retainers hold it like hinges.",
            "cannot tell": "A strong bite may bend this connector for good.",
        }[verdict],
        verdict=verdict,
        value=beam.stress_free_MPa,
        uncertainty=beam.stress_free_MPa * beam.u_load_N / beam.load_N or None,
        unit="MPa",
        limit=beam.proof_MPa,
        limit_source=f"{proof.conditions}; {proof.cited}; beam with ends that turn, load at mid-span",
        do="" if verdict == "clear" else height,
    )


def _sag(beam: Beam) -> Finding:
    flex = value("casting.beam_flex_share")
    most = 1000.0 * flex.value * beam.span_mm
    soft = beam.sag_free_um > most
    return Finding(
        code="recipe.span_sag",
        where=f"span {beam.span_mm:.1f} mm",
        says="The span gives more under the bite than a cement film stands."
        if soft
        else "The span is stiff enough for the cement.",
        verdict="caution" if soft else "clear",
        value=beam.sag_free_um,
        uncertainty=beam.sag_free_um * beam.u_sag_share,
        unit="um",
        limit=most,
        limit_source=f"a {1.0 / flex.value:.0f}th of the span ({flex.basis}): {flex.note}",
        do="make the pontic higher: height counts with its cube, width only by itself" if soft else "",
    )


def day_findings(day: tuple[DayStep, ...]) -> tuple[Finding, ...]:
    """Say so when the day would begin at night."""
    start, furnace = day[0].start, day[FURNACE].start
    last = day[-1].start[:10]
    if not start or (int(start[11:13]) >= EARLY_H and start[:10] == last):
        return ()
    same = start[:10] == last
    dark = int(furnace[11:13]) < EARLY_H or furnace[:10] != last
    wait = value("schedule.ring_wait_h")
    return (
        Finding(
            code="recipe.day",
            where="timetable",
            says=f"To be done in time the work begins at {start[11:]}"
            + ("." if same else " the day before."),
            verdict="caution",
            value=day[0].before_due_min / 60.0,
            unit="h",
            limit_source=f"a set ring may wait {wait.value:.0f} h, kept damp ({wait.basis})",
            do="cast on the day before, and leave only the finishing for the last"
            if dark
            else "invest on the evening before, and keep the set ring in a damp cloth",
        ),
    )


def _mix_finding(mould: Compensation) -> Finding | None:
    mix = mould.stated or mould.recommended
    if mix is None:
        return Finding(
            code="recipe.mix",
            where="mould",
            says="The mould was measured, but at which mix is not said: no recipe can be weighed.",
            verdict="cannot tell",
            limit_source="the law of a mould holds for its mix",
            do=f"state {mould.axis} under [casting]: the mix of the ring that was measured",
        )
    if mould.span_mm <= 0.0:
        return None
    verdict = of_chance(mix.probability)
    return Finding(
        code="recipe.mix",
        where=f"{mix_words(mould.axis, mix.mix)}, span {mould.span_mm:.2f} mm",
        says={
            "clear": "This mix keeps the span within what the pins take up.",
            "stop": "This mix brings the span outside what the pins take up.",
            "caution": "This mix probably brings the span outside what the pins take up.",
            "cannot tell": "Whether this mix keeps the span within what the pins take up is not sure enough.",
        }[verdict],
        verdict=verdict,
        value=mix.error_um,
        uncertainty=mix.u_error_um or None,
        unit="um",
        limit=mould.allowance_um,
        limit_source="either way; play of all pins together, closed form (derived); "
        f"probability {mix.probability:.0%}, {rule_words()}",
        do="" if verdict == "clear" else _better(mould, mix),
    )


def _better(mould: Compensation, mix: Mix) -> str:
    best = mould.recommended
    if best is not None and best.probability > mix.probability + 0.01:
        return (
            f"mix {mix_words(mould.axis, best.mix)} instead: error {best.error_um:+.0f} um, "
            f"probability {best.probability:.0%} instead of {mix.probability:.0%}"
        )
    if mould.after_one_more > mix.probability + 0.01:
        return f"{BAR}: the probability may be expected to rise to {mould.after_one_more:.0%}"
    return "give the pins more room, or cast in two parts and solder them"


def _rests_on(mould: Compensation) -> Finding:
    tested = mould.basis == "measured here"
    return Finding(
        code="recipe.basis",
        where="mould",
        says=f"The recipe rests on {mould.label}.",
        verdict="clear" if tested else "caution",
        limit_source=f"basis: {mould.basis}",
        do="" if tested else BAR,
    )


def _reach(mould: Compensation) -> Finding | None:
    low, high = mould.reach
    if mould.recommended is None or low <= mould.unbounded <= high:
        return None
    mix = mould.recommended
    near = mix.probability >= sure()
    return Finding(
        code="recipe.reach",
        where=mix_words(mould.axis, mix.mix),
        says="This mix, the last that sheet or bars speak of, comes close enough."
        if near
        else "No mix that sheet or bars speak of makes up for the other copies; this is the nearest.",
        verdict="clear" if near else "caution",
        value=mix.net_percent,
        uncertainty=mix.u_net_percent,
        unit="%",
        limit=0.0,
        limit_source=f"trusted from {low:.3g} to {high:.3g}; the line would need {mould.unbounded:.3g}",
        do=""
        if near
        else "take another investment, liner or mould temperature by its sheet; or test a bar there",
    )


def _lots(mould: Compensation) -> Finding | None:
    """The lot that stands out most, when it surely does."""
    if len(mould.lots) < 2:
        return None
    worst = max(mould.lots, key=lambda lot: abs(lot.effect_percent) / lot.u_effect_percent)
    off = abs(worst.effect_percent) > one_sided() * worst.u_effect_percent
    more = "larger" if worst.effect_percent > 0.0 else "smaller"
    return Finding(
        code="recipe.lots",
        where=f"lot {worst.lot}",
        says=f"Castings from this lot come out {more} than from the others: the lots drift."
        if off
        else "The lots do not differ beyond the scatter of the bars.",
        verdict="caution" if off else "clear",
        value=worst.effect_percent,
        uncertainty=worst.u_effect_percent,
        unit="%",
        limit=0.0,
        limit_source=f"the mean of all lots; {rule_words()}",
        do="cast a test bar with each new lot before a bridge" if off else "",
    )


def _more_pins(mould: Compensation) -> Finding | None:
    """What two more pins would do at the same error of scale."""
    if len(mould.pin_counts) < 2:
        return None
    first, last = mould.pin_counts[0], mould.pin_counts[-1]
    worse = first.probability - last.probability > 0.02 and last.probability < sure()
    return Finding(
        code="recipe.pins",
        where="number of pins",
        says=f"More pins make it worse: {_counts(mould.pin_counts)} of castings enter along the span.",
        verdict="caution" if worse else "clear",
        value=100.0 * last.probability,
        unit="%",
        limit=100.0 * first.probability,
        limit_source=f"with {first.pins} pins at the same error of scale; each pin brings its own error of "
        "position (fit ledger), and all must find their holes (closed form, derived)",
        do="add a pin only where retention needs it" if worse else "",
    )


def _counts(counts: tuple[PinCount, ...]) -> str:
    return ", ".join(f"with {one.pins} pins {100.0 * one.probability:.0f} %" for one in counts)


def _sheet_limits(case: Case) -> list[Finding]:
    """The sheet against the older specification, where it speaks of this kind of investment."""
    if case.chain.investment != "gypsum bonded":
        return []
    found = []
    for kind, points in (
        ("hygroscopic", [p for p in case.casting.sheet if p.hygroscopic_percent is not None]),
        ("thermal", [p for p in case.casting.sheet if p.hygroscopic_percent is None]),
    ):
        if not points:
            continue
        low = value(f"investment.ada_2.{kind}_type_min_percent")
        high = value(f"investment.ada_2.{kind}_type_max_percent")
        grown = [percent(expansion(point)) for point in points]
        worst = max(grown, key=lambda g: max(low.value - g, g - high.value))
        inside = low.value <= worst <= high.value
        found.append(
            Finding(
                code="recipe.sheet",
                where=f"maker's sheet, {kind} expansion",
                says="The sheet lies within what the older specification asked for."
                if inside
                else "The sheet lies outside what the older specification asked for.",
                verdict="clear" if inside else "caution",
                value=worst,
                unit="%",
                limit=high.value if worst > low.value else low.value,
                limit_source=f"{low.value:g} to {high.value:g} %, {low.cited}",
                do="" if inside else "read the sheet again: is it the total, and in %?",
            )
        )
    return found


def _off_its_sheet(case: Case, mould: Compensation) -> Finding | None:
    """Bars against the sheet they were cast by."""
    bars = [one for one in mould.evidence if one.kind == "bar"]
    sheet = [one for one in mould.evidence if one.kind == "sheet"]
    if not bars or not sheet:
        return None
    tolerance = value("investment.expansion_tolerance_percent")
    grown = sum(percent(expansion(point)) for point in case.casting.sheet) / len(case.casting.sheet)
    most = tolerance.value / 100.0 * grown
    mean_mix = sum(one.mix for one in bars) / len(bars)
    line = sum(one.change_percent for one in sheet) / len(sheet)
    line += mould.slope * (mean_mix - sum(one.mix for one in sheet) / len(sheet))
    gap = sum(one.change_percent for one in bars) / len(bars) - line
    far = abs(gap) > most
    return Finding(
        code="recipe.off_sheet",
        where="test castings against the sheet",
        says="Your castings differ from the maker's sheet by more than a product may."
        if far
        else "Your castings agree with the maker's sheet as closely as a product must.",
        verdict="caution" if far else "clear",
        value=gap,
        unit="%",
        limit=most,
        limit_source=f"either way; {tolerance.value:g} % of the expansion stated, {tolerance.cited}",
        do="trust the bars; look at liner, vacuum, age of the powder and the furnace's thermometer"
        if far
        else "",
    )
