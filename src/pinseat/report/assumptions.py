"""Every value used that is neither published nor measured here, with its basis and source."""

from __future__ import annotations

from dataclasses import dataclass

from pinseat.case.model import Case
from pinseat.casting.model import CastingResult
from pinseat.ledger.rows import Entry
from pinseat.report.rounding import fixed, with_u
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


def assumptions(case: Case, survey: SurveyResult, casting: CastingResult) -> tuple[Assumption, ...]:
    """List the assumptions of a case in the order of the work.

    Parameters
    ----------
    case : Case
    survey : SurveyResult
    casting : CastingResult
    """
    return (*_holes(case), *_faces(survey), *_copies(casting), *_seat(case))


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
    """Ledger entries, those of one basis and source together."""
    shared: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for name in ("scale", "position", "tilt", "depth"):
        for row in casting.fit.rows:
            entry: Entry = getattr(row, name)
            if entry.basis not in _TRUSTED:
                value = with_u(entry.mean, entry.u, entry.unit)
                shared.setdefault((entry.basis, entry.source), []).append((f"{name} of {row.copy}", value))
    return [_together(items, basis, source) for (basis, source), items in shared.items()]


def _together(items: list[tuple[str, str]], basis: str, source: str) -> Assumption:
    values = list(dict.fromkeys(value for _, value in items))
    shown = values[0] if len(values) == 1 else "; ".join(value for _, value in items)
    what = ""
    for name, _ in items:
        error, _, copy = name.partition(" of ")
        same = what.rpartition("; ")[2].startswith(error + " of ")
        what += (f", {copy}" if same else f"; {name}") if what else name
    if len(items) > 1 and len(values) == 1:
        shown += " each"
    return Assumption(what, shown, basis, source)


def _seat(case: Case) -> list[Assumption]:
    given, seat = case.seat.model_fields_set, case.seat
    listed = []
    if "tilt_pivot" not in given:
        listed.append(
            Assumption(
                "point about which a copied pin tilts", seat.tilt_pivot, "assumed", "not stated in the case"
            )
        )
    if "limit_um" not in given:
        listed.append(
            Assumption(
                "largest marginal opening accepted",
                with_u(seat.limit_um, None, "um", 0),
                "from memory",
                "McLean and von Fraunhofer, Br Dent J 1971;131:107",
            )
        )
    if "wanted_probability" not in given:
        wanted = f"{fixed(100.0 * seat.wanted_probability, 0)} %"
        listed.append(
            Assumption("wanted chance of going home", wanted, "assumed", "default of the case file")
        )
    return listed
