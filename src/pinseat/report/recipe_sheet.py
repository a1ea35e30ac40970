"""The batch card for the bench, and the cementing card for the chair."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from pinseat.case.model import Case
from pinseat.casting.cement_checks import NEVER_FORCE, press_words
from pinseat.casting.model import CastingResult, Cementing, Compensation, RecipeResult
from pinseat.ledger.findings import Finding
from pinseat.reference import Value
from pinseat.report import recipe_words as words
from pinseat.report.advice import sentence, worst_first
from pinseat.report.pages import Plain, case_words, meta_words
from pinseat.report.recipe_charts import cement_chart, mould_chart
from pinseat.report.rounding import fixed, with_u
from pinseat.report.setting import write_page

_TIGHTER = tuple(
    {"size": size, "most": most}
    for size, most in ((10.2, 8), (9.8, 8), (9.4, 7), (9.0, 6), (8.6, 5), (8.2, 4), (7.8, 4), (7.2, 3))
)
_CEMENT = ("cement.",)
_CHAIR = ("cement.", "dentine.", "pin.")
"""What the cementing reckons with."""
_ELSEWHERE = ("ledger.", "schedule.", "hazard.", "crown.", "verdict.")
"""Listed in the report, or said on the card where they stand."""
"""Letters of a version or hash that are printed; the whole stands in the result files."""


def write_cards(
    folder: Path,
    case: Case,
    recipe: RecipeResult,
    casting: CastingResult,
    meta: dict[str, str],
    used: Sequence[Value] = (),
) -> tuple[Path, ...]:
    """Write ``results/recipe.pdf`` and ``results/cementing.pdf`` with their charts into a case folder.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    recipe : RecipeResult
    casting : CastingResult
        For the hazards of the chosen materials.
    meta : dict of str to str
        Label and value of each version and hash to print.
    used : sequence of Value
        Reference values that were looked up.

    Returns
    -------
    tuple of Path
        The PDFs, then the charts.

    Raises
    ------
    ReportError
        If a card cannot be set.
    CaseError
        If the folder cannot be written.
    """
    chair = [one for one in used if one.name.startswith(_CHAIR)]
    bench = [one for one in used if not one.name.startswith((*_CHAIR, *_ELSEWHERE))]
    batch = {**recipe_card(case, recipe, casting, meta), "granted": words.granted(bench)}
    page, *charts = write_page(
        folder, "recipe", batch, {"mould": lambda: mould_chart(recipe.mould)}, tighter=_TIGHTER
    )
    cement = recipe.cement
    if cement is None:
        return (page, *charts)
    card = {**cement_card(case, cement, recipe.findings, meta), "granted": words.granted(chair)}
    second, *more = write_page(
        folder, "cementing", card, {"cementing": lambda: cement_chart(cement)}, tighter=_TIGHTER
    )
    return (page, second, *charts, *more)


def recipe_card(case: Case, recipe: RecipeResult, casting: CastingResult, meta: dict[str, str]) -> Plain:
    """Everything the batch card says, without its chart.

    Parameters
    ----------
    case : Case
    recipe : RecipeResult
    casting : CastingResult
    meta : dict of str to str
    """
    hazards = [one for one in casting.findings if one.code == "casting.sulfur"]
    found = worst_first([*hazards, *(f for f in recipe.findings if not f.code.startswith(_CEMENT))])
    told = case_words(case)
    return {
        "heading": f"Batch card, case {case.number}",
        "footer": f"pinseat · case {case.number} · batch card · not a medical device",
        "number": told["number"],
        "title": case.title,
        "bridge": told["bridge"],
        "lot": case.casting.lot,
        "stop": [sentence(one.says) + " " + sentence(one.do) for one in hazards],
        "recipe": None if hazards else _recipe(recipe),
        "chart": "/figures/mould.svg",
        "mould": _mould(recipe),
        "lots": _lots(recipe),
        "melt": {
            "alloy": case.chain.alloy,
            "take": f"{fixed(words.to_take_g(recipe.metal), 1)} g" if recipe.metal else "",
            "missing": sentence(words.NOT_WEIGHED),
        },
        "metal": _metal(case, recipe),
        "day": [
            {
                "start": step.start[11:] if step.start else f"{step.before_due_min / 60.0:.1f} h before",
                "date": step.start[:10],
                "what": step.what,
                "takes": f"{fixed(step.minutes, 0)} ± {fixed(step.u_minutes, 0)}",
                "caution": step.caution,
            }
            for step in recipe.day
        ],
        "due": case.casting.due.replace("T", " "),
        "findings": _findings(found),
        "made": meta_words(meta),
    }


def cement_card(case: Case, cement: Cementing, findings: Iterable[Finding], meta: dict[str, str]) -> Plain:
    """Everything the cementing card says, without its chart.

    Parameters
    ----------
    case : Case
    cement : Cementing
    findings : iterable of Finding
    meta : dict of str to str
    """
    found = worst_first([one for one in findings if one.code.startswith(_CEMENT)])
    told = case_words(case)
    return {
        "heading": f"Cementing card, case {case.number}",
        "footer": f"pinseat · case {case.number} · cementing card · not a medical device",
        "number": told["number"],
        "title": case.title,
        "kind": sentence(cement.kind),
        "clock": [
            [
                "set on",
                words.clock(cement.start_min),
                f"along the draw; {press_words(cement)}",
            ],
            ["stop", words.clock(cement.stop_min), "margins still open: it binds or jams. Lift it off"],
            ["too late", words.clock(cement.latest_min), "from here on do not set it on: mix afresh"],
            ["let go", f"{fixed(cement.setting_min, 0)} min", "held still until the cement has set"],
        ],
        "home": f"Expected to close {words.seconds(cement.time_s)} after it is set on (known within a factor "
        f"of {fixed(cement.u_factor, 1)}), {words.per_cent(cement.probability)} sure within the working time "
        f"of {fixed(cement.working_min, 1)} min, to a film of {fixed(cement.film_um, 0)} µm.",
        "never": NEVER_FORCE,
        "chart": "/figures/cementing.svg",
        "pins": [
            {
                "pin": pin.pin,
                "room": fixed(pin.room_um, 0),
                "length": fixed(pin.length_mm, 1),
                "share": fixed(100.0 * pin.share, 0),
                "force": with_two(pin.alone_N),
                "alone": with_two(pin.alone_s),
                "vented": with_two(pin.vented_s),
            }
            for pin in cement.pins
        ],
        "faces": fixed(100.0 * max(0.0, 1.0 - sum(pin.share for pin in cement.pins)), 0),
        "findings": _findings(found),
        "made": meta_words(meta),
    }


def with_two(value: float) -> str:
    """A number to two digits.

    Examples
    --------
    >>> with_two(0.2069), with_two(13.4), with_two(float("inf"))
    ('0.21', '13', 'never')
    """
    if value == float("inf"):
        return "never"
    text = f"{value:.2g}"
    return fixed(float(text), max(0, 1 - int(f"{value:e}".partition("e")[2])) if value else 0)


def _recipe(recipe: RecipeResult) -> dict[str, Any] | None:
    mould, mix = recipe.mould, recipe.mould.recommended
    if mix is None:
        return None
    parts = [["powder", f"{fixed(mix.powder_g, 1)} g", ""]]
    if mould.axis == "liquid_percent":
        parts.append(["special liquid", f"{fixed(mix.special_g, 2)} g", f"{fixed(mix.special_ml, 1)} ml"])
    parts.append(["water", f"{fixed(mix.water_g, 2)} g", f"{fixed(mix.water_ml, 1)} ml"])
    sure = "clear" if mix.probability >= 0.95 else "caution" if mix.probability >= 0.5 else "stop"
    return {
        "parts": parts,
        "mix": words.mix_told(mould, mix),
        "chance": words.per_cent(mix.probability) if mould.span_mm > 0.0 else "",
        "verdict": sure,
        "outcome": words.outcome(mould, mix),
    }


def _mould(recipe: RecipeResult) -> list[list[str]]:
    mould, best = recipe.mould, recipe.mould.recommended
    rows = [["rests on", sentence(mould.label) + f" Basis: {mould.basis}."]]
    if best is not None:
        change = with_u(best.change_percent, best.u_change_percent, "%")
        net = with_u(best.net_percent, best.u_net_percent, "%")
        wanted = f"wanted {fixed(mould.wanted_percent, 2)} %"
        rows.append(["at this mix", f"{_together(mould.covers)} {change}, {wanted}; tooth to casting {net}"])
    if mould.stated is not None and best is not None:
        said = f"{words.mix_told(mould, mould.stated)}: {words.outcome(mould, mould.stated)}"
        rows.append(["as stated", said])
    rows.append(["steering", _steering(mould)])
    if mould.span_mm and best is not None:
        rose = mould.after_one_more > best.probability + 0.01
        said = f"may be expected to bring the probability to {words.per_cent(mould.after_one_more)}"
        rows.append(["one bar more", said if rose else "would add little to the probability"])
    counts = ", ".join(f"{one.pins} pins {words.per_cent(one.probability)}" for one in mould.pin_counts)
    if counts:
        rows.append(["more pins", f"each brings its own error: {counts} enter along the span"])
    return rows


def _steering(mould: Compensation) -> str:
    """What a change of the mix does to mould and span."""
    step, unit = 10.0, "10 % more special liquid"
    if mould.axis == "water_powder":
        step, unit = 0.01, "0.01 ml/g more water"
    change = with_u(step * mould.slope, step * mould.u_slope, "%")
    span = 10.0 * step * mould.slope * mould.span_mm
    return f"{unit}: {change}" + (f", {fixed(span, 0)} µm over the span" if mould.span_mm else "")


def _together(covers: tuple[str, ...]) -> str:
    names = {"investment": "mould", "alloy": "metal", "pattern": "wax"}
    words_of = [names[copy] for copy in covers]
    return words_of[0] if len(words_of) == 1 else f"{', '.join(words_of[:-1])} and {words_of[-1]} together"


def _lots(recipe: RecipeResult) -> list[list[str]]:
    return [
        [lot.lot, str(lot.castings), words.plus_minus(lot.effect_percent, lot.u_effect_percent)]
        for lot in recipe.mould.lots
    ]


def _metal(case: Case, recipe: RecipeResult) -> list[list[str]]:
    rows = []
    metal, beam = recipe.metal, recipe.beam
    if metal is not None:
        rows.append(
            [
                "of which",
                f"{with_u(metal.casting_g, metal.u_melt_g, 'g')} in casting and sprue "
                f"({fixed(metal.pattern_g, 2)} g of pattern), {fixed(metal.button_g, 1)} g button",
            ]
        )
    if beam is None:
        rows.append(["connector", "not stated"])
    else:
        rows.append(
            [
                "connector",
                f"{fixed(beam.width_mm, 1)} x {fixed(beam.height_mm, 1)} mm; this wide it needs "
                f"{fixed(beam.height_needed_mm, 1)} mm of height",
            ]
        )
        sag = f"{fixed(beam.sag_fixed_um, 0)} to {fixed(beam.sag_free_um, 0)} µm"
        rows.append(
            [
                "gives",
                f"{sag} in {fixed(beam.span_mm, 1)} mm under {with_u(beam.load_N, beam.u_load_N, 'N', 0)}",
            ]
        )
    thin = case.casting.thinnest_mm
    rows.append(["thinnest", "not measured" if thin is None else f"{fixed(thin, 2)} mm"])
    return rows


def _findings(found: Iterable[Finding]) -> list[dict[str, str]]:
    """The open findings with number, limit and what to do."""
    return [
        {
            "verdict": one.verdict,
            "where": sentence(one.where),
            "says": sentence(one.says),
            "number": _number(one),
            "do": sentence(one.do),
        }
        for one in found
        if one.verdict != "clear"
    ]


def _number(one: Finding) -> str:
    if one.value is None:
        return ""
    places = 2 if one.unit in ("mm", "%") else 1
    value = with_u(one.value, one.uncertainty, one.unit, places)
    if one.limit is None:
        return value + "."
    return f"{value}, limit {with_u(one.limit, None, one.unit, places)}."
