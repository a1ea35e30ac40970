"""What the parts of a case must agree on, whichever way its teeth are numbered."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Hashable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

from pinseat.case.casting_checks import casting_disagreements
from pinseat.case.files import inside
from pinseat.case.impression_checks import impression_troubles
from pinseat.case.lines import Place
from pinseat.case.model import Abutment, Callipers, Case
from pinseat.case.notation import split_pin
from pinseat.case.plating_checks import plating_disagreements
from pinseat.case.teeth import Notation, arch, from_universal
from pinseat.case.trouble import Trouble
from pinseat.case.tryin import OPPOSITE, stated_pins, stated_teeth
from pinseat.errors import CaseError

T = TypeVar("T")


def disagreements(case: Case, folder: Path, notation: Notation) -> list[Trouble]:
    """Everything in a case that does not go together.

    Parameters
    ----------
    case : Case
        As stated: teeth in `notation`.
    folder : Path
        The case folder, in which the scan must lie.
    notation : {"FDI", "Universal"}

    Returns
    -------
    list of Trouble
    """
    found = [*_words(case), *_teeth(case, notation), *_sources(case, folder)]
    for i, abutment in enumerate(case.abutments):
        found += _abutment(("abutments", i), abutment)
    found += [*_edits(case), *_contacts(case), *_regions(case), *_measured(case), *_tryin(case)]
    found += plating_disagreements(case)
    found += casting_disagreements(case)
    found += impression_troubles(case)
    if case.callipers is not None:
        found += [*_layout(case, case.callipers), *_readings(case.callipers)]
    return found


def _twice(items: Iterable[T], key: Callable[[T], Hashable]) -> Iterator[tuple[int, T]]:
    seen: set[Hashable] = set()
    for i, item in enumerate(items):
        if key(item) in seen:
            yield i, item
        seen.add(key(item))


def _words(case: Case) -> Iterator[Trouble]:
    for name in ("number", "title"):
        text = getattr(case, name)
        if not text.isprintable() or (name == "number" and not text.strip()):
            yield Trouble((name,), "this must be one line of plain text", repr(text))


def _teeth(case: Case, notation: Notation) -> Iterator[Trouble]:
    for i, tooth in _twice(case.missing, lambda t: t):
        yield Trouble(("missing", i), "this tooth stands twice", str(tooth), do="keep one of the two")
    for i, abutment in _twice(case.abutments, lambda a: a.tooth):
        do = "one [[abutments]] a tooth, with all its pins"
        yield Trouble(("abutments", i, "tooth"), "this abutment stands twice", str(abutment.tooth), do=do)
    for i, abutment in enumerate(case.abutments):
        if abutment.tooth in case.missing:
            what = "this tooth is stated as missing and as an abutment"
            yield Trouble(
                ("abutments", i, "tooth"), what, str(abutment.tooth), do="take it out of one of them"
            )
    fdi = from_universal if notation == "Universal" else int
    arches = {arch(fdi(t)) for t in (*case.missing, *(a.tooth for a in case.abutments))}
    if len(arches) > 1:
        what = "the teeth of one bridge cannot stand in both arches"
        yield Trouble(("abutments",), what, do="correct a number, or make two cases")
    if sum(a.pins for a in case.abutments) == 0:
        yield Trouble(("abutments",), "no abutment has a pin", do="state pins = 1 or more for one of them")


def _abutment(place: Place, a: Abutment) -> Iterator[Trouble]:
    hole = f"{a.hole_diameter_mm:g} mm"
    if a.cast_pin_diameter_mm >= a.hole_diameter_mm:
        what, value = "the cast pin does not fit its hole", f"{a.cast_pin_diameter_mm:g} mm"
        yield Trouble((*place, "cast_pin_diameter_mm"), what, value, f"less than the hole's {hole}")
    if a.floor_relief_mm >= a.hole_depth_mm:
        what, value = "the relief leaves no pin in the hole", f"{a.floor_relief_mm:g} mm"
        limit = f"less than the hole's depth of {a.hole_depth_mm:g} mm"
        yield Trouble((*place, "floor_relief_mm"), what, value, limit)
    if a.impression_pin_diameter_mm is not None and a.impression_pin_diameter_mm > a.hole_diameter_mm:
        what, value = "the impression pin does not fit its hole", f"{a.impression_pin_diameter_mm:g} mm"
        yield Trouble((*place, "impression_pin_diameter_mm"), what, value, f"at most the hole's {hole}")
    if a.impression_pin_length_mm is not None and a.impression_pin_length_mm <= a.hole_depth_mm:
        what, value = (
            "the impression pin would not stand out of its hole",
            f"{a.impression_pin_length_mm:g} mm",
        )
        limit = f"more than the hole's depth of {a.hole_depth_mm:g} mm"
        yield Trouble((*place, "impression_pin_length_mm"), what, value, limit, "give its whole length")


def _sources(case: Case, folder: Path) -> Iterator[Trouble]:
    if case.scan is None and case.callipers is None:
        what = "there is neither a scan nor callipers"
        yield Trouble((), what, do='add [scan] with file = "scans/...", or [callipers] with a layout')
    if case.scan is not None and case.callipers is not None:
        what = "the pins come from the scan or from callipers, not from both"
        do = "keep the one you trust more; readings can be kept in the log"
        yield Trouble(("callipers",), what, do=do)
    if case.scan is not None:
        try:
            path = inside(folder, case.scan.file)
        except CaseError as error:
            yield Trouble(("scan", "file"), error.what, error.value, error.limit, error.do)
        else:
            if not os.path.isfile(path):
                do = "copy the scan there, or correct the name"
                yield Trouble(("scan", "file"), "this file is not there", f'"{case.scan.file}"', do=do)


def _not_abutment(case: Case, place: Place, tooth: int) -> Iterator[Trouble]:
    teeth = [a.tooth for a in case.abutments]
    if tooth not in teeth:
        limit = f"one of {', '.join(map(str, teeth))}"
        yield Trouble((*place, "tooth"), "this tooth is not an abutment", str(tooth), limit)


def _edits(case: Case) -> Iterator[Trouble]:
    if case.pins and case.scan is None:
        yield Trouble(
            ("pins",), "there is no scan on which to edit pins", do="edit the layout of the callipers"
        )
    for i, edit in enumerate(case.pins):
        place: Place = ("pins", i)
        yield from _not_abutment(case, place, edit.tooth)
        if edit.action == "add" and (edit.foot is None or edit.tip is None):
            yield Trouble(place, "a pin to add needs foot and tip", do="pick both on the scan")
        if edit.action == "move" and edit.foot is None and edit.tip is None:
            yield Trouble(place, "a pin to move needs foot, tip or both", do="pick them on the scan")
        if edit.action != "add" and edit.number is None:
            do = "add number = 1 for the first pin of the tooth"
            yield Trouble(place, f"which pin to {edit.action} is not said", do=do)
        if edit.foot is not None and edit.foot == edit.tip:
            yield Trouble((*place, "tip"), "foot and tip are the same point", do="pick the free end")
    for i, _ in _twice(case.pins, lambda e: (e.tooth, e.number if e.action != "add" else e.foot)):
        yield Trouble(("pins", i), "this pin is edited twice", do="keep one of the two")


def _contacts(case: Case) -> Iterator[Trouble]:
    for i, pick in enumerate(case.contacts):
        place: Place = ("contacts", i)
        yield from _not_abutment(case, place, pick.tooth)
        if pick.normal is None and case.scan is None:
            yield Trouble(place, "without a scan a contact needs its normal", do="add normal = [x, y, z]")
        if pick.normal is not None and not any(pick.normal):
            what = "this normal has no direction"
            yield Trouble((*place, "normal"), what, "[0, 0, 0]", "a vector out of the tooth")


def _regions(case: Case) -> Iterator[Trouble]:
    for name in ("regions", "margins"):
        if getattr(case, name) and case.scan is None:
            yield Trouble((name,), "there is no scan on which to find this", do="take it out, or add a scan")
    teeth = [a.tooth for a in case.abutments]
    for i, pick in enumerate(case.regions):
        if pick.kind == "neighbour" and pick.tooth in teeth:
            limit = f"a tooth other than {', '.join(map(str, teeth))}"
            yield Trouble(("regions", i, "tooth"), "an abutment is no neighbour", str(pick.tooth), limit)
        elif pick.kind != "neighbour":
            yield from _not_abutment(case, ("regions", i), pick.tooth)
        lined = any(line.tooth == pick.tooth and line.closed for line in case.margins)
        if pick.kind == "prepared" and not lined:
            what = "a prepared surface needs a closed margin line of its tooth"
            yield Trouble(("regions", i), what, do="add [[margins]] with points along it, traced = true")
    for i, line in enumerate(case.margins):
        yield from _not_abutment(case, ("margins", i), line.tooth)
    for i, line in _twice(case.margins, lambda m: m.tooth):
        yield Trouble(("margins", i, "tooth"), "this tooth has two margins", str(line.tooth), do="keep one")


def _measured(case: Case) -> Iterator[Trouble]:
    for i, item in _twice(case.measured, lambda m: (m.copy_, m.error)):
        what = f"the {item.error} error of the {item.copy_} stands twice"
        yield Trouble(("measured", i), what, do="keep the reading you trust more")


def _tryin(case: Case) -> Iterator[Trouble]:
    for place, tooth in stated_teeth(case.tryin, case.mechanics):
        yield from _not_abutment(case, place[:-1], tooth)
    teeth = [a.tooth for a in case.abutments]
    for place, name in stated_pins(case.tryin, case.mechanics):
        try:
            tooth, _ = split_pin(name)
        except CaseError as error:
            yield Trouble(place, error.what, error.value, error.limit)
            continue
        if tooth not in teeth:
            limit = f"a pin of one of {', '.join(map(str, teeth))}"
            yield Trouble(place, "this pin's tooth is not an abutment", f'"{name}"', limit)
    for one, other in OPPOSITE:
        both = sorted(set(getattr(case.tryin, one)) & set(getattr(case.tryin, other)))
        if both:
            what, do = "this pin stands in both lists", f"keep it in tryin.{one} or in tryin.{other}"
            yield Trouble(("tryin", one), what, ", ".join(both), do=do)
    for i, _ in _twice(case.mechanics.pins, lambda size: size.pin):
        yield Trouble(("mechanics", "pins", i), "this pin stands twice", do="keep one of the two")


def _layout(case: Case, callipers: Callipers) -> Iterator[Trouble]:
    where: Place = ("callipers", "layout")
    for i, spot in enumerate(callipers.layout):
        yield from _not_abutment(case, (*where, i), spot.tooth)
    for i, spot in _twice(callipers.layout, lambda s: (s.tooth, s.number)):
        yield Trouble((*where, i), "this pin stands twice", f"{spot.tooth}-{spot.number}", do="keep one")
    for abutment in case.abutments:
        numbers = sorted(s.number for s in callipers.layout if s.tooth == abutment.tooth)
        once = len(numbers) == len(set(numbers))
        if once and numbers != list(range(1, abutment.pins + 1)):
            value = f"{', '.join(map(str, numbers)) or 'none'} of {abutment.pins}"
            what = f"the layout does not hold each pin of tooth {abutment.tooth} once"
            limit = f"numbers 1 to {abutment.pins}" if abutment.pins else "none"
            yield Trouble(where, what, value, limit, "make layout and abutments agree")


def _readings(callipers: Callipers) -> Iterator[Trouble]:
    pairs = []
    for i, item in enumerate(callipers.readings):
        place: Place = ("callipers", "readings", i)
        pins = yield from _two_pins(callipers, place, item.pins)
        yield from _repeats((*place, "mm"), item.mm)
        pairs.append((item.kind, *(pins if item.kind == "tip to base" else sorted(pins))))
    for i, _ in _twice(pairs, lambda pair: pair):
        do = "write its repeats into one list, mm = [18.42, 18.44]"
        yield Trouble(("callipers", "readings", i), "this reading stands twice", do=do)
    seen = []
    for i, photo in enumerate(callipers.photos):
        pins = yield from _two_pins(callipers, ("callipers", "photos", i), photo.pins)
        seen.append((photo.seen, *sorted(pins)))
    for i, _ in _twice(seen, lambda one: one):
        do = "write its repeats into one list, deg = [1.0, 1.2]"
        yield Trouble(("callipers", "photos", i), "this photograph stands twice", do=do)


def _two_pins(
    callipers: Callipers, place: Place, names: Sequence[str]
) -> Generator[Trouble, None, list[tuple[int, int]]]:
    """Two different pins of the layout; what they are, as tooth and number."""
    known = {(s.tooth, s.number) for s in callipers.layout}
    pins = []
    for k, name in enumerate(names):
        try:
            pins.append(split_pin(name))
        except CaseError as error:
            yield Trouble((*place, "pins", k), error.what, error.value, error.limit)
            continue
        if pins[-1] not in known:
            limit = f"one of {', '.join(f'{tooth}-{number}' for tooth, number in sorted(known))}"
            yield Trouble((*place, "pins", k), "this pin is not in the layout", f'"{name}"', limit)
    if len(pins) == 2 and pins[0] == pins[1]:
        yield Trouble((*place, "pins"), "a reading is between two different pins", f'"{names[0]}" twice')
    return pins


def _repeats(place: Place, mm: Sequence[float]) -> Iterator[Trouble]:
    """Refuse lengths that are none, and repeats that can only be decimal commas without quotes."""
    shown = ", ".join(f"{x:g}" for x in mm)
    if min(mm) <= 0:
        yield Trouble(place, "a distance must be more than nothing", shown, "more than 0 mm")
    commas = len(mm) % 2 == 0 and all(x == int(x) for x in mm)
    if commas and max(mm) - min(mm) > 1.0:
        first = f"{mm[0]:g},{mm[1]:g}"
        what = "the repeats of this reading are far apart"
        yield Trouble(place, what, shown, do=f'if you mean {first}, write ["{first}"] with the quotes')
