"""From what was found to rows of the fit ledger that a person can paste into the case."""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np

from pinseat.compare.model import Copy, MeasuredRow, PinChange, ScaleChange

FEWEST = 2


def measured_rows(
    copy: Copy,
    scales: Sequence[ScaleChange],
    pins: Sequence[PinChange],
    laid: tuple[float, np.ndarray, np.ndarray],
    how: str,
    negative: bool,
) -> tuple[MeasuredRow, ...]:
    """What one copy did, as the ledger wants it.

    Scale: of the shared surface. Position and tilt: the root mean square over the pins in the common pose,
    the scale taken out and what the readings' own uncertainty makes taken off. Depth: mean and scatter over
    the pins; positive = the hole in the die too deep, so a pin that stands farther out of the copy's hole
    counts negative, and one that stands farther out of a negative counts positive.

    Parameters
    ----------
    copy : str
    scales : sequence of ScaleChange
    pins : sequence of PinChange
    laid : (scale, (n, 2) array, (n,) array)
        Scale less one; each pin's arm from the middle of the shared surface across its axis, mm; and how well
        the common pose is known there, mm in each direction.
    how : str
        Instrument and date, or the names of the scans.
    negative : bool

    Returns
    -------
    tuple of MeasuredRow
        Without pins only the scale; from two pins on the others too.
    """
    surface = scales[0]
    rows = [MeasuredRow(copy, "scale", surface.change_percent, surface.u_percent, how)]
    if len(pins) < FEWEST:
        return tuple(rows)
    change = np.array([pin.whole for pin in pins])
    variance = np.array([np.diag(pin.covariance) for pin in pins])
    change[:, :2] -= laid[0] * laid[1]
    variance[:, :2] += laid[2][:, None] ** 2
    for error, part, size in (
        ("position", slice(0, 2), 1e3),
        ("tilt", slice(2, 4), float(np.degrees(1.0))),
    ):
        square = np.sum(change[:, part] ** 2, axis=1)
        noise = np.sum(variance[:, part], axis=1)
        mean = float(np.sqrt(max(np.mean(square - noise), 0.0)))
        u = float(np.sqrt(np.mean(noise) / (2.0 * len(pins))))
        rows.append(
            MeasuredRow(copy, "position" if error == "position" else "tilt", size * mean, size * u, how)
        )
    depth = [pin.depth_um for pin in pins if pin.depth_um is not None]
    if len(depth) >= FEWEST:
        sign = 1.0 if negative else -1.0
        rows.append(
            MeasuredRow(copy, "depth", sign * float(np.mean(depth)), float(np.std(depth, ddof=1)), how)
        )
    return tuple(rows)


def toml_text(rows: Sequence[MeasuredRow]) -> str:
    """The rows as they go into ``case.toml``.

    Parameters
    ----------
    rows : sequence of MeasuredRow

    Returns
    -------
    str

    Examples
    --------
    >>> print(toml_text([MeasuredRow("die", "scale", -0.1234, 0.0213, "two scans")]))
    [[measured]]
    copy = "die"
    error = "scale"
    mean = -0.123
    u = 0.021
    how = "two scans"
    """
    blocks = []
    for row in rows:
        places = 3 if row.error in ("scale", "tilt") else 1
        blocks.append(
            f'[[measured]]\ncopy = "{row.copy}"\nerror = "{row.error}"\nmean = {row.mean:.{places}f}\n'
            f"u = {row.u:.{places}f}\nhow = {json.dumps(row.how, ensure_ascii=False)}"
        )
    return "\n\n".join(blocks)
