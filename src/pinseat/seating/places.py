"""Where one more pin would stand, and what the bridge is with it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pinseat.reference import value
from pinseat.seating.assembly import Assembly

Float = NDArray[np.float64]


def with_pins(assembly: Assembly) -> Assembly:
    """One more pin in each abutment, like the others of its tooth.

    With one pin it stands beside it, across the line to the other abutments, as far as pins are taught to be
    apart; with more it stands on the far side of their middle from the pin nearest to it. Its errors are new
    random numbers; those of everything else stay as they are.

    Parameters
    ----------
    assembly : Assembly

    Returns
    -------
    Assembly
    """
    like = [assembly.teeth.index(tooth) for tooth in dict.fromkeys(assembly.teeth)]
    places = np.array([_place(assembly, tooth) for tooth in dict.fromkeys(assembly.teeth)])
    more = len(like)
    axes = np.array(
        [assembly.axes[[t == assembly.teeth[i] for t in assembly.teeth]].mean(axis=0) for i in like]
    )
    each = np.kron(np.eye(more), np.eye(2)) * float(np.diag(assembly.tilt_covariance).mean())
    n = len(assembly.names)
    covariance = np.zeros((2 * (n + more), 2 * (n + more)))
    covariance[: 2 * n, : 2 * n], covariance[2 * n :, 2 * n :] = assembly.tilt_covariance, each
    return replace(
        assembly,
        names=assembly.names + tuple(f"{assembly.teeth[i]}-more" for i in like),
        teeth=assembly.teeth + tuple(assembly.teeth[i] for i in like),
        mouths=np.vstack([assembly.mouths, places]),
        axes=np.vstack([assembly.axes, axes / np.linalg.norm(axes, axis=1)[:, None]]),
        tilt_covariance=covariance,
        present=np.append(assembly.present, np.ones(more, dtype=bool)),
        spare=assembly.spare + more,
        hole_mm=np.append(assembly.hole_mm, assembly.hole_mm[like]),
        pin_mm=np.append(assembly.pin_mm, assembly.pin_mm[like]),
        depth_mm=np.append(assembly.depth_mm, assembly.depth_mm[like]),
        relief_mm=np.append(assembly.relief_mm, assembly.relief_mm[like]),
        taper_mm=np.append(assembly.taper_mm, assembly.taper_mm[like]),
    )


def _place(assembly: Assembly, tooth: int) -> Float:
    own = np.array([t == tooth for t in assembly.teeth])
    mouths, apart = assembly.mouths[own], value("pin.spacing_min_mm").value
    middle = mouths.mean(axis=0)
    off = np.linalg.norm(mouths - middle, axis=1)
    nearest = mouths[int(np.argmin(off))]
    if len(mouths) > 2 and off.min() > 1e-6:
        away = middle - nearest
    else:
        along = middle - assembly.mouths.mean(axis=0) if len(mouths) == 1 else mouths[1] - mouths[0]
        away = np.cross(assembly.draw, along)
        if np.linalg.norm(away) < 1e-6:
            away = np.cross(assembly.draw, np.eye(3)[int(np.argmin(np.abs(assembly.draw)))])
    return np.asarray(middle + apart * away / np.linalg.norm(away))
