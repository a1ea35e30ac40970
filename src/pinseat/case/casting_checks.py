"""What the statements about the casting must agree on."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from pinseat.case.casting import Bar, SheetPoint
from pinseat.case.lines import Place
from pinseat.case.model import Case
from pinseat.case.trouble import Trouble

LARGEST_CHANGE_PERCENT = 10.0
"""More than twice the largest change of length of any mould and metal."""


def casting_disagreements(case: Case) -> Iterator[Trouble]:
    """Everything about the casting that does not go together.

    Parameters
    ----------
    case : Case

    Yields
    ------
    Trouble
    """
    wet = case.chain.investment == "gypsum bonded"
    for i, point in enumerate(case.casting.sheet):
        place: Place = ("casting", "sheet", i)
        yield from _mix(place, point, wet, needed=True)
        yield from _expansion(place, point)
    for i, bar in enumerate(case.casting.bars):
        place = ("casting", "bars", i)
        yield from _mix(place, bar, wet, needed=True)
        change = 100.0 * (bar.after_mm / bar.before_mm - 1.0)
        if abs(change) > LARGEST_CHANGE_PERCENT:
            what, limit = (
                "no casting changes its length by so much",
                f"at most {LARGEST_CHANGE_PERCENT:g} % either way",
            )
            yield Trouble((*place, "after_mm"), what, f"{change:.1f} %", limit, "check both lengths")
    yield from _mix(("casting",), case.casting, wet, needed=False)
    yield from _cement(case)
    if case.casting.bars and any(m.copy_ in _covered(case) and m.error == "scale" for m in case.measured):
        what = "what the test castings show is also stated as measured"
        do = f"take the scale of {' and '.join(_covered(case))} out of [[measured]], or take out the bars"
        yield Trouble(("casting", "bars"), what, do=do)


def _covered(case: Case) -> tuple[str, ...]:
    """The copies whose changes a test casting shows together, with the mould's first."""
    return ("investment", "pattern") if case.casting.bars_against == "die" else ("investment",)


def _mix(place: Place, item: SheetPoint | Bar | object, wet: bool, needed: bool) -> Iterator[Trouble]:
    key, other = ("water_powder", "liquid_percent") if wet else ("liquid_percent", "water_powder")
    if getattr(item, other) is not None:
        kind = "gypsum" if wet else "phosphate"
        do = f"give {key}, or correct investment under [chain]"
        yield Trouble((*place, other), f"a {kind}-bonded investment is not steered by this", do=do)
    elif needed and getattr(item, key) is None:
        yield Trouble(place, "at which mix is not said", do=f"add {key} = ...")


def _expansion(place: Place, point: SheetPoint) -> Iterator[Trouble]:
    if point.setting_percent is not None and point.hygroscopic_percent is not None:
        what = "the setting expansion is that in the air or that under water, not both"
        yield Trouble((*place, "hygroscopic_percent"), what, do="keep the one your ring will have")
    setting = point.hygroscopic_percent if point.setting_percent is None else point.setting_percent
    parts = (setting, point.thermal_percent)
    if point.total_percent is not None and any(part is not None for part in parts):
        yield Trouble((*place, "total_percent"), "the total stands beside its parts", do="keep one of them")
    if point.total_percent is None and any(part is None for part in parts):
        do = "add total_percent, or thermal_percent with setting_percent or hygroscopic_percent"
        yield Trouble(place, "the expansion of this point is not whole", do=do)


def _cement(case: Case) -> Iterator[Trouble]:
    cement = case.cement
    times = [point.min for point in cement.viscosity]
    if any(b <= a for a, b in pairwise(times)):
        yield Trouble(("cement", "viscosity"), "the times do not rise", do="put the points in order of time")
    thick = [point.Pa_s for point in cement.viscosity]
    if any(b < a for a, b in pairwise(thick)):
        yield Trouble(
            ("cement", "viscosity"), "a cement does not get thinner as it sets", do="check the points"
        )
    if cement.working_min is not None and cement.start_min >= cement.working_min:
        what, limit = "the bridge is set on after the working time", f"before {cement.working_min:g} min"
        yield Trouble(("cement", "start_min"), what, f"{cement.start_min:g} min", limit)
