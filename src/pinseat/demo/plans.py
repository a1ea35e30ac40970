"""What each invented case states: people, practices and numbers are made up, and plainly so."""

from __future__ import annotations

from dataclasses import dataclass, field

from pinseat.demo.arch import UPPER
from pinseat.demo.bridge import CANINES, CENTRAL, LATERAL, PinSet, Retainer


@dataclass(frozen=True)
class Plan:
    """A case with a scan, before it is generated.

    Attributes
    ----------
    number, title, note : str
        The note is one paragraph on what is special about the case.
    seed : int
    teeth, missing : tuple of int
        Stretch of the upper arch that is scanned, FDI.
    retainers : tuple of Retainer
    pins : PinSet
    hole_diameter_mm, hole_depth_mm, cast_pin_diameter_mm : float
    chain : dict of str to str
        The materials, as in ``[chain]``.
    measured : tuple of dict
        Readings, as in ``[[measured]]``.
    casting : str
        Text of ``[casting]``; empty when nothing is said of it.
    scan_file : str
    """

    number: str
    title: str
    note: str
    seed: int
    teeth: tuple[int, ...]
    missing: tuple[int, ...]
    retainers: tuple[Retainer, ...]
    pins: PinSet
    hole_diameter_mm: float
    hole_depth_mm: float
    cast_pin_diameter_mm: float
    chain: dict[str, str]
    measured: tuple[dict[str, str | float], ...] = field(default=())
    casting: str = ""
    scan_file: str = "scans/upper.stl"


def _casting(water_powder: float, pattern_g: float, width_mm: float, height_mm: float) -> str:
    """Mix of the ring that was measured, an invented maker's sheet, and what balance and callipers showed."""
    return f"""# The ring of the measured mould, and the sheet of its powder: invented.
[casting]
lot = "X-01"
powder_g = 60
water_powder = {water_powder:.2f}
pattern_g = {pattern_g:.2f}
thinnest_mm = 0.55
connector_width_mm = {width_mm:.1f}
connector_height_mm = {height_mm:.1f}
sheet = [
  {{ water_powder = 0.36, setting_percent = 0.48, thermal_percent = 1.32 }},
  {{ water_powder = 0.40, setting_percent = 0.42, thermal_percent = 1.26 }},
  {{ water_powder = 0.44, setting_percent = 0.36, thermal_percent = 1.20 }},
]"""


FRONT = Plan(
    number="F-0107",
    title="a training arch: 21 missing, retainers 11 and 22",
    note=(
        "An invented case. The upper left central incisor is missing. Tooth 11 was cut for three pins, "
        "tooth 22 for two pins and a groove, all along one draw; the impression pins stand in their holes. "
        "The holes leave the cast pins room, the gap is short, and the copies are good: the bridge should "
        "go home."
    ),
    seed=107,
    teeth=UPPER,
    missing=(21,),
    retainers=(CENTRAL, LATERAL),
    pins=PinSet((0.65, 0.0), (3.0, 0.02), (0.08, 0.25), 0.08),
    hole_diameter_mm=0.70,
    hole_depth_mm=2.0,
    cast_pin_diameter_mm=0.60,
    chain={
        "impression": "addition silicone",
        "die": "silver plated",
        "pattern": "inlay wax",
        "investment": "gypsum bonded",
        "alloy": "gold type 3",
    },
    measured=(
        {
            "copy": "investment",
            "error": "scale",
            "mean": 1.68,
            "u": 0.05,
            "how": "three own test bars of this mix, invented for this example",
        },
        {
            "copy": "pattern",
            "error": "scale",
            "mean": -0.20,
            "u": 0.05,
            "how": "wax bars under the measuring microscope, invented for this example",
        },
    ),
    casting=_casting(0.40, 1.18, 3.0, 3.2),
)


SPAN = Plan(
    number="F-0114",
    title="a training arch: four incisors missing, retainers 13 and 23",
    note=(
        "An invented case. All four upper incisors are missing; both canines were cut for four pins each, "
        "with the usual play in the holes. The pins are parallel and the teeth are well cut. Something later "
        "in the chain will keep the bridge from going home, and pinseat should say what."
    ),
    seed=114,
    teeth=UPPER,
    missing=(12, 11, 21, 22),
    retainers=CANINES,
    pins=PinSet((0.65, 0.0), (3.0, 0.02), (0.03, 0.12), 0.08),
    hole_diameter_mm=0.70,
    hole_depth_mm=2.0,
    cast_pin_diameter_mm=0.60,
    chain={
        "impression": "addition silicone",
        "die": "silver plated",
        "pattern": "inlay wax",
        "investment": "gypsum bonded",
        "alloy": "gold type 4",
    },
    measured=(
        {
            "copy": "investment",
            "error": "scale",
            "mean": 1.25,
            "u": 0.05,
            "how": "three own test bars, invented for this example",
        },
    ),
    casting=_casting(0.44, 1.95, 3.0, 3.5),
)


def patch_plan(
    seed: int,
    teeth: tuple[int, ...],
    missing: tuple[int, ...],
    retainers: tuple[Retainer, ...],
    pins: PinSet,
) -> Plan:
    """A small case for trying things out over many seeds; see :func:`pinseat.demo.cases.patch`."""
    return Plan(
        number=f"P-{seed:04d}",
        title="a stretch of a training arch",
        note="An invented stretch of an arch.",
        seed=seed,
        teeth=teeth,
        missing=missing,
        retainers=retainers,
        pins=pins,
        hole_diameter_mm=pins.diameter_mm[0] + 0.05,
        hole_depth_mm=2.0,
        cast_pin_diameter_mm=pins.diameter_mm[0] - 0.05,
        chain=FRONT.chain,
        scan_file="scans/patch.stl",
    )
