"""Is this installation sound? Versions, compiled kernels, and two values that are not ours."""

from __future__ import annotations

import platform
from dataclasses import dataclass
from importlib.metadata import version

import numpy as np

from pinseat.chain.version import code_version
from pinseat.errors import PinseatError
from pinseat.ledger.pins import frame
from pinseat.numerics.contact import Contact, disc_rows, solve_lacking
from pinseat.numerics.counter import normals

LIBRARIES = ("numpy", "scipy", "numba", "trimesh", "scikit-image", "pydantic", "matplotlib", "typst")


def examine() -> None:
    """Print the state of the installation.

    Raises
    ------
    PinseatError
        If a computed value is not the published one: then nothing this installation says may be trusted.
    """
    print(f"pinseat {code_version()}, Python {platform.python_version()} on {platform.system()}")
    print("\n".join(f"  {name} {version(name)}" for name in LIBRARIES))
    print("Kernels: compiled on first use, which takes some seconds; then kept.")
    for check in (_fastener(), _sum()):
        good = abs(check.got - check.wanted) <= check.within
        print(f"  {'right' if good else 'WRONG'}  {check.says}")
        print(f"         {check.got:.4g} {check.unit}here, {check.wanted:.4g} {check.unit}in {check.source}")
        if not good:
            raise PinseatError(
                "this installation computes a published value wrongly",
                value=f"{check.got:.6g}",
                limit=f"{check.wanted:.6g} within {check.within:g}",
                do="install it anew with the pinned versions, and trust no result until doctor is content",
            )
    print("Sound.")


@dataclass(frozen=True)
class Check:
    """A computed value beside one that is not ours."""

    says: str
    got: float
    wanted: float
    within: float
    unit: str
    source: str


def _fastener() -> Check:
    return Check(
        says="hole for a 6.00 mm pin, 0.22 mm position tolerance in both parts",
        got=fixed_fastener_hole_mm(6.0, 0.22),
        wanted=6.44,
        within=1e-6,
        unit="mm ",
        source="ASME Y14.5, appendix B, fixed fasteners (hole size from memory)",
    )


def _sum() -> Check:
    return Check(
        says="half-width that holds 95 % of the sums of four standard normals",
        got=sum_of_four_normals(),
        wanted=3.92,
        within=0.02,
        unit="",
        source="JCGM 101:2008, 9.2.2 (from memory; also 2 x 1.96)",
    )


def fixed_fastener_hole_mm(pin_mm: float, tolerance_mm: float) -> float:
    """Hole diameter that just admits two pins when both parts use their whole position tolerance.

    Two pins 20 mm apart, each half a tolerance too far out, and their holes each half a tolerance too far in;
    the hole is as wide as the pin and the contact kernel says what clearance is lacking.
    """
    axis = np.array([0.0, 0.0, 1.0])
    feet = np.array([[-10.0, 0.0, 0.0], [10.0, 0.0, 0.0]])
    rows = disc_rows(feet, np.stack([frame(axis)] * 2), np.zeros(3))
    contact = Contact(rows, np.zeros((0, 6)), np.zeros(0, dtype=bool))
    y = np.array([[-tolerance_mm, 0.0, tolerance_mm, 0.0, 0.0, 0.0]])
    lacking, _ = solve_lacking(contact, y, 0.1)
    return pin_mm + 2.0 * float(lacking[0])


def sum_of_four_normals(trials: int = 200_000) -> float:
    """Half-width of the shortest interval that holds 95 % of the sums, by the kernel's own random numbers."""
    sums = np.sort(normals(1, 0, 0, trials, 4).sum(axis=1))
    inside = int(0.95 * trials)
    return float(np.min(sums[inside:] - sums[:-inside])) / 2.0
