"""What casting gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.findings import Finding
from pinseat.ledger.rows import Basis, FitLedger

Float = NDArray[np.float64]


@dataclass(frozen=True)
class CastingResult:
    """The chain of copies for this case.

    Attributes
    ----------
    fit : FitLedger
    span_mm : float
        Largest distance between two pin feet.
    span_error_um, u_span_error_um : float
        What the net scale does over that span.
    findings : tuple of Finding
    """

    fit: FitLedger
    span_mm: float
    span_error_um: float
    u_span_error_um: float
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Evidence:
    """One point that the mould's law was made from.

    Attributes
    ----------
    mix : float
        Liquid in %, or water to powder in ml/g.
    change_percent : float
        Change of length: of the mould alone, or of the casting against its pattern where there are castings.
    u_percent : float
        0 where none is stated.
    kind : {"sheet", "reading", "bar"}
    lot : str
    """

    mix: float
    change_percent: float
    u_percent: float
    kind: Literal["sheet", "reading", "bar"]
    lot: str


@dataclass(frozen=True)
class Mix:
    """What one mix would do to this case.

    Attributes
    ----------
    mix : float
        Liquid in %, or water to powder in ml/g.
    powder_g, special_g, special_ml, water_g, water_ml : float
        The ring's powder, special liquid (0 for gypsum) and water.
    change_percent, u_change_percent : float
        What mould (and metal, where castings show it) will do.
    net_percent, u_net_percent : float
        From tooth to casting.
    error_um, u_error_um : float
        Over the span.
    probability : float
        That the error keeps within the allowance.
    """

    mix: float
    powder_g: float
    special_g: float
    special_ml: float
    water_g: float
    water_ml: float
    change_percent: float
    u_change_percent: float
    net_percent: float
    u_net_percent: float
    error_um: float
    u_error_um: float
    probability: float


@dataclass(frozen=True)
class LotEffect:
    """How one lot differs from the line through all of them.

    Attributes
    ----------
    lot : str
    castings : int
    effect_percent, u_effect_percent : float
        Positive = its castings come out larger.
    """

    lot: str
    castings: int
    effect_percent: float
    u_effect_percent: float


@dataclass(frozen=True)
class PinCount:
    """How a number of pins takes the same error of scale.

    Attributes
    ----------
    pins : int
        Half of them at either end of the span.
    probability : float
        That all of them enter, with the pins' own errors of position along the span.
    """

    pins: int
    probability: float


@dataclass(frozen=True, eq=False)
class Compensation:
    """The recipe of the mould.

    Attributes
    ----------
    axis : {"liquid_percent", "water_powder"}
    label : str
        What it rests on.
    basis : str
    covers : tuple of str
        Copies whose changes the law holds together.
    evidence : tuple of Evidence
    mixes, line_percent, low_percent, high_percent : (n,) array
        The law for the chart: what a casting will do, and where 95 in 100 will lie.
    slope, u_slope : float
        % for one of the axis.
    wanted_percent : float
        Change that gives no net error.
    reach : tuple of float
        Mixes within which the law is trusted.
    recommended : Mix or None
        None when it is not known at which mix the mould was measured.
    stated : Mix or None
        The mix that the case states.
    unbounded : float
        Mix for no net error if there were no limits to it.
    after_one_more : float
        Probability to be expected with one more test casting at the recommended mix.
    lots : tuple of LotEffect
    span_mm : float
        Between the two pins that the scale troubles most.
    play_um, allowance_um : float
        Pitch error that those two take up, and that all pins together take up over this span.
    pin_counts : tuple of PinCount
        At the recommended mix.
    """

    axis: Literal["liquid_percent", "water_powder"]
    label: str
    basis: Basis
    covers: tuple[str, ...]
    evidence: tuple[Evidence, ...]
    mixes: Float
    line_percent: Float
    low_percent: Float
    high_percent: Float
    slope: float
    u_slope: float
    wanted_percent: float
    reach: tuple[float, ...]
    recommended: Mix | None
    stated: Mix | None
    unbounded: float
    after_one_more: float
    lots: tuple[LotEffect, ...]
    span_mm: float
    play_um: float
    allowance_um: float
    pin_counts: tuple[PinCount, ...]


@dataclass(frozen=True)
class Metal:
    """What to weigh for the melt.

    Attributes
    ----------
    pattern_g, u_pattern_g : float
        Pattern with sprue.
    volume_mm3, density_g_cm3 : float
        Of the casting with sprue; density of the alloy.
    casting_g, button_g : float
        Metal in casting and sprue, and left over.
    melt_g, u_melt_g : float
        Both together.
    feed_mm3 : float
        Volume that sprue and button must feed while the casting freezes.
    """

    pattern_g: float
    u_pattern_g: float
    volume_mm3: float
    density_g_cm3: float
    casting_g: float
    button_g: float
    melt_g: float
    u_melt_g: float
    feed_mm3: float


@dataclass(frozen=True)
class Beam:
    """The span as a beam under the bite: held between ends that turn freely and ends that do not turn at all.

    Attributes
    ----------
    span_mm, load_N, u_load_N : float
    width_mm, height_mm : float
        Connector.
    sag_free_um, sag_fixed_um : float
        At mid-span.
    u_sag_share : float
        Standard uncertainty of either sag, as a share of it.
    stress_free_MPa, stress_fixed_MPa : float
        Largest.
    proof_MPa : float
        What the alloy's type stands.
    height_needed_mm : float
        Of a connector this wide, for the stress with ends that turn and the load's 95 % bound.
    """

    span_mm: float
    load_N: float
    u_load_N: float
    width_mm: float
    height_mm: float
    sag_free_um: float
    sag_fixed_um: float
    u_sag_share: float
    stress_free_MPa: float
    stress_fixed_MPa: float
    proof_MPa: float
    height_needed_mm: float


@dataclass(frozen=True)
class DayStep:
    """One step of the casting day.

    Attributes
    ----------
    what : str
    minutes, u_minutes : float
    before_due_min : float
        Start, counted back from when the bridge is due.
    start : str
        ``2026-03-05 08:40``; empty when no time is stated.
    caution : str
        The hazard of this step, empty when there is none of its own.
    """

    what: str
    minutes: float
    u_minutes: float
    before_due_min: float
    start: str
    caution: str


@dataclass(frozen=True)
class PinFlow:
    """How the cement gets out of one pinhole.

    Attributes
    ----------
    pin : str
    room_um : float
        Radial room between hole and cast pin.
    length_mm : float
        Engaged.
    share : float
        Of the whole resistance to seating.
    alone_N : float
        Force that would bring this pin home by itself in ten seconds.
    alone_s : float
        Time it would take by itself under the stated force.
    vented_s : float
        The same with a half-round groove of a third of the pin's diameter.
    """

    pin: str
    room_um: float
    length_mm: float
    share: float
    alone_N: float
    alone_s: float
    vented_s: float


@dataclass(frozen=True, eq=False)
class Cementing:
    """Seating in cement: how long it takes, and until when it can be done.

    Attributes
    ----------
    kind : str
    force_N, film_um : float
        Force on the bridge, as stated but never more than the most allowed, and the film it is seated to.
    gentle_N, gentle_until_um : float
        Force at first, and the opening below which the full one is harmless (0: from the beginning).
    wall_MPa : float
        Tension in the wall of a hole if the full force were there from the beginning.
    pins : tuple of PinFlow
    time_s, u_factor : float
        Time from setting on to seated, and the factor either way within which it is known (one deviation).
    start_min, home_min : float
        From the start of mixing: setting on, and when the margins should be closed.
    latest_min : float
        Latest time to set on so that it is seated within the working time 95 times in 100; negative: none.
    stop_min : float
        When a bridge set on at its time and still open is not just slow, 95 times in 100, with the time it
        takes to look round the margins: lift it off. The end of the working time at the latest.
    working_min, setting_min : float
    probability : float
        That it is seated within the working time.
    minutes, close_s, late_s : (n,) array
        When the bridge is set on, in minutes from the start of mixing, and the seconds it then takes to
        close: as expected, and so that it is not longer 95 times in 100.
    """

    kind: str
    force_N: float
    gentle_N: float
    gentle_until_um: float
    wall_MPa: float
    film_um: float
    pins: tuple[PinFlow, ...]
    time_s: float
    u_factor: float
    start_min: float
    home_min: float
    latest_min: float
    stop_min: float
    working_min: float
    setting_min: float
    probability: float
    minutes: Float
    close_s: Float
    late_s: Float


@dataclass(frozen=True, eq=False)
class RecipeResult:
    """The batch card: mould, metal, span, day and cement.

    Attributes
    ----------
    mould : Compensation
    metal : Metal or None
        None when the pattern has not been weighed.
    beam : Beam or None
        None when no connector is stated, or the span is not known.
    day : tuple of DayStep
    cement : Cementing or None
        None without pins.
    findings : tuple of Finding
    files : tuple of str
    """

    mould: Compensation
    metal: Metal | None
    beam: Beam | None
    day: tuple[DayStep, ...]
    cement: Cementing | None
    findings: tuple[Finding, ...]
    files: tuple[str, ...] = ()
