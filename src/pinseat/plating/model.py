"""What the field is solved for, and what it gives.

Signs: a cathodic current density is positive *into* the metal; thickness is positive into the cup. Potentials
are those of the liquid against the metal of the pieces on the main supply, in volts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Int = NDArray[np.int64]

Law = Literal["linear", "tafel", "butler-volmer"]
Role = Literal["cathode", "anode"]
Band = Literal["floor", "wall", "rim", "pin", "margin"]

BANDS: tuple[Band, ...] = ("floor", "wall", "rim", "pin", "margin")
"""Bands of a cup, in the order of their numbers; -1 is the last cell at the wax edge, never reported."""
RUBBER = -1
"""Number of an electrode that is none: insulating."""


@dataclass(frozen=True)
class Kinetics:
    """How much current an electrode passes at an overpotential ``v`` = liquid minus metal, in V.

    ======================  =====================================================
    ``linear``              ``i = v / resistance``
    ``tafel``               ``i = exchange exp(cathodic F v / RT)``
    ``butler-volmer``       ``i = exchange (exp(cathodic F v / RT) - exp(-anodic F v / RT))``
    ======================  =====================================================

    Attributes
    ----------
    law : {"linear", "tafel", "butler-volmer"}
    resistance_ohm_m2 : float
        Of the linear law.
    exchange_A_m2 : float
        Exchange current density of the other two.
    cathodic, anodic : float
        Transfer coefficients times the electrons of the step.
    temperature_K : float
    """

    law: Law = "butler-volmer"
    resistance_ohm_m2: float = 5e-4
    exchange_A_m2: float = 10.0
    cathodic: float = 0.5
    anodic: float = 0.5
    temperature_K: float = 298.15


@dataclass(frozen=True)
class Electrolyte:
    """The liquid and what happens at the metal in it.

    Attributes
    ----------
    conductivity_S_m : float
    cathode, anode : Kinetics
    deposit_mm3_per_C : float
        Metal grown for each coulomb, efficiency included: ``efficiency M / (n F rho)``.
    density_g_cm3 : float
        Of the deposit.
    limiting_A_m2 : float
        Current density at which the metal ions at the surface run out; infinite when it is not looked at.
    """

    conductivity_S_m: float = 15.0
    cathode: Kinetics = field(default_factory=Kinetics)
    anode: Kinetics = field(default_factory=Kinetics)
    deposit_mm3_per_C: float = 0.10647382
    density_g_cm3: float = 10.5
    limiting_A_m2: float = float("inf")


@dataclass(frozen=True)
class Electrode:
    """A piece of metal in the liquid.

    Attributes
    ----------
    name : str
        ``"21"``, ``"saddle"``, ``"anode"``, ``"tail 21"``.
    role : {"cathode", "anode"}
    piece : bool
        Whether it is wanted there: a piece of the die. False for tails, flanges, thieves and anodes.
    with_ : str
        Another electrode that it hangs together with in metal, so both have one potential: the piece that a
        bare tail leads to. Empty when it stands alone.
    sheet_ohm : float
        Resistance of the metallising film per square; 0 for good metal. The lead touches it at `contact`.
    contact : (3,) array or None
        Where the lead touches a resistive film, mm.
    covered : (k, 3) array or None
        Places where metal has grown on the film by now, mm.
    """

    name: str
    role: Role
    piece: bool = False
    with_: str = ""
    sheet_ohm: float = 0.0
    contact: Float | None = None
    covered: Float | None = None


@dataclass(frozen=True)
class Drive:
    """What the supply is set to: a constant current, or a constant voltage.

    Attributes
    ----------
    current_mA : float or None
        From all anodes to all cathodes on the main supply, which have one potential.
    voltage_V : float or None
        Between anodes and cathodes of the main supply; give one of the two.
    own_mA : mapping of str to float
        Electrodes on channels of their own: the current of each, positive in the sense of its role (a cathode
        takes it, an anode gives it).
    """

    current_mA: float | None = None
    voltage_V: float | None = None
    own_mA: Mapping[str, float] = field(default_factory=dict)


class Body(Protocol):
    """Something solid in the bath: the impression, a pin, a rod, a plate, a shield."""

    def distance(self, points: Float) -> Float:
        """Signed distance of points (n, 3), mm; positive in the liquid, exact near the surface."""
        ...

    def electrode(self, points: Float) -> Int:
        """Number of the electrode that its surface is at points (n, 3) close by; RUBBER for none."""
        ...

    def metal_distance(self, points: Float) -> Float:
        """About how far points (n, 3) are from metal on it, mm; infinite without any."""
        ...


@dataclass(frozen=True, eq=False)
class Geometry:
    """Everything solid, in a box of liquid.

    Attributes
    ----------
    low, high : (3,) arrays
        Corners of the box, mm.
    bodies : tuple of Body
        The liquid is what no body fills.
    electrodes : tuple of Electrode
        Bodies and borders speak of them by number.
    borders : tuple of 6 int
        Electrode of each side of the box: -x, +x, -y, +y, -z, +z; :data:`RUBBER` for insulating (or a plane
        of symmetry).
    window : ((3,) array, (3,) array) or None
        Corners of a box; the borders are electrodes only inside it: an anode plate smaller than the wall.
    metal_mm, rubber_mm, bath_mm : float
        Cell edge at metal, at insulating surfaces, and the largest; each is rounded down to ``bath_mm`` over
        a power of two.
    band_mm : float
        How thick the layer of finest cells on metal is; as thick as the deposit when it is to grow.
    zone : callable or None
        Band number (index into :data:`BANDS`, -1 for none) of points (n, 3) on electrodes (n,).
    sharp : bool
        Whether the bodies have edges whose area is to be kept; what was scanned has none worth the time.
    grading : float
        Cells are twice as large beyond this many of their own edges from a wall. It decides how well the
        resistance of the bath is met (a disk's within 2 % at 2, 1 % at 3); what a cup does inside hardly
        depends on it.
    """

    low: Float
    high: Float
    bodies: tuple[Body, ...]
    electrodes: tuple[Electrode, ...]
    borders: tuple[int, int, int, int, int, int] = (RUBBER,) * 6
    window: tuple[Float, Float] | None = None
    metal_mm: float = 0.2
    rubber_mm: float = 0.4
    bath_mm: float = 3.2
    band_mm: float = 0.0
    zone: Zone | None = None
    sharp: bool = True
    grading: float = 2.0


class Zone(Protocol):
    """Tells the bands of a piece apart."""

    def __call__(self, points: Float, electrode: Int) -> Int:
        """Band number of points (n, 3) on the surface of electrodes (n,)."""
        ...

    def from_edge_mm(self, points: Float) -> Float:
        """How far points (n, 3) on the pieces are from the wax edge."""
        ...

    def for_cells(self, metal_mm: float) -> Zone:
        """The same for another cell edge: the last cell at the wax edge is in no band."""
        ...


def with_cells(geometry: Geometry, metal_mm: float) -> Geometry:
    """The same with another cell edge at metal, twice as large at rubber."""
    zone = geometry.zone.for_cells(metal_mm) if geometry.zone is not None else None
    return replace(geometry, metal_mm=metal_mm, rubber_mm=2.0 * metal_mm, zone=zone)


@dataclass(frozen=True, eq=False)
class Surface:
    """The metal surface as the solver sees it, one element for each cut cell and electrode.

    Attributes
    ----------
    point : (n, 3) array, mm
    normal : (n, 3) array
        Unit vector into the liquid.
    area_mm2 : (n,) array
    electrode : (n,) int array
    band : (n,) int array
        Index into :data:`BANDS`; -1 where nothing is reported.
    """

    point: Float
    normal: Float
    area_mm2: Float
    electrode: Int
    band: Int


@dataclass(frozen=True, eq=False)
class Field:
    """A converged solution.

    Attributes
    ----------
    electrodes : tuple of Electrode
    surface : Surface
    density_A_m2 : (n,) array
        Into the metal, for each element of the surface.
    overpotential_V : (n,) array
        Liquid minus metal.
    current_mA : dict of str to float
        What each electrode takes (cathode) or gives (anode).
    area_mm2 : dict of str to float
    potential_V : dict of str to float
        Of the metal of each electrode.
    voltage_V : float
        Of the main supply; NaN without anode.
    cells : int
    residual : float
        Sum of all imbalances of current over the current that flows.
    newton, cg : int
        Steps taken, linear iterations in all.
    """

    electrodes: tuple[Electrode, ...]
    surface: Surface
    density_A_m2: Float
    overpotential_V: Float
    current_mA: dict[str, float]
    area_mm2: dict[str, float]
    potential_V: dict[str, float]
    voltage_V: float
    cells: int
    residual: float
    newton: int
    cg: int

    def mean_A_m2(self, name: str, band: Band | None = None) -> float:
        """Area mean of the density on an electrode, or on one band of it; NaN where there is none."""
        where = self.surface.electrode == [e.name for e in self.electrodes].index(name)
        if band is not None:
            where &= self.surface.band == BANDS.index(band)
        area = self.surface.area_mm2[where]
        return float(self.density_A_m2[where] @ area / area.sum()) if area.sum() > 0.0 else float("nan")


@dataclass(frozen=True)
class Stage:
    """One step of a programme.

    Attributes
    ----------
    hours : float
    drive : Drive
    what : str
        In bench words: ``"start"``, ``"main"``.
    bare : bool
        True while the film is still bare: its sheet resistance counts.
    wax_mm : float
        From this stage on a further band of the pieces, so wide from their wax edge, is covered.
    """

    hours: float
    drive: Drive
    what: str = "main"
    bare: bool = False
    wax_mm: float = 0.0


@dataclass(frozen=True, eq=False)
class Growth:
    """Thickness against the clock.

    Attributes
    ----------
    surface : Surface
        Of the bare pieces: rows are places on the surface before anything grew.
    hours : (k,) array
        From 0.
    thickness_mm : (k, n) array
        Of each place at each hour.
    density_A_m2 : (k, n) array
        Local density at each hour.
    last : Field
        At the end.
    first : Field
        At the beginning.
    minimum_mm, mean_mm, rim_mm : (k,) arrays
        Over the reported bands of all pieces: smallest, area mean, area mean of the rim (NaN without rim).
    thinnest : (3,) array
        Where the minimum is at the end, mm.
    thinnest_piece : str
    hours_95, hours_100 : float
        Until 95 % and 100 % of the reported area have `wanted_mm`; carried on at the last rates when the
        programme ends before.
    wanted_mm : float
    charge_C : float
        Through the cathodes.
    grown_mm3 : float
        Metal by the geometry: liquid displaced.
    expected_mm3 : float
        Metal by the charge (Faraday, efficiency).
    mass_g, wasted_g : float
        On everything; on what is no piece (tails, flange, thief).
    mass_by_g : dict of str to float
        On each cathode.
    grown_by_mm3 : dict of str to float
        Metal by the geometry near each cathode; beside `mass_by_g` it tells how well the books hold there.
    correction : float
        By how much the metal of a step differed at most from what the densities at its beginning sweep: what
        the curvature within a step, the wax edge and the cut cells leave open before growth is held to the
        charge.
    """

    surface: Surface
    hours: Float
    thickness_mm: Float
    density_A_m2: Float
    first: Field
    last: Field
    minimum_mm: Float
    mean_mm: Float
    rim_mm: Float
    thinnest: Float
    thinnest_piece: str
    hours_95: float
    hours_100: float
    wanted_mm: float
    charge_C: float
    grown_mm3: float
    expected_mm3: float
    mass_g: float
    wasted_g: float
    mass_by_g: dict[str, float]
    grown_by_mm3: dict[str, float]
    correction: float

    @property
    def closure(self) -> float:
        """Metal by geometry over metal by charge, minus 1."""
        return self.grown_mm3 / self.expected_mm3 - 1.0 if self.expected_mm3 else 0.0
