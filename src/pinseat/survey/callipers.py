"""Pins from calliper readings: least squares with what is known beforehand, and what the readings cannot see.

Each pin has five unknowns in the frame of the layout (x along the arch, y to lip or cheek, z off the teeth):
its foot (x, y, z) and its lean (a, b), with the axis ``(a, b, 1)`` made a unit vector and the free end at
``foot + length * axis``. A reading is the distance between two feet, two free ends, or one and the other.
Known beforehand: the layout to its stated uncertainty, feet about level, and freehand lean of a few degrees
(assumed). Least squares on both together (Levenberg-Marquardt) gives the most probable pins and their joint
covariance (JCGM 102; Tarantola, Inverse Problem Theory, from memory). What the readings do not see keeps its
prior: nothing is ever singular, and a direction whose uncertainty stays wider than the play of the holes is
named as not seen.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, permutations
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pinseat.case.model import Abutment, Callipers, Layout, Photo, Reading
from pinseat.errors import SurveyError
from pinseat.ledger.pins import Pin, PinField, frame
from pinseat.ledger.verdict import one_sided
from pinseat.reference import value

Float = NDArray[np.float64]
Kind = Literal["base", "tip", "tip to base"]

UNKNOWNS = 5
STARTS = 12
"""Starts of the search for the most probable pins."""
ODDS = 100.0
"""Pins so much less probable than the best are not thought of."""


@dataclass(frozen=True, eq=False)
class Network:
    """Pins and readings in numbers.

    Attributes
    ----------
    names : tuple of str
    length_mm : (n,) array
        Of each guide pin above the tooth.
    prior : (5 n,) array
        Most probable state before any reading.
    u_prior : (5 n,) array
    angle_rows : (p, 5 n) array
        Their product with the state is the angle that a photograph shows, rad.
    angles, u_angles : (p,) arrays
        Angles read in photographs, means of the repeats, and their standard uncertainties, rad.
    """

    names: tuple[str, ...]
    length_mm: Float
    prior: Float
    u_prior: Float
    angle_rows: Float
    angles: Float
    u_angles: Float

    @property
    def known(self) -> Float:
        """Inverse covariance before any reading between pins: layout and photographs, (5 n, 5 n)."""
        rows = self.angle_rows / self.u_angles[:, None]
        return np.asarray(np.diag(1.0 / self.u_prior**2) + rows.T @ rows)

    def end(self, state: Float, pin: int, *, tip: bool) -> Float:
        """Foot or free end of a pin, (3,)."""
        x = state[UNKNOWNS * pin : UNKNOWNS * (pin + 1)]
        if not tip:
            return np.asarray(x[:3])
        axis = np.array([x[3], x[4], 1.0])
        return np.asarray(x[:3] + self.length_mm[pin] * axis / np.linalg.norm(axis))

    def row(self, state: Float, kind: Kind, first: int, second: int) -> tuple[float, Float]:
        """Distance that a reading would give, and its derivative for the state."""
        ends = ((first, kind != "base"), (second, kind == "tip"))
        apart = self.end(state, first, tip=ends[0][1]) - self.end(state, second, tip=ends[1][1])
        distance = float(np.linalg.norm(apart))
        pull = apart / max(distance, 1e-9)
        row = np.zeros(len(state))
        for sign, (pin, tip) in zip((1.0, -1.0), ends, strict=True):
            at = UNKNOWNS * pin
            row[at : at + 3] += sign * pull
            if tip:
                axis = np.array([state[at + 3], state[at + 4], 1.0])
                size = float(np.linalg.norm(axis))
                turn = (np.eye(3) - np.outer(axis, axis) / size**2) / size
                row[at + 3 : at + 5] += sign * self.length_mm[pin] * (pull @ turn)[:2]
        return distance, row


@dataclass(frozen=True, eq=False)
class Solved:
    """The most probable pins.

    Attributes
    ----------
    state : (5 n,) array
    covariance : (5 n, 5 n) array
    misfit : (r,) array
        Each reading less what the pins give, in its own standard uncertainties (as the fit leaves them).
    rivals : tuple of (5 n,) array
        Where each start of the search ended, when its odds against the most probable pins are better than
        one to :data:`ODDS`: mostly the same pins, or a foot on the other side of the line of two others.
    """

    state: Float
    covariance: Float
    misfit: Float
    rivals: tuple[Float, ...] = ()


def network(callipers: Callipers) -> Network:
    """Set up the unknowns and what is known beforehand.

    Raises
    ------
    SurveyError
        When a pin is laid out twice, or a reading names a pin that is not in the layout.
    """
    names = tuple(f"{pin.tooth}-{pin.number}" for pin in callipers.layout)
    for name in names:
        if names.count(name) > 1:
            raise SurveyError("this pin is laid out twice", where=f"callipers.layout, pin {name}")
    for k, reading in enumerate(callipers.readings, start=1):
        for name in reading.pins:
            if name not in names:
                raise SurveyError(
                    "this reading names a pin that is not in the layout",
                    where=f"callipers.readings, reading {k}",
                    value=name,
                    limit=", ".join(names),
                )
        if reading.pins[0] == reading.pins[1]:
            raise SurveyError(
                "a reading is taken between two pins", where=f"callipers.readings, reading {k}", value=name
            )
    lean = math.radians(value("survey.freehand_tilt_deg").value)
    level = value("survey.foot_height_mm").value
    one = [callipers.u_layout_mm, callipers.u_layout_mm, level, lean, lean]
    prior = [[pin.x_mm, pin.y_mm, 0.0, 0.0, 0.0] for pin in callipers.layout]
    lengths = np.array([pin.guide_length_mm for pin in callipers.layout])
    bare = Network(
        names,
        lengths,
        np.array(prior).ravel(),
        np.tile(one, len(names)),
        np.zeros((0, UNKNOWNS * len(names))),
        np.zeros(0),
        np.zeros(0),
    )
    return _with_photos(bare, callipers.photos)


def _with_photos(net: Network, photos: Sequence[Photo]) -> Network:
    """The network with the angles that photographs show; to second order in the leans."""
    if not photos:
        return net
    rows = []
    for photo in photos:
        i, j = (net.names.index(name) for name in photo.pins)
        rows.append(splay_rows(net, i, j)["along" if photo.seen == "from the side" else "across"])
    return replace(
        net,
        angle_rows=np.array(rows),
        angles=np.radians([float(np.mean(photo.deg)) for photo in photos]),
        u_angles=np.radians([photo.u_deg / math.sqrt(len(photo.deg)) for photo in photos]),
    )


def solve(net: Network, readings: Sequence[Reading]) -> Solved:
    """Most probable pins for these readings; the mean of the repeats of each counts.

    Parameters
    ----------
    net : Network
    readings : sequence of Reading

    Returns
    -------
    Solved

    Raises
    ------
    SurveyError
        When the readings contradict each other or the layout so much that no pins come near them.
    """
    measured = np.array([np.mean(reading.mm) for reading in readings])
    u = np.array([reading.u_mm / math.sqrt(len(reading.mm)) for reading in readings])

    def residual(state: Float) -> Float:
        return np.concatenate(
            [
                (state - net.prior) / net.u_prior,
                (net.angle_rows @ state - net.angles) / net.u_angles,
                (_rows(net, state, readings)[0] - measured) / u,
            ]
        )

    def jacobian(state: Float) -> Float:
        return np.vstack(
            [
                np.diag(1.0 / net.u_prior),
                net.angle_rows / net.u_angles[:, None],
                _rows(net, state, readings)[1] / u[:, None],
            ]
        )

    rough = [least_squares(residual, start, jacobian, method="lm", xtol=1e-6) for start in _starts(net)]
    nearest = min(rough, key=lambda one: round(float(one.cost), 6))
    found = least_squares(residual, nearest.x, jacobian, method="lm", xtol=1e-12, ftol=1e-14, gtol=1e-12)
    if not found.success:
        raise SurveyError(
            "the calliper readings contradict each other and the layout",
            do="check each reading and the layout for a slip of the pen",
        )
    state = np.asarray(found.x, np.float64)
    given, rows = _rows(net, state, readings)
    whole = jacobian(state)
    covariance = np.linalg.inv(whole.T @ whole)
    left = np.sqrt(np.maximum(u**2 - np.einsum("ri,ij,rj->r", rows, covariance, rows), 1e-4 * u**2))
    near = [one.x for one in rough if one.cost - found.cost < math.log(ODDS)]
    return Solved(state, np.asarray(covariance, np.float64), (measured - given) / left, tuple(near))


def _starts(net: Network) -> list[Float]:
    """The layout, then pins drawn from what is known beforehand: always the same ones.

    Distances may fit two ways, a foot lying on either side of the line of two others; from one start the
    search may end in the worse of them.
    """
    drawn = np.random.Generator(np.random.Philox(5)).standard_normal((STARTS - 1, len(net.prior)))
    return [net.prior, *(net.prior + net.u_prior * drawn)]


def _rows(net: Network, state: Float, readings: Sequence[Reading]) -> tuple[Float, Float]:
    both = [net.row(state, r.kind, net.names.index(r.pins[0]), net.names.index(r.pins[1])) for r in readings]
    rows = np.array([row for _, row in both]).reshape(-1, len(state))
    return np.array([distance for distance, _ in both]), rows


def field_of(
    net: Network, solved: Solved, layout: Sequence[Layout], abutments: Sequence[Abutment]
) -> PinField:
    """The pins as every later step takes them, in the order of the case.

    Parameters
    ----------
    net : Network
    solved : Solved
    layout : sequence of Layout
    abutments : sequence of Abutment

    Returns
    -------
    PinField
        Foot across and tilt only; foot height is in `u_foot_depth_mm` of each pin.
    """
    teeth = [abutment.tooth for abutment in abutments]
    order = sorted(range(len(layout)), key=lambda i: (teeth.index(layout[i].tooth), layout[i].number))
    carry = np.zeros((4 * len(order), len(solved.state)))
    pins = []
    for place, i in enumerate(order):
        x = solved.state[UNKNOWNS * i : UNKNOWNS * (i + 1)]
        raw = np.array([x[3], x[4], 1.0])
        size = float(np.linalg.norm(raw))
        axis = raw / size
        turn = ((np.eye(3) - np.outer(axis, axis)) / size)[:, :2]
        rows, at = slice(4 * place, 4 * place + 2), UNKNOWNS * i
        carry[rows, at : at + 3] = frame(axis)
        carry[4 * place + 2 : 4 * place + 4, at + 3 : at + 5] = frame(axis) @ turn
        spot = slice(at, at + 3)
        abutment = abutments[teeth.index(layout[i].tooth)]
        pins.append(
            Pin(
                tooth=layout[i].tooth,
                number=layout[i].number,
                foot=x[:3].copy(),
                axis=axis,
                diameter_mm=abutment.impression_pin_diameter_mm or abutment.hole_diameter_mm,
                protrusion_mm=layout[i].guide_length_mm,
                u_foot_depth_mm=math.sqrt(float(axis @ solved.covariance[spot, spot] @ axis)),
                u_diameter_mm=0.0,
                u_protrusion_mm=0.0,
            )
        )
    return PinField(tuple(pins), carry @ solved.covariance @ carry.T, "callipers")


@dataclass(frozen=True, eq=False)
class Sight:
    """How well the readings see the splay of two pins.

    Attributes
    ----------
    pins : (str, str)
    direction : {"along", "across"}
        The line between the two.
    splay_deg, u_deg : float
        Relative lean of the two in that direction; positive along = the free ends stand farther apart.
    play_deg : float
        Lean that the two holes take up together.
    """

    pins: tuple[str, str]
    direction: Literal["along", "across"]
    splay_deg: float
    u_deg: float
    play_deg: float

    @property
    def blind(self) -> bool:
        """Whether no splay of a size that matters could be told from none."""
        return one_sided() * self.u_deg > self.play_deg

    @property
    def words(self) -> str:
        """What is not seen."""
        return f"splay {self.direction} the line of pins {self.pins[0]} and {self.pins[1]}"


def sights(net: Network, solved: Solved, play: dict[str, float]) -> list[Sight]:
    """Splay of every two pins, along and across the line between them.

    Parameters
    ----------
    net : Network
    solved : Solved
    play : dict of str to float
        For each pin the lean its hole allows, rad.

    Returns
    -------
    list of Sight
    """
    found = []
    for i, j in combinations(range(len(net.names)), 2):
        names = (net.names[i], net.names[j])
        for direction, row in splay_rows(net, i, j).items():
            found.append(
                Sight(
                    names,
                    direction,
                    math.degrees(float(row @ solved.state)),
                    math.degrees(math.sqrt(float(row @ solved.covariance @ row))),
                    math.degrees(play[names[0]] + play[names[1]]),
                )
            )
    return found


def splay_rows(net: Network, i: int, j: int) -> dict[Literal["along", "across"], Float]:
    """Rows (5 n,) whose product with the state is the splay of two pins, rad."""
    a, b = (net.prior[UNKNOWNS * pin : UNKNOWNS * pin + 2] for pin in (i, j))
    along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
    across = np.array([-along[1], along[0]])
    rows = np.zeros((2, len(net.prior)))
    for row, way in zip(rows, (along, across), strict=True):
        row[UNKNOWNS * j + 3 : UNKNOWNS * j + 5] = way
        row[UNKNOWNS * i + 3 : UNKNOWNS * i + 5] = -way
    return {"along": rows[0], "across": rows[1]}


def possible(net: Network) -> list[tuple[Kind, int, int]]:
    """Every reading that can be taken between two pins of the layout."""
    pins = range(len(net.names))
    pairs = list(combinations(pins, 2))
    return [
        *(("tip", i, j) for i, j in pairs),
        *(("base", i, j) for i, j in pairs),
        *(("tip to base", i, j) for i, j in permutations(pins, 2)),
    ]


def reading_words(kind: Kind, first: str, second: str) -> str:
    """A reading in words: ``between the feet of pins 11-1 and 22-1``."""
    if kind == "tip to base":
        return f"from the free end of pin {first} to the foot of pin {second}"
    return f"between the {'free ends' if kind == 'tip' else 'feet'} of pins {first} and {second}"


def describe(reading: Reading) -> str:
    """A reading in words: ``between the feet of pins 11-1 and 22-1``."""
    return reading_words(reading.kind, *reading.pins)
