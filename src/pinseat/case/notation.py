"""Which way teeth are numbered in a case, and the change to FDI."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from pinseat.case.lines import Place
from pinseat.case.model import Case
from pinseat.case.teeth import (
    FDI,
    UNIVERSAL,
    Notation,
    check_tooth,
    from_universal,
    tooth_in_words,
)
from pinseat.case.trouble import Trouble
from pinseat.case.tryin import renumbered
from pinseat.case.tryin import stated_teeth as teeth_at_tryin
from pinseat.errors import CaseError


def stated_teeth(case: Case) -> Iterator[tuple[Place, int]]:
    """Every tooth number that a case states, with its place."""
    for i, tooth in enumerate(case.missing):
        yield ("missing", i), tooth
    for i, abutment in enumerate(case.abutments):
        yield ("abutments", i, "tooth"), abutment.tooth
    for i, edit in enumerate(case.pins):
        yield ("pins", i, "tooth"), edit.tooth
    for name in ("contacts", "regions", "margins"):
        for i, pick in enumerate(getattr(case, name)):
            yield (name, i, "tooth"), pick.tooth
    for i, spot in enumerate(case.callipers.layout if case.callipers else ()):
        yield ("callipers", "layout", i, "tooth"), spot.tooth
    yield from teeth_at_tryin(case.tryin, case.mechanics)
    for i, piece in enumerate(case.plating.pieces):
        if piece.tooth is not None:
            yield ("plating", "pieces", i, "tooth"), piece.tooth


def decide(case: Case) -> Notation | Trouble:
    """The notation of a case: as stated, or the only one that fits every number, or a question.

    Parameters
    ----------
    case : Case

    Returns
    -------
    str or Trouble
        ``"FDI"`` or ``"Universal"``; a trouble when the numbers could be either, or fit neither.
    """
    teeth = list(stated_teeth(case))
    if case.notation is not None:
        return _wrong(teeth, case.notation) or case.notation
    only_fdi = [(p, t) for p, t in teeth if t in FDI and t not in UNIVERSAL]
    only_universal = [(p, t) for p, t in teeth if t in UNIVERSAL and t not in FDI]
    if only_fdi and only_universal:
        what = f"{only_fdi[0][1]} is only an FDI number and {only_universal[0][1]} only a Universal one"
        return Trouble(only_universal[0][0], what, do="number all teeth of the case in one way")
    if only_fdi or only_universal:
        notation: Notation = "FDI" if only_fdi else "Universal"
        return _wrong(teeth, notation) or notation
    return _wrong(teeth, "FDI") or _ask(*teeth[0])


def _ask(place: Place, number: int) -> Trouble:
    as_fdi, as_universal = tooth_in_words(number), tooth_in_words(from_universal(number))
    return Trouble(
        place,
        "these tooth numbers could be FDI or Universal",
        value=str(number),
        do=f'state notation = "FDI" if {number} is the {as_fdi}, '
        f'or notation = "Universal" if it is the {as_universal}',
    )


def _wrong(teeth: list[tuple[Place, int]], notation: Notation) -> Trouble | None:
    for place, number in teeth:
        try:
            check_tooth(number, notation)
        except CaseError as error:
            return Trouble(place, error.what, error.value, error.limit, error.do)
    return None


def split_pin(name: str) -> tuple[int, int]:
    """Tooth and number of a pin's name.

    Raises
    ------
    CaseError
        When it is not written as ``11-2``.

    Examples
    --------
    >>> split_pin("11-2")
    (11, 2)
    """
    tooth, _, number = name.strip().partition("-")
    if not (tooth.isascii() and tooth.isdigit() and number.isascii() and number.isdigit()):
        raise CaseError(
            "this is no name of a pin", value=f'"{name}"', limit='tooth and number, such as "11-2"'
        )
    return int(tooth), int(number)


def in_fdi(case: Case) -> Case:
    """The same case with every tooth, and every pin's name, in FDI numbers.

    Parameters
    ----------
    case : Case
        In Universal numbers throughout, and free of troubles.

    Returns
    -------
    Case
    """
    return _renumbered(case, from_universal)


def _renumbered(case: Case, new: Callable[[int], int]) -> Case:
    def pin(name: str) -> str:
        tooth, number = split_pin(name)
        return f"{new(tooth)}-{number}"

    def each(parts: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(part.model_copy(update={"tooth": new(part.tooth)}) for part in parts)

    pieces = tuple(
        piece if piece.tooth is None else piece.model_copy(update={"tooth": new(piece.tooth)})
        for piece in case.plating.pieces
    )
    callipers = case.callipers
    if callipers is not None:
        between = {
            name: tuple(
                r.model_copy(update={"pins": (pin(r.pins[0]), pin(r.pins[1]))})
                for r in getattr(callipers, name)
            )
            for name in ("readings", "photos")
        }
        callipers = callipers.model_copy(update={"layout": each(callipers.layout), **between})
    work = case.impression
    named = {
        part: tuple(one.model_copy(update={"pin": pin(one.pin)}) for one in getattr(work, part))
        for part in ("projections", "diameters")
    }
    apart = tuple(r.model_copy(update={"pins": (pin(r.pins[0]), pin(r.pins[1]))}) for r in work.distances)
    return case.model_copy(
        update={
            "notation": "FDI",
            "impression": work.model_copy(update={**named, "distances": apart}),
            "missing": tuple(new(tooth) for tooth in case.missing),
            "abutments": each(case.abutments),
            "pins": each(case.pins),
            "contacts": each(case.contacts),
            "regions": each(case.regions),
            "margins": each(case.margins),
            "callipers": callipers,
            **renumbered(case.tryin, case.mechanics, new, pin),
            "plating": case.plating.model_copy(update={"pieces": pieces}),
        }
    )
