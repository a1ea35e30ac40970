"""What the readings of an impression must agree on with the rest of a case."""

from __future__ import annotations

from collections.abc import Iterator

from pinseat.case.lines import Place
from pinseat.case.model import Abutment, Case
from pinseat.case.notation import split_pin
from pinseat.case.trouble import Trouble
from pinseat.errors import CaseError


def impression_troubles(case: Case) -> Iterator[Trouble]:
    """Readings of pins that the case does not have, given twice, or that are no lengths.

    Parameters
    ----------
    case : Case
        As stated, in its own notation.

    Yields
    ------
    Trouble
    """
    work = case.impression
    named: list[tuple[Place, str, str]] = []
    for i, one in enumerate(work.projections):
        named.append((("impression", "projections", i, "pin"), one.pin, f"projection at the {one.at}"))
        if min(one.mm) < 0.0:
            place: Place = ("impression", "projections", i, "mm")
            yield Trouble(place, "a projection cannot be below nothing", f"{min(one.mm):g}", "0 mm or more")
    for i, width in enumerate(work.diameters):
        named.append((("impression", "diameters", i, "pin"), width.pin, "diameter"))
    seen: set[tuple[str, str]] = set()
    for place, name, what in named:
        yield from _unknown(case, place, name)
        if (name.strip(), what) in seen:
            do = "write its repeats into one list, mm = [2.10, 2.12]"
            yield Trouble(place, f"the {what} of this pin stands twice", f'"{name}"', do=do)
        seen.add((name.strip(), what))
    yield from _distances(case)


def _distances(case: Case) -> Iterator[Trouble]:
    for i, reading in enumerate(case.impression.distances):
        place: Place = ("impression", "distances", i)
        for k, name in enumerate(reading.pins):
            yield from _unknown(case, (*place, "pins", k), name)
        if reading.pins[0].strip() == reading.pins[1].strip():
            yield Trouble(
                (*place, "pins"), "a reading is between two different pins", f'"{reading.pins[0]}" twice'
            )
        if min(reading.mm) <= 0.0:
            yield Trouble((*place, "mm"), "a distance must be more than nothing", f"{min(reading.mm):g}")


def _unknown(case: Case, place: Place, name: str) -> Iterator[Trouble]:
    try:
        tooth, number = split_pin(name)
    except CaseError as error:
        yield Trouble(place, error.what, error.value, error.limit)
        return
    known = [name for abutment in case.abutments for name in _names(case, abutment)]
    if f"{tooth}-{number}" not in known:
        yield Trouble(place, "the case has no such pin", f'"{name}"', f"one of {', '.join(known)}")


def _names(case: Case, abutment: Abutment) -> list[str]:
    """Names of the pins of a tooth; those rejected by hand leave their numbers free."""
    gone = {e.number for e in case.pins if e.action == "reject" and e.tooth == abutment.tooth}
    numbers = [k for k in range(1, abutment.pins + len(gone) + 1) if k not in gone]
    return [f"{abutment.tooth}-{k}" for k in numbers]
