"""What the bench does, line by line, and when it is done: by the plan, and by the log once there is one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta, tzinfo

from pinseat.case.log import Entry
from pinseat.case.model import Case
from pinseat.case.plating import Step
from pinseat.ledger.findings import Finding
from pinseat.plating.clock import FORM, Finish, alone, finish, good_starts
from pinseat.plating.covering import Round
from pinseat.plating.log_checks import log_findings
from pinseat.plating.pieces import Piece, pieces_of
from pinseat.plating.plan import highest_current_mA
from pinseat.plating.reconcile import LogState, reconcile, remaining_h
from pinseat.plating.result import PlatingResult, ProgrammeResult, Row
from pinseat.reference import value

LOOK = (
    "Look: is every spot covered? Bare spots: rinse, dry, coat again, start over. Log it, and the weight "
    "if a balance is at hand."
)
LOOK_AGAIN = "Look at floors and inner edges with a loupe, and at the rims; log current and voltage; weigh."
STOP = "Switch off, log it, rinse, dry, weigh, measure at the thinnest spots."


def programme(
    case: Case, plated: PlatingResult, entries: Sequence[Entry], zone: tzinfo | None = None
) -> ProgrammeResult:
    """The programme of a case and how far its log has got.

    Parameters
    ----------
    case : Case
    plated : PlatingResult
    entries : sequence of Entry
        Those of the plating, in the order of the file.
    zone : tzinfo, optional
        Of the clock on the wall; the computer's own when left out.

    Returns
    -------
    ProgrammeResult
    """
    pieces = _pieces(case, plated)
    state = reconcile(entries, pieces, plated.bath)
    start = _start(case, state, zone)
    rows, done, hours = _plan(case, plated, pieces, start)
    left = _left(plated, state, pieces)
    ends = tuple(_local(state.last, zone, hours) for hours in left) if state.running else ()
    findings = [*log_findings(entries, state, plated.bath), *_end_findings(case, done, ends, rows)]
    return ProgrammeResult(
        rows=rows,
        hours=rows[-1].from_h,
        finish=done,
        starts=good_starts(hours, case.plating.unstaffed) if case.plating.unstaffed else (),
        log=state,
        minimum_now_mm=_minimum_now(plated, state),
        remaining_h=left,
        ends=ends,
        findings=tuple(findings),
    )


def _pieces(case: Case, plated: PlatingResult) -> tuple[Piece, ...]:
    """The pieces of a case with the areas that the map has left."""
    known = {share.name: share for share in plated.shares}
    return tuple(
        replace(
            piece,
            area_mm2=known[piece.name].area_mm2,
            u_area_mm2=known[piece.name].u_area_mm2,
            basis=known[piece.name].basis,
        )
        if piece.name in known
        else piece
        for piece in pieces_of(case)
    )


def _plan(
    case: Case, plated: PlatingResult, pieces: Sequence[Piece], start: datetime | None
) -> tuple[tuple[Row, ...], Finish | None, float]:
    """The lines of the programme, with a main current that ends while somebody is there.

    And the hours that it takes at the planned current.
    """
    current = plated.pool.current_mA
    first, share = value("plating.look_h").value, value("plating.start_share").value
    if case.plating.steps:
        rows = _rows_of(case.plating.steps, first, share, plated.covering)
        charge, hours = sum(row.charge_mAh for row in rows), rows[-1].from_h
        fixed = {"highest_mA": 0.0, "lowest_mA": math.inf}  # the steps stay as they are stated
        empty = case.plating.unstaffed
        return rows, finish(start, 0.0, charge, charge / hours, empty, **fixed) if start else None, hours
    start_h = max(len(plated.covering), 1) * first
    total = _charge_mAh(plated, current, start_h, share)
    main = max(total - share * current * start_h, 0.0)
    hours = start_h + main / current
    begins = _begins(first, share * current, plated.covering)
    if start is None:
        return _rows(begins, main, current), None, hours
    done = finish(
        start,
        start_h,
        main,
        current,
        case.plating.unstaffed,
        highest_mA=max(highest_current_mA(pieces, plated.bath), current),
        lowest_mA=share * current,
    )
    return _rows(begins, main, done.current_mA), done, hours


def _charge_mAh(plated: PlatingResult, current: float, first: float, share: float) -> float:
    """Through the supply until the mean is what is aimed at: by the map, or by the areas."""
    if plated.map is None:
        return plated.pool.hours * current
    hours = plated.map.hours_to_mean(plated.aim.mean_mm)
    return current * (hours - (1.0 - share) * min(first, hours))


def _begins(first: float, start_mA: float, rounds: Sequence[Round]) -> list[Row]:
    """The start current with its look, and once more for each time that bare film is coated again."""
    rows: list[Row] = []
    again = "Set the start current. Log it."
    for number in range(max(len(rounds), 1)):
        at = number * first
        rows.append(Row("start", at, first, start_mA, start_mA * first, again))
        look = LOOK
        if number + 1 < len(rounds):
            bare = rounds[number]
            where = f"about {bare.bare_mm2:.0f} mm² on {', '.join(bare.where)} will be bare"
            look = f"Look: {where}. Rinse, dry, coat the bare spots again. Log it."
        rows.append(Row("look", at + first, 0.0, 0.0, 0.0, look))
        again = "Set the start current once more. Log it."
    return rows


def _rows(begins: Sequence[Row], main_mAh: float, main_mA: float) -> tuple[Row, ...]:
    since, half = begins[-1].from_h, 0.5 * main_mAh / main_mA
    return (
        *begins,
        Row("main", since, half, main_mA, 0.5 * main_mAh, "Set the main current. Log it."),
        Row("look", since + half, 0.0, 0.0, 0.0, LOOK_AGAIN),
        Row("main", since + half, half, main_mA, 0.5 * main_mAh, "On with the main current."),
        Row("stop", since + 2.0 * half, 0.0, 0.0, 0.0, STOP),
    )


def _rows_of(steps: Sequence[Step], first: float, share: float, rounds: Sequence[Round]) -> tuple[Row, ...]:
    """The same for steps that are stated, with a look before each."""
    rows = _begins(first, share * steps[0].current_mA, rounds)
    now, wax = rows[-1].from_h, 0.0
    for number, step in enumerate(steps):
        if number:
            rows.append(Row("look", now, 0.0, 0.0, 0.0, LOOK_AGAIN))
        do = "Set this current. Log it."
        if step.wax_mm > wax:
            do = f"Rinse, dry, cover {step.wax_mm:g} mm of the rim with wax, hang it back. {do}"
        wax = max(wax, step.wax_mm)
        rows.append(Row("main", now, step.hours, step.current_mA, step.current_mA * step.hours, do))
        now += step.hours
    return (*rows, Row("stop", now, 0.0, 0.0, 0.0, STOP))


def _left(plated: PlatingResult, state: LogState, pieces: Sequence[Piece]) -> tuple[float, float]:
    """Hours still wanted, least and most: by what is open in the log, and by one standard uncertainty."""
    current = state.current_mA or plated.pool.current_mA
    useful = 1.0
    if plated.map is not None:
        useful = min(1.0 - plated.map.wasted_g / plated.map.mass_g, 1.0) if plated.map.mass_g > 0.0 else 1.0
    bath = plated.bath
    wanted = plated.aim.mean_mm
    middle = remaining_h(wanted, state, pieces, bath, useful * current)
    slow = middle
    if state.balance is not None and not state.balance.agrees and state.balance.elsewhere_mA > 0.0:
        slow = middle / max(1.0 - state.balance.elsewhere_mA / current, 0.05)
    area = sum(piece.area_mm2 for piece in pieces)
    rate = useful * current * bath.growth_mm3_mAh
    known = math.hypot(
        1e3 * state.u_mass_g / bath.density_g_cm3 / rate, middle * bath.u_efficiency / bath.efficiency
    )
    u_area = math.sqrt(sum(piece.u_area_mm2**2 for piece in pieces))
    spread = math.hypot(known, wanted * u_area / rate) if area > 0.0 else known
    return max(middle - spread, 0.0), slow + spread


def _minimum_now(plated: PlatingResult, state: LogState) -> float:
    """The thinnest spot that belongs to the mean there is now."""
    if plated.map is None:
        return math.nan
    return plated.map.at(plated.map.hours_to_mean(state.mean_mm))[0]


def _start(case: Case, state: LogState, zone: tzinfo | None) -> datetime | None:
    if state.first:
        return datetime.strptime(_local(state.first, zone, 0.0), FORM)
    return datetime.strptime(case.plating.start, FORM) if case.plating.start else None


def _local(utc: str, zone: tzinfo | None, hours: float) -> str:
    """A moment of the log, so many hours later, by the clock on the wall."""
    when = datetime.fromisoformat(utc.replace("Z", "+00:00")) + timedelta(hours=hours)
    return when.astimezone(zone).strftime(FORM)


def _end_findings(
    case: Case, done: Finish | None, ends: tuple[str, ...], rows: Sequence[Row]
) -> list[Finding]:
    """Whether somebody is there when it ends."""
    if not case.plating.unstaffed:
        return []
    stated = ", ".join(case.plating.unstaffed)
    if ends:
        empty = [end for end in ends if alone(datetime.strptime(end, FORM), case.plating.unstaffed)]
        if not empty:
            return []
        return [_nobody(f"By the log it ends about {empty[-1]}, when nobody is there.", stated)]
    if done is None:
        return []
    if done.alone:
        return [
            _nobody(f"It ends at {done.end}, when nobody is there, at any current that may be set.", stated)
        ]
    return []


def _nobody(says: str, stated: str) -> Finding:
    return Finding(
        code="plating.unstaffed",
        where="the end",
        says=says,
        verdict="caution",
        limit_source=f"hours stated without staff: {stated}",
        do="start at another time, change the current within the bath's limits, or let a timer switch it off",
    )
