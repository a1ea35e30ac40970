"""What is checked of the bench log: questions are asked, never answered for the person."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from pinseat.case.log import Entry
from pinseat.ledger.findings import Finding
from pinseat.plating.baths import Bath
from pinseat.plating.charge import BACKWARDS, FOUND_OFF, UNREAD, Gap, moment, reading
from pinseat.plating.reconcile import Balance, LogState
from pinseat.plating.weights import AFTER, BEFORE
from pinseat.reference import value

AS_LOGGED = "the bench log"


def log_findings(entries: Sequence[Entry], state: LogState, bath: Bath) -> tuple[Finding, ...]:
    """Findings on a bench log.

    Parameters
    ----------
    entries : sequence of Entry
        Of the plating, in the order of the file.
    state : LogState
    bath : Bath

    Returns
    -------
    tuple of Finding
    """
    found = [_gap(gap) for gap in state.charge.gaps]
    if state.balance is not None:
        found.append(_balance(state.balance))
    found += _weights(entries)
    found += [one for one in (_seen(entries), _voltage(entries), _temperature(entries, bath)) if one]
    return tuple(found)


def _gap(gap: Gap) -> Finding:
    when = f"{gap.since[11:16]} to {gap.until[11:16]} UTC"
    if gap.what == BACKWARDS:
        return Finding(
            code="plating.clock",
            where="the clock",
            says=f"The clock jumped back from {gap.since[:16]} to {gap.until[:16]} UTC. Nothing was lost; "
            "how long that was cannot be told, and no charge is counted for it.",
            verdict="cannot tell",
            limit_source=AS_LOGGED,
            do="set the clock; log the time of the next reading yourself with --at",
        )
    if gap.what == FOUND_OFF:
        return Finding(
            code="plating.outage",
            where=when,
            says=f"The supply was found off: {gap.low_mAh:.0f} to {gap.high_mAh:.0f} mAh may have flowed.",
            verdict="cannot tell",
            value=gap.hours,
            unit="h",
            limit_source=AS_LOGGED,
            do="when did it go off? log it: --outage-min, or weigh everything",
        )
    return Finding(
        code="plating.gap",
        where=when,
        says=f"Nobody read the current; {gap.high_mAh:.0f} mAh are counted as if it had held.",
        verdict="caution",
        value=gap.hours,
        unit="h",
        limit=(longest := value("plating.unread_gap_h")).value,
        limit_source=f"{UNREAD}: {longest.cited}",
        do="weigh, or read the current more often; log an outage with --outage-min",
    )


def _balance(found: Balance) -> Finding:
    told = Finding(
        code="plating.balance",
        where="mass against charge",
        says="",
        verdict="cannot tell",
        value=found.weighing.gained_g,
        uncertainty=math.hypot(found.weighing.u_gained_g, found.u_expected_g),
        unit="g",
        limit=found.expected_g,
        limit_source="metal by the logged charge and the efficiency of the bath",
    )
    if found.agrees:
        eff, u = 100.0 * found.efficiency, 100.0 * found.u_efficiency
        says = f"Weight and charge agree; the efficiency is {eff:.1f} ± {u:.1f} %."
        return replace(told, says=says, verdict="clear")
    if found.elsewhere_mA > 0.0:
        says = (
            f"There is too little metal. Either the supply was off for {found.outage_h:.1f} h that nobody "
            f"logged, or {found.elsewhere_mA:.0f} mA went elsewhere all the time."
        )
        do = "which was it? look at tails, clips and flange for stray metal, and at the supply's clock; log "
        do += f"--outage-min {60 * found.outage_h:.0f} or --elsewhere {found.elsewhere_mA:.0f}"
        return replace(told, says=says, do=do)
    says = "There is more metal than the logged charge can have given."
    do = "check ammeter and balance; was the piece dry, and was every hour logged?"
    return replace(told, says=says, do=do)


def _weights(entries: Sequence[Entry]) -> list[Finding]:
    """Pieces that weigh less after than before."""
    first: dict[str, float] = {}
    found = []
    for entry in sorted(entries, key=moment):
        before, after = reading(entry, BEFORE), reading(entry, AFTER)
        if before is not None:
            first.setdefault(entry.piece, before)
        if after is not None and entry.piece in first and after < first[entry.piece]:
            found.append(
                Finding(
                    code="plating.weight",
                    where=entry.piece or "all pieces",
                    says="A weight after is less than the one before; it is kept, but not used.",
                    verdict="cannot tell",
                    value=after - first[entry.piece],
                    unit="g",
                    limit=0.0,
                    limit_source=AS_LOGGED,
                    do="weigh again; were the two weights swapped, or did rubber or wire come off?",
                )
            )
    return found


_DO = {
    "bare": "rinse, dry, coat the bare spots again, then start with the low current once more",
    "powdery": "too much current for these spots, or too lean a liquid there: lower it, move the bath",
    "burnt": "lower the current now; cover the burnt edge with wax",
    "nodules": "lower the current; filter the bath if they stand everywhere",
    "torn": "stop: a torn or lifted shell cannot be saved by more metal",
}
SEEN = ("covered", *_DO)
"""What an inspection can have found."""


def _seen(entries: Sequence[Entry]) -> Finding | None:
    """The last inspection, when it was not in order."""
    looks = [entry for entry in sorted(entries, key=moment) if entry.seen in SEEN]
    if not looks or looks[-1].seen == "covered":
        return None
    last = looks[-1]
    return Finding(
        code="plating.seen",
        where=last.piece or "pieces",
        says=f"The last look found it {last.seen}{f': {last.note}' if last.note else ''}.",
        verdict="stop" if last.seen == "torn" else "caution",
        limit_source=AS_LOGGED,
        do=_DO[last.seen],
    )


def _voltage(entries: Sequence[Entry]) -> Finding | None:
    """A voltage that rose though the current did not: ohms at the last look over ohms at the first."""
    both = [
        (volts, mA)
        for entry in sorted(entries, key=moment)
        if (volts := reading(entry, "voltage")) and (mA := reading(entry, "current"))
    ]
    if len(both) < 2:
        return None
    (first, then), (last, now) = both[0], both[-1]
    ratio, most = last / first, value("plating.voltage_risen_ratio")
    if ratio <= most.value or now > 1.1 * then:
        return None
    return Finding(
        code="plating.voltage",
        where="the supply",
        says=f"The voltage rose from {first:.2f} to {last:.2f} V though the current did not.",
        verdict="caution",
        value=ratio,
        unit="times the first",
        limit=most.value,
        limit_source=most.cited,
        do="look at clips and leads, at a crust on the anode, and whether everything is still under",
    )


def _temperature(entries: Sequence[Entry], bath: Bath) -> Finding | None:
    """A bath that is not as warm as the map takes it."""
    read = [reading(entry, "temperature") for entry in sorted(entries, key=moment)]
    last = next((degC for degC in reversed(read) if degC is not None), None)
    most = value("plating.warmer_K")
    if last is None or abs(last - bath.temperature_degC) <= most.value:
        return None
    return Finding(
        code="plating.temperature",
        where="the bath",
        says=f"The bath is {'warmer' if last > bath.temperature_degC else 'colder'} than the map takes it.",
        verdict="caution",
        value=last,
        unit="degC",
        limit=bath.temperature_degC + math.copysign(most.value, last - bath.temperature_degC),
        limit_source=f"{most.value:g} K off the bath's {bath.temperature_degC:g} °C "
        f"({bath.basis['temperature']}): {most.cited}",
        do="bring it back, or state plating.bath.temperature_degC with the conductivity at it",
    )
