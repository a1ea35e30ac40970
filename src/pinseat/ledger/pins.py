"""Pins as the steps hand them on: an axis in space, and how well it is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]


def frame(axis: Float) -> Float:
    """Two unit vectors across an axis, chosen the same way every time.

    Parameters
    ----------
    axis : (3,) array
        Unit vector.

    Returns
    -------
    (2, 3) array
        Rows `u` and `v`; ``u x v = axis``.

    Examples
    --------
    >>> frame(np.array([0.0, 0.0, 1.0])).round(6)
    array([[1., 0., 0.],
           [0., 1., 0.]])
    """
    least = int(np.argmin(np.round(np.abs(axis), 9)))
    helper = np.zeros(3)
    helper[least] = 1.0
    u = helper - axis * axis[least]
    u = u / np.linalg.norm(u)
    return np.stack([u, np.cross(axis, u)])


@dataclass(frozen=True, eq=False)
class Pin:
    """One pin standing in its hole; millimetres, in the frame of the working scan.

    Attributes
    ----------
    tooth : int
        FDI two-digit (ISO 3950).
    number : int
        1, 2, ... within its tooth.
    foot : (3,) array
        Where the axis meets the tooth surface: the centre of the hole's mouth.
    axis : (3,) array
        Unit vector out of the hole.
    diameter_mm, protrusion_mm : float
        Of the pin as it stands; protrusion is from the foot to the free end.
    u_foot_depth_mm, u_diameter_mm, u_protrusion_mm : float
        Standard uncertainties.
    """

    tooth: int
    number: int
    foot: Float
    axis: Float
    diameter_mm: float
    protrusion_mm: float
    u_foot_depth_mm: float
    u_diameter_mm: float
    u_protrusion_mm: float

    @property
    def name(self) -> str:
        """The pin in words: tooth and number, ``11-2``."""
        return f"{self.tooth}-{self.number}"


@dataclass(frozen=True, eq=False)
class PinField:
    """All pins of a case with their joint covariance.

    Attributes
    ----------
    pins : tuple of Pin
        Ordered by tooth as given in the case, then by number.
    covariance : (4 n, 4 n) array
        For each pin foot across (u, v in mm) and axis tilt across (u, v in rad), in the frame of
        :func:`frame` of its axis. Readings with callipers leave pins correlated; a scan does not.
    basis : str
        ``"scan"`` or ``"callipers"``.
    u_turn_rad : float
        How far a tooth may be turned in the scan, all its pins together: standard uncertainty of each
        component. It is not in `covariance`, which holds against the pin's own tooth.
    """

    pins: tuple[Pin, ...]
    covariance: Float
    basis: str
    u_turn_rad: float = 0.0

    @property
    def tilt_covariance(self) -> Float:
        """Joint covariance of the axes (u, v of each), (2 n, 2 n) in rad2, against those of other teeth."""
        tilt = (4 * np.arange(len(self.pins))[:, None] + [2, 3]).ravel()
        turned = np.concatenate([np.cross(pin.axis, frame(pin.axis)) for pin in self.pins])
        tooth = np.repeat([pin.tooth for pin in self.pins], 2)
        together = tooth[:, None] == tooth
        own = self.covariance[np.ix_(tilt, tilt)]
        return np.asarray(own + self.u_turn_rad**2 * together * (turned @ turned.T))
