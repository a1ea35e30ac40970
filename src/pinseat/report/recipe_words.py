"""The recipe in words: what the screen and the cards say."""

from __future__ import annotations

import math
from collections.abc import Iterable

from pinseat.casting.cement_checks import press_words
from pinseat.casting.model import Cementing, Compensation, Metal, Mix, RecipeResult
from pinseat.ledger.verdict import one_sided
from pinseat.reference import Value
from pinseat.report.advice import sentence
from pinseat.report.rounding import fixed, pair, stopwatch, unit_mark, with_u

NOT_WEIGHED = "weigh the pattern with its sprue, and state pattern_g under [casting]"


def lines(recipe: RecipeResult) -> Iterable[tuple[str, str]]:
    """A short head and words for each line on the screen.

    Parameters
    ----------
    recipe : RecipeResult
    """
    mould = recipe.mould
    best = mould.recommended
    yield "rests on", mould.label
    if mould.stated is not None:
        yield "as stated", f"{mix_told(mould, mould.stated)}; {outcome(mould, mould.stated)}"
    if best is not None:
        yield "recommended", f"{mix_told(mould, best)}; {outcome(mould, best)}"
        yield "weigh", grams(mould, best)
        if mould.span_mm > 0.0 and mould.after_one_more > best.probability + 0.01:
            yield (
                "one bar more",
                f"the probability may be expected to rise to {per_cent(mould.after_one_more)}",
            )
    yield "melt", melt(recipe.metal) if recipe.metal else NOT_WEIGHED
    if recipe.day[0].start:
        yield "begin", f"{recipe.day[0].start}, due after {recipe.day[0].before_due_min / 60.0:.1f} h"
    if recipe.cement is not None:
        yield "cement", countdown(recipe.cement)


def mix_told(mould: Compensation, mix: Mix) -> str:
    """The mix in words with the number that steers it."""
    if mould.axis == "water_powder":
        return f"{fixed(mix.mix, 3)} ml water to 1 g of powder"
    return f"{fixed(mix.mix, 0)} % special liquid"


def outcome(mould: Compensation, mix: Mix) -> str:
    """Error over the span and the chance of keeping within the allowance."""
    if mould.span_mm <= 0.0:
        return f"net {with_u(mix.net_percent, mix.u_net_percent, '%')}"
    return (
        f"span error {with_u(mix.error_um, mix.u_error_um, 'um', 0)} over {fixed(mould.span_mm, 1)} mm, "
        f"allowance ±{fixed(mould.allowance_um, 0)} µm, probability {per_cent(mix.probability)}"
    )


def grams(mould: Compensation, mix: Mix) -> str:
    """What to weigh for the ring."""
    parts = [f"{fixed(mix.powder_g, 1)} g powder"]
    if mould.axis == "liquid_percent":
        parts.append(f"{fixed(mix.special_g, 2)} g special liquid ({fixed(mix.special_ml, 1)} ml)")
    parts.append(f"{fixed(mix.water_g, 2)} g water ({fixed(mix.water_ml, 1)} ml)")
    return ", ".join(parts)


def melt(metal: Metal) -> str:
    """What to weigh for the melt."""
    return (
        f"{with_u(metal.melt_g, metal.u_melt_g, 'g')}: {fixed(metal.casting_g, 1)} g casting with sprue, "
        f"{fixed(metal.button_g, 1)} g button; take {fixed(to_take_g(metal), 1)} g"
    )


def to_take_g(metal: Metal) -> float:
    """Metal to put into the crucible: enough 95 times in 100, to the half gram above."""
    return math.ceil(2.0 * (metal.melt_g + one_sided() * metal.u_melt_g)) / 2.0


def countdown(cement: Cementing) -> str:
    """The clock of the cementing."""
    if cement.latest_min < 0.0:
        return "this cement cannot be relied on to let the bridge home: cool the slab, or give it more room"
    return (
        f"set on at {clock(cement.start_min)}, at the latest {clock(cement.latest_min)}, with "
        f"{press_words(cement)}; closes in {seconds(cement.time_s)}; still open at {clock(cement.stop_min)}: "
        "lift it off, never force"
    )


def clock(minutes: float) -> str:
    """Minutes as on a clock.

    Examples
    --------
    >>> clock(4.26), clock(-1.0)
    ('4:15 min', 'never')
    """
    if minutes < 0.0 or not math.isfinite(minutes):
        return "never"
    return f"{stopwatch(int(60.0 * minutes))} min"


def seconds(value: float) -> str:
    """A short time to two digits, never less than it is.

    Examples
    --------
    >>> seconds(2.61), seconds(0.4), seconds(float("inf"))
    ('3 s', '1 s', 'never')
    """
    return f"{math.ceil(value)} s" if math.isfinite(value) else "never"


def per_cent(probability: float) -> str:
    """A probability as a person reads it.

    Examples
    --------
    >>> per_cent(0.954), per_cent(0.99999), per_cent(0.0001)
    ('95 %', 'over 99 %', 'under 1 %')
    """
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{fixed(100.0 * probability, 0)} %"


def plus_minus(value: float, u: float, places: int = 2) -> str:
    """A value with its uncertainty and no unit."""
    shown, spread = pair(value, u, places)
    return f"{shown} ± {spread}" if spread else shown


def granted(used: Iterable[Value]) -> str:
    """Values that nobody has published and nobody measured here, by basis.

    Parameters
    ----------
    used : iterable of Value

    Returns
    -------
    str
        Empty when there are none.
    """
    by_basis: dict[str, list[str]] = {}
    for one in used:
        if one.basis != "published":
            unit = unit_mark("" if one.unit == "1" else one.unit)
            by_basis.setdefault(one.basis, []).append(f"{plain_name(one)} {one.value:g}{unit}")
    return " ".join(f"{sentence(basis)[:-1]}: {', '.join(names)}." for basis, names in by_basis.items())


def plain_name(one: Value) -> str:
    """What a value is, in the words of its name.

    Examples
    --------
    >>> from pinseat.reference import value
    >>> plain_name(value("recipe.special_liquid_density_g_ml"))
    'special liquid density'
    """
    tail = one.unit.replace("/", "_").replace(" ", "_") if one.unit not in ("1", "%") else "percent"
    name = one.name.split(".")
    words = [part.removesuffix("_" + tail) for part in name[1:]]
    kept = [part for part in words if part not in ("phosphate_bonded", "gypsum_bonded")]
    return " ".join(kept).replace("_", " ")
