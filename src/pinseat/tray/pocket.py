"""The room each pin needs: its capsule, tilted and shifted by the wobble, drawn through the withdrawal.

While the tray goes on or off, at each moment its direction may be off the draw by the stated angle and its
place by the stated distance, seen at the foot of each pin. So relative to the tray a pin's axis sweeps a cone
about the fitted one (a spherical sector), which is drawn downward along the draw as the tray comes off: a
convex body. The distance from it, less the pin's radius and the shift, is the distance from everything that
the pin can reach. Analytic: the scanned triangles of the pin are not asked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Float = NDArray[np.float64]

_STEPS = 28
"""Cuts of the golden section; 28 of them leave 15 um of 10 mm, and the distance is flat there."""


@dataclass(frozen=True, eq=False)
class Pocket:
    """One pin as the tray meets it, in the frame of the tray.

    Attributes
    ----------
    name : str
        ``11-2``.
    foot : (3,) array, mm
    axis : (3,) array
        Unit vector out of the hole.
    length_mm : float
        From the foot to the free end.
    radius_mm : float
        Of the pin.
    tilt_rad, shift_mm : float
        Of the wobble, at the foot.
    """

    name: str
    foot: Float
    axis: Float
    length_mm: float
    radius_mm: float
    tilt_rad: float = 0.0
    shift_mm: float = 0.0

    @property
    def sweep_mm(self) -> float:
        """How far the free end can stray sideways: shift and length times the sine of the tilt."""
        return self.shift_mm + self.length_mm * float(np.sin(self.tilt_rad))

    def at_rest(self, points: ArrayLike) -> Float:
        """Distance of points from the pin as it stands, mm, negative inside; shape (n,).

        The pin is a capsule about its axis; its free end is a little longer than the real, flat one.
        """
        q = np.asarray(points, float).reshape(-1, 3) - self.foot
        along = np.clip(q @ self.axis, 0.0, max(self.length_mm - self.radius_mm, 0.0))
        return np.asarray(np.linalg.norm(q - along[:, None] * self.axis, axis=1) - self.radius_mm)

    def beside(self, xy: ArrayLike) -> Float:
        """Least that :meth:`swept` can be over a place, seen along the draw, mm; shape (n,)."""
        q = np.asarray(xy, float).reshape(-1, 2) - self.foot[:2]
        tip = self.length_mm * self.axis[:2]
        share = np.clip((q @ tip) / max(float(tip @ tip), 1e-12), 0.0, 1.0)
        return np.asarray(np.linalg.norm(q - share[:, None] * tip, axis=1) - self.radius_mm - self.sweep_mm)

    def swept(self, points: ArrayLike) -> Float:
        """Distance of points from everything the pin can reach, mm, negative inside; shape (n,).

        Parameters
        ----------
        points : (n, 3) array, mm

        Returns
        -------
        (n,) float64 array

        Examples
        --------
        >>> up = np.array([0.0, 0.0, 1.0])
        >>> pin = Pocket("11-1", np.zeros(3), up, 4.2, 0.3, np.radians(2.0), 0.3)
        >>> pin.swept([[0, 0, 6.0], [5.0, 0, -9.0]]).round(3).tolist()
        [1.5, 4.264]
        """
        p = np.ascontiguousarray(np.asarray(points, float).reshape(-1, 3) - self.foot)
        length = max(self.length_mm - self.radius_mm, 0.0)
        far = np.empty(len(p))
        _drawn(p, self.axis, length, np.sin(self.tilt_rad), np.cos(self.tilt_rad), far)
        return far - self.radius_mm - self.shift_mm


@njit(cache=True, nogil=True)
def _sector(x, y, z, axis, length, sine, cosine):  # type: ignore[no-untyped-def]
    """Distance from a spherical sector with its tip at the origin; 0 inside."""
    along = x * axis[0] + y * axis[1] + z * axis[2]
    across = np.sqrt(max(x * x + y * y + z * z - along * along, 0.0))
    side = across * cosine - along * sine
    on = across * sine + along * cosine
    if side > 0.0:
        on = min(max(on, 0.0), length)
        return np.sqrt((across - on * sine) ** 2 + (along - on * cosine) ** 2)
    far = np.sqrt(along * along + across * across)
    return max(far - length, 0.0) if along > 0.0 else far


@njit(cache=True, nogil=True)
def _drawn(points, axis, length, sine, cosine, out):  # type: ignore[no-untyped-def]
    """Distance from the sector drawn down along z: the least along the line up from each point."""
    golden = 0.5 * (np.sqrt(5.0) - 1.0)
    for i in range(points.shape[0]):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        here = _sector(x, y, z, axis, length, sine, cosine)
        low, high = 0.0, max(length - z, 0.0)
        if high == 0.0 or _sector(x, y, z + 1e-6, axis, length, sine, cosine) >= here:
            out[i] = here
            continue
        a, b = high - golden * (high - low), low + golden * (high - low)
        fa, fb = (
            _sector(x, y, z + a, axis, length, sine, cosine),
            _sector(x, y, z + b, axis, length, sine, cosine),
        )
        for _ in range(_STEPS):
            if fa <= fb:
                high, b, fb = b, a, fa
                a = high - golden * (high - low)
                fa = _sector(x, y, z + a, axis, length, sine, cosine)
            else:
                low, a, fa = a, b, fb
                b = low + golden * (high - low)
                fb = _sector(x, y, z + b, axis, length, sine, cosine)
        out[i] = min(here, fa, fb)
