"""Compare: what changed between two scans, against their own noise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from pinseat.compare import certain
from pinseat.compare.deviation import changed_places, deviation_map, vertex_areas
from pinseat.compare.model import (
    CompareResult,
    Copy,
    Deviation,
    Laid,
    MeasuredRow,
    PinChange,
    ScaleChange,
    Side,
)
from pinseat.compare.pins import Paired, change_of, in_common_pose, paired, settled_teeth, strain_of
from pinseat.compare.rows import measured_rows
from pinseat.compare.spans import scale_changes, spans
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Progress, quiet
from pinseat.ledger.pins import frame
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.registration import Registration, Settled, register
from pinseat.reference import value

NOISE_FACTOR = 4.0
"""The map's limit is never below so many robust standard deviations of the averaged map."""


def run(
    first: Side,
    second: Side,
    progress: Progress = quiet,
    *,
    laid: Registration | None = None,
    copy: Copy | None = None,
    length_mm: dict[int, float] | None = None,
) -> tuple[CompareResult, Deviation]:
    """Compare two scans.

    Parameters
    ----------
    first : Side
        What it should be: the teeth.
    second : Side
        What it is: a later scan, an impression, a die, a casting.
    progress : callable
    laid : Registration, optional
        Where it is known already.
    copy : str, optional
        Which copy the second scan is of the first; then rows for the ledger are made.
    length_mm : dict of int to float, optional
        Whole length of the pins of each tooth; an impression shows their depth only with it.

    Returns
    -------
    CompareResult
    Deviation

    Raises
    ------
    CompareError
        When the scans cannot be laid on each other.
    """
    progress("laying the scans on each other", 0.0)
    onto = Nearest(first.mesh)
    pose = laid or register(first.mesh, second.mesh, onto)
    progress("measuring the deviation", 0.5)
    found = deviation_map(onto, second.mesh, pose)
    progress("comparing the pins", 0.7)
    seen = _by_tooth(onto, found, first, second, pose)
    lengths = length_mm or {}
    pins = certain.with_certain(
        [
            change_of(
                pair,
                seen.teeth[pair.first.tooth],
                seen.strain,
                negative=pose.turned_over,
                length_mm=lengths.get(pair.first.tooth),
            )
            for pair in seen.whole
        ]
    )
    result = _result(first, second, pose, found, seen, pins, copy)
    progress("comparing the pins", 1.0)
    return result, found


@dataclass(frozen=True, eq=False)
class _ByTooth:
    """Pins on both scans, those on one only, their teeth laid one by one, and the strain of the warp."""

    pairs: Sequence[Paired] = ()
    alone: tuple[str, ...] = ()
    teeth: Mapping[int, Settled] = field(default_factory=dict)
    strain: float = 0.0

    @property
    def whole(self) -> list[Paired]:
        """Pairs whose tooth could be laid by itself."""
        return [pair for pair in self.pairs if pair.first.tooth in self.teeth]


def _by_tooth(onto: Nearest, found: Deviation, first: Side, second: Side, pose: Registration) -> _ByTooth:
    if first.pins is None or second.pins is None:
        return _ByTooth()
    pairs, alone = paired(first.pins, second.pins, pose)
    teeth = settled_teeth(onto, found, pairs, (first.pins, in_common_pose(second.pins, pose)))
    alone += [
        f"pin {pair.first.name}: too little of its tooth is there"
        for pair in pairs
        if pair.first.tooth not in teeth
    ]
    return _ByTooth(pairs, tuple(alone), teeth, strain_of(onto, found))


def _result(
    first: Side,
    second: Side,
    pose: Registration,
    found: Deviation,
    seen: _ByTooth,
    pins: tuple[PinChange, ...],
    copy: Copy | None,
) -> CompareResult:
    scatter_um = _scatter_um(found)
    limit = max(value("compare.deviation_limit_um").value, NOISE_FACTOR * scatter_um)
    places, within = changed_places(found, 1e-3 * limit, first.pins), _within(found, 1e-3 * limit)
    lay, scales = _laid(pose), scale_changes(pose, seen.pairs)
    between = spans(pose, seen.pairs, seen.teeth, seen.strain)
    how = f"scans {first.name} and {second.name} compared"
    return CompareResult(
        first=first.name,
        second=second.name,
        laid=lay,
        scales=scales,
        spans=between,
        pins=pins,
        unpaired=seen.alone,
        places=places,
        limit_um=limit,
        within_share=within,
        rows=() if copy is None else _rows(copy, how, scales, pins, seen, pose),
        findings=(
            certain.pose_finding(lay),
            *certain.scale_findings(scales, _size(found)),
            *certain.span_findings(between),
            *certain.pin_findings(pins, pose.turned_over),
            *certain.alone_findings(seen.alone),
            *_unseen(first, second),
            certain.surface_finding(places, within, limit, scatter_um),
        ),
    )


def _rows(
    copy: Copy,
    how: str,
    scales: Sequence[ScaleChange],
    pins: Sequence[PinChange],
    seen: _ByTooth,
    pose: Registration,
) -> tuple[MeasuredRow, ...]:
    standing = [pair.first for pair in seen.whole]
    feet = np.array([pin.foot for pin in standing]).reshape(-1, 3)
    arms = np.array([frame(pin.axis) @ (pin.foot - pose.middle) for pin in standing]).reshape(-1, 2)
    common = (pose.scale - 1.0, arms, pose.u_mm(feet) / np.sqrt(3.0))
    return measured_rows(copy, scales, pins, common, how, pose.turned_over)


def _unseen(first: Side, second: Side) -> tuple[Finding, ...]:
    if (first.pins is None) == (second.pins is None):
        return ()
    shown, lacking = (second, first) if first.pins is None else (first, second)
    return (certain.unseen_finding(shown.name, lacking.name),)


def _laid(pose: Registration) -> Laid:
    return Laid(
        rotation=pose.rotation,
        shift=pose.shift,
        u_shift_um=1e3 * float(np.sqrt(np.trace(pose.covariance[:3, :3]))),
        u_worst_um=1e3 * pose.u_worst_mm,
        u_turn_deg=float(np.degrees(np.sqrt(np.trace(pose.covariance[3:6, 3:6])))),
        spread_um=1e3 * pose.spread_mm,
        shared_share=pose.shared,
        agreeing_share=pose.agreeing,
        negative=pose.turned_over,
    )


def _scatter_um(found: Deviation) -> float:
    """Robust standard deviation of the averaged map."""
    return 1482.6 * float(np.nanmedian(np.abs(found.calm_mm)))


def _within(found: Deviation, limit_mm: float) -> float:
    """Share of the compared area within the limit."""
    known = ~np.isnan(found.calm_mm)
    area = vertex_areas(found.mesh)[known]
    return float(area[np.abs(found.calm_mm[known]) <= limit_mm].sum() / max(float(area.sum()), 1e-12))


def _size(found: Deviation) -> float:
    """Longest side of the compared surface, mm."""
    return float(np.ptp(found.mesh.vertices[~np.isnan(found.distance_mm)], axis=0).max())
