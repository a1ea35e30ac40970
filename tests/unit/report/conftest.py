"""Invented results for the report: plausible numbers, nobody's case."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest

from pinseat.case.model import Case
from pinseat.casting.model import CastingResult
from pinseat.ledger.faces import Face
from pinseat.ledger.findings import Finding
from pinseat.ledger.pins import Pin, PinField
from pinseat.ledger.rows import Entry, FitLedger, Row
from pinseat.mesh.model import Mesh
from pinseat.report.inputs import ScanPart
from pinseat.seating.model import Chance, Lever, SeatingResult, Share
from pinseat.survey.model import DrawWindow, PinFit, Rejected, SurveyResult

META = {
    "code version": "pinseat 0.1.0",
    "input hash": "5d1f3c77a0b94e26",
    "reference data": "a1c09be2",
}


@dataclass(frozen=True)
class Made:
    """One invented case with all its results."""

    case: Case
    scan: ScanPart | None
    mesh: Mesh | None
    survey: SurveyResult
    casting: CastingResult
    seating: SeatingResult

    def results(self) -> dict[str, object]:
        return {"scan": self.scan, "survey": self.survey, "casting": self.casting, "seating": self.seating}


def arch_point(tooth: int) -> np.ndarray:
    """A place on a parabola for each tooth, mm."""
    place = tooth % 10 * (-1.0 if tooth // 10 in (1, 4) else 1.0)
    x = 7.2 * (place - 0.5 * np.sign(place))
    return np.array([x, -0.018 * x**2, 0.0])


def invented_case(pins: dict[int, int], *, title: str, scanned: bool) -> Case:
    abutments = [
        {
            "tooth": tooth,
            "pins": count,
            "hole_diameter_mm": 0.70,
            "hole_depth_mm": 2.5,
            "cast_pin_diameter_mm": 0.62,
        }
        for tooth, count in pins.items()
    ]
    return Case.model_validate(
        {
            "number": "2041-7",
            "title": title,
            "missing": [21],
            "abutments": abutments,
            "scan": {"file": "scans/upper.stl", "unit": "mm"} if scanned else None,
        }
    )


def invented_pins(pins: dict[int, int], *, lean_deg: float, u_tilt_deg: float, basis: str) -> PinField:
    draw = np.random.default_rng(4)
    made = []
    for tooth, count in pins.items():
        for number in range(1, count + 1):
            turn = 2.0 * math.pi * number / max(count, 2)
            foot = arch_point(tooth) + np.array([2.2 * math.cos(turn), 1.6 * math.sin(turn), 6.0])
            axis = np.array([*np.radians(lean_deg) * draw.standard_normal(2), 1.0])
            made.append(
                Pin(tooth, number, foot, axis / np.linalg.norm(axis), 0.648, 3.02, 0.02, 0.004, 0.021)
            )
    n = len(made)
    blocks = np.tile(
        [0.004**2, 0.004**2, np.radians(u_tilt_deg) ** 2, (1.4 * np.radians(u_tilt_deg)) ** 2], n
    )
    return PinField(tuple(made), np.diag(blocks), basis)


def invented_survey(pins: dict[int, int], *, size_deg: float = 0.84, basis: str = "scan") -> SurveyResult:
    u = 0.11 if basis == "scan" else 0.6
    field = invented_pins(pins, lean_deg=0.35 if size_deg > 0 else 1.6, u_tilt_deg=u, basis=basis)
    names = tuple(pin.name for pin in field.pins)
    angle = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    outline = (
        size_deg * np.stack([1.3 * np.cos(angle), np.sin(angle)], axis=1)
        if size_deg > 0
        else np.zeros((0, 2))
    )
    window = DrawWindow(
        np.array([0.0, 0.0, 1.0]),
        size_deg,
        0.14,
        outline,
        names[:2],
        dict.fromkeys(names, 1.62),
        2.0 * max(-size_deg, 0.0),
        {},
    )
    findings = [
        Finding(
            "survey.fit", f"pin {name}", "the cylinder fits its wall", "clear", 9.1, 0.4, "um", 25.0, "noise"
        )
        for name in names
    ]
    findings.append(
        Finding(
            "survey.coverage",
            f"pin {names[-1]}",
            "the wall was seen from one side only",
            "caution",
            0.44,
            None,
            "",
            0.5,
            "common practice",
            "scan this pin once more from the tongue side",
        )
    )
    if size_deg < 0:
        findings.append(
            Finding(
                "survey.draw",
                "",
                "no single draw serves all pins",
                "stop",
                -size_deg,
                0.14,
                "deg",
                0.0,
                "the holes' clearance over their depth",
                f"widen the hole of pin {names[0]} or recut it along the draw",
            )
        )
    faces = tuple(
        Face("margin", tooth, arch_point(tooth), np.array([0.0, 0.0, 1.0]), "assumed from crown size")
        for tooth in pins
    )
    fits = tuple(PinFit(name, 9.1, 0.81, 640, 0.12, 0.11, False) for name in names)
    rejected = (Rejected(np.zeros(3), "a cusp: 4.1 mm wide"), Rejected(np.zeros(3), "a speck: 0.3 mm tall"))
    blind = () if basis == "scan" else ("splay of pin 11-1 against 22-1 out of their plane",)
    return SurveyResult(field, fits, rejected, window, (), faces, blind, tuple(findings))


def invented_casting() -> CastingResult:
    memory, common = "Craig, Restorative Dental Materials, impression chapter", "bench custom; no source"

    def row(
        copy: str, route: str, scale: float, u_scale: float, position: float, basis: str, source: str
    ) -> Row:
        return Row(
            copy,
            route,
            Entry(scale, u_scale, "%", basis, source),  # type: ignore[arg-type]
            Entry(0.0, position, "um", "assumed", "no figure found; range 5 to 20"),
            Entry(0.0, 0.11, "deg", "assumed", "no figure found; range 0.05 to 0.3"),
            Entry(4.0, 0.8 * position, "um", "common practice", common),
        )

    rows = (
        row("impression", "addition silicone", -0.155, 0.035, 12.0, "from memory", memory),
        row("die", "silver plated", 0.0, 0.115, 8.0, "published", "J Prosthet Dent, silver dies"),
        row("pattern", "inlay wax", -0.2, 0.12, 15.0, "common practice", common),
        row("investment", "gypsum bonded", 1.55, 0.09, 4.0, "measured here", "ring gauge, 12 March"),
        row("alloy", "gold type 3", -1.42, 0.05, 3.0, "from memory", "ANSI/ADA No. 5 round robin"),
    )
    net = Entry(-0.24, 0.2, "%", "assumed", "law of propagation")
    findings = (
        Finding("casting.net", "", "the net scale is within what the span allows", "clear", -0.24, 0.2, "%"),
        Finding(
            "casting.assumed",
            "pattern",
            "the pattern's scale is assumed and counts",
            "caution",
            -0.2,
            0.12,
            "%",
            do="measure one test casting of your own",
        ),
    )
    return CastingResult(FitLedger(rows, net), 18.43, -44.2, 37.0, findings)


LEVERS = (
    ("Ream the holes of 11 to 0.75 mm", 0.081, 17.0),
    ("Take the net scale from one test casting", 0.042, 9.4),
    ("Shorten the cast pins by 0.1 mm", 0.0031, 0.8),
)
GROUPS = (
    "net scale",
    "tilt of the pins in the die",
    "position",
    "survey of the holes",
    "depth",
    "hole diameter",
)


def invented_seating(verdict: str, p: float, *, never: float = 0.01, trials: int = 40000) -> SeatingResult:
    se = math.sqrt(p * (1.0 - p) / trials)
    now = Chance(p, se)
    edges = np.linspace(0.0, 400.0, 41)
    centre = 70.0 if p > 0.5 else 190.0
    density = np.exp(-0.5 * ((edges[:-1] + 5.0 - centre) / 45.0) ** 2)
    count = np.floor(density / density.sum() * trials * (1.0 - never)).astype(np.int64)
    quantiles = np.array([0.05, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99])
    opening = np.where(quantiles <= 1.0 - never, centre + 60.0 * (quantiles - 0.5), np.inf)
    levers = tuple(
        Lever(change, now, Chance(min(p + gain, 1.0), se), gain, 0.0011, less)
        for change, gain, less in LEVERS
    )
    shares = tuple(Share(group, 0.62 / (i + 1), 0.02) for i, group in enumerate(GROUPS))
    return SeatingResult(
        verdict,  # type: ignore[arg-type]
        f"{100 * p:.1f} of 100 virtual bridges go home, against 90 wanted",
        now,
        Chance(0.6 * p, se),
        0.90,
        120.0,
        50.0,
        trials,
        7,
        opening,
        quantiles,
        edges,
        count,
        opening - 120.0,
        Chance(never, math.sqrt(never * (1.0 - never) / trials)),
        shares,
        levers,
        (),
    )


def wavy_mesh(pins: dict[int, int]) -> Mesh:
    """A small surface under the pins, enough for a picture."""
    x, y = np.meshgrid(np.linspace(-30.0, 30.0, 61), np.linspace(-24.0, 10.0, 35))
    ridge = np.exp(-(((y + 0.018 * x**2) / 4.0) ** 2))
    vertices = np.stack([x.ravel(), y.ravel(), (6.0 * ridge).ravel()], axis=1)
    corner = (np.arange(34)[:, None] * 61 + np.arange(60)[None, :]).ravel()
    faces = np.concatenate(
        [np.stack([corner, corner + 1, corner + 62], 1), np.stack([corner, corner + 62, corner + 61], 1)]
    )
    return Mesh(vertices, faces.astype(np.int32))


FRONT = {11: 3, 22: 2}


def make(
    verdict: str = "goes home",
    p: float = 0.962,
    *,
    pins: dict[int, int] | None = None,
    scanned: bool = True,
    size_deg: float = 0.84,
    title: str = "Upper front, three and two pins",
    never: float = 0.01,
) -> Made:
    pins = FRONT if pins is None else pins
    scan = ScanPart(
        "scans/upper.stl",
        "binary STL",
        "mm",
        301224,
        ("Two holes in the rim.", "Edges about 0.12 mm."),
        ("One speck of 40 triangles left out.",),
    )
    return Made(
        invented_case(pins, title=title, scanned=scanned),
        scan if scanned else None,
        wavy_mesh(pins) if scanned else None,
        invented_survey(pins, size_deg=size_deg, basis="scan" if scanned else "callipers"),
        invented_casting(),
        invented_seating(verdict, p, never=never),
    )


def crowded() -> Made:
    """Twelve pins, no window, no bridge goes on, every pin with a finding, long names everywhere."""
    made = make("will bind", 0.0, pins={13: 6, 23: 6}, size_deg=-0.42, never=1.0, title="Überlang " * 33)
    extra = tuple(
        Finding(
            f"survey.extra{i}",
            f"pin {13 if i % 2 else 23}-{i % 6 + 1}",
            "the hole leans against its neighbours by more than a pin's clearance over its engaged length",
            "stop" if i % 3 else "cannot tell",
            0.62 + 0.01 * i,
            0.1,
            "deg",
            0.44,
            "clearance over engaged length of the hole as drilled",
            "recut the hole along the draw, or give this pin up and cut a groove in its place",
        )
        for i in range(30)
    )
    survey = replace(made.survey, findings=made.survey.findings + extra, blind=("splay out of plane",) * 6)
    seating = replace(
        made.seating, levers=(), opening_um=np.full(7, np.inf), clearance_lacking_um=np.full(7, 900.0)
    )
    return replace(made, survey=survey, seating=seating)


@pytest.fixture(scope="session")
def home() -> Made:
    return make()


@pytest.fixture(scope="session")
def binds() -> Made:
    return make("will bind", 0.21, size_deg=-0.42, never=0.35)


@pytest.fixture(scope="session")
def unknown() -> Made:
    return make("cannot tell", 0.74, scanned=False)


@pytest.fixture(scope="session")
def twelve() -> Made:
    return crowded()


@pytest.fixture(scope="session")
def many() -> Made:
    return make("will bind", 0.3, pins=dict.fromkeys((14, 12, 11, 21, 22, 24), 6))


@pytest.fixture(scope="session")
def single() -> Made:
    return make(pins={46: 1})
