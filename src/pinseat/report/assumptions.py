"""Every value used that is neither published nor measured here, with its basis and source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pinseat.case.model import Case
from pinseat.casting.model import CastingResult
from pinseat.ledger.rows import Entry
from pinseat.reference import Value
from pinseat.report.rounding import fixed, pair, unit_mark, with_u
from pinseat.survey.model import SurveyResult

_TRUSTED = ("published", "measured here")


@dataclass(frozen=True)
class Assumption:
    """What was taken for granted.

    Attributes
    ----------
    what : str
        The quantity, or several that share one source.
    value : str
        With uncertainty and unit.
    basis : str
        ``common practice``, ``from memory``, ``assumed``.
    source : str
    """

    what: str
    value: str
    basis: str
    source: str


def assumptions(
    case: Case, survey: SurveyResult, casting: CastingResult, used: Sequence[Value] = ()
) -> tuple[Assumption, ...]:
    """List the assumptions of a case in the order of the work.

    Parameters
    ----------
    case : Case
    survey : SurveyResult
    casting : CastingResult
    used : sequence of Value
        Reference values that the steps looked up; those of the ledger are listed by its rows.
    """
    return (
        *_holes(case),
        *_impression_pins(case),
        *_faces(survey),
        *_copies(casting),
        *_seat(case),
        *_looked_up(used),
    )


def _looked_up(used: Sequence[Value]) -> list[Assumption]:
    return [
        Assumption(
            v.conditions,
            _value(v),
            v.basis,
            v.note if v.basis == "assumed" else v.reference,
        )
        for v in used
        if v.basis not in _TRUSTED and not v.name.startswith("ledger.")
    ]


def _value(v: Value) -> str:
    """As the data file has it when it states no uncertainty: its digits say how well it is known."""
    unit = "" if v.unit == "1" else v.unit
    return f"{v.value:g}{unit_mark(unit)}" if v.uncertainty is None else with_u(v.value, v.uncertainty, unit)


def _holes(case: Case) -> list[Assumption]:
    left = [a for a in case.abutments if a.pins and "floor_relief_mm" not in a.model_fields_set]
    if not left:
        return []
    teeth = ", ".join(str(a.tooth) for a in left)
    return [
        Assumption(
            f"cast pin stops short of the floor, {teeth}",
            with_u(left[0].floor_relief_mm, None, "mm"),
            "assumed",
            "not stated in the case",
        )
    ]


def _impression_pins(case: Case) -> list[Assumption]:
    """The play of the scanned pins: they are taken to stand on the axes of their holes."""
    play = [
        1e3 * (a.hole_diameter_mm - a.impression_pin_diameter_mm)
        for a in case.abutments
        if a.pins and a.impression_pin_diameter_mm is not None
    ]
    if not play:
        return []
    return [
        Assumption(
            "impression pins stand true and centred in their holes; play not reckoned with",
            f"{max(play):.0f} µm",
            "assumed",
            "hold each pin to its hole while scanning and copying; a pin that leans copies the lean",
        )
    ]


def _faces(survey: SurveyResult) -> list[Assumption]:
    kinds: dict[tuple[str, str], list[int]] = {}
    for face in survey.faces:
        if face.basis.startswith("assumed"):
            kinds.setdefault((face.kind, face.basis), []).append(face.tooth)
    return [
        Assumption(
            f"where the {kind} meets the casting, {', '.join(map(str, dict.fromkeys(teeth)))}",
            f"{len(teeth)} places",
            "assumed",
            basis.removeprefix("assumed ").strip() or "not picked on the scan",
        )
        for (kind, basis), teeth in kinds.items()
    ]


def _copies(casting: CastingResult) -> list[Assumption]:
    """Ledger entries: those of one kind of error, one basis and one source share a line."""
    shared: dict[tuple[str, str, str], list[tuple[str, Entry]]] = {}
    for name in ("scale", "position", "tilt", "depth"):
        for row in casting.fit.rows:
            entry: Entry = getattr(row, name)
            if entry.basis not in _TRUSTED:
                shared.setdefault((name, entry.basis, entry.source), []).append((row.copy, entry))
    return [
        Assumption(f"{name} of {', '.join(copy for copy, _ in items)}", _values(items), basis, source)
        for (name, basis, source), items in shared.items()
    ]


def _values(items: list[tuple[str, Entry]]) -> str:
    """The values in the order of the copies, the unit once; a mean of nothing is left out before its ±."""
    texts = []
    for _, entry in items:
        value, u = pair(entry.mean, entry.u)
        texts.append(f"± {u}" if u and entry.mean == 0.0 else f"{value} ± {u}" if u else value)
    return "; ".join(texts) + unit_mark(items[0][1].unit)


def _seat(case: Case) -> list[Assumption]:
    given, seat = case.seat.model_fields_set, case.seat
    listed = []
    if "tilt_pivot" not in given:
        listed.append(
            Assumption(
                "point about which a copied pin tilts", seat.tilt_pivot, "assumed", "not stated in the case"
            )
        )
    if "wanted_probability" not in given:
        wanted = f"{fixed(100.0 * seat.wanted_probability, 0)} %"
        listed.append(
            Assumption("wanted chance of going home", wanted, "assumed", "default of the case file")
        )
    return listed
