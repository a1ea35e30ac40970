"""An invented case as the text of its files."""

from __future__ import annotations

import json
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from pinseat.demo.bench import Bench
from pinseat.demo.plans import Plan
from pinseat.demo.truth import Truth

Float = NDArray[np.float64]
_HEAD = "# An invented case: no patient, no practice, no real numbers.\nschema = 1\n"


def scanned_case(plan: Plan, truth: Truth) -> str:
    """``case.toml`` of a case with a scan.

    Parameters
    ----------
    plan : Plan
    truth : Truth
        Gives a point on each abutment, and the picks.

    Returns
    -------
    str
    """
    blocks = [_opening(plan.number, plan.title, plan.missing)]
    for retainer in plan.retainers:
        lines = [
            "[[abutments]]",
            f"tooth = {retainer.tooth}",
            f"pins = {len(retainer.pins)}",
            f"at = {_point(truth.middles[retainer.tooth])}",
            f"hole_diameter_mm = {plan.hole_diameter_mm:.3f}",
            f"hole_depth_mm = {plan.hole_depth_mm:.2f}",
            f"cast_pin_diameter_mm = {plan.cast_pin_diameter_mm:.3f}",
            f"impression_pin_diameter_mm = {plan.pins.diameter_mm[0]:.3f}",
            f"impression_pin_length_mm = {plan.hole_depth_mm + plan.pins.protrusion_mm[0]:.2f}",
        ]
        blocks.append("\n".join(lines))
    blocks.append(f'[scan]\nfile = "{plan.scan_file}"\nunit = "mm"\ntrueness_um = 10')
    blocks.append(
        "# Where casting and tooth meet besides the pins, picked on the scan.\n"
        + "\n\n".join(
            f'[[contacts]]\nkind = "{face.kind}"\ntooth = {face.tooth}\npoint = {_point(face.point)}'
            for face in truth.faces
        )
    )
    blocks.append(_table("chain", plan.chain))
    blocks.extend(_table("[measured]", reading) for reading in plan.measured)
    blocks.extend([plan.casting] if plan.casting else [])
    return "\n\n".join(blocks) + "\n"


def bench_case(bench: Bench) -> str:
    """``case.toml`` of a case from callipers alone.

    Parameters
    ----------
    bench : Bench

    Returns
    -------
    str
    """
    blocks = [_opening(bench.number, bench.title, bench.missing)]
    for tooth in bench.teeth:
        lines = [
            "[[abutments]]",
            f"tooth = {tooth}",
            f"pins = {sum(pin.tooth == tooth for pin in bench.pins)}",
            f"hole_diameter_mm = {bench.hole_diameter_mm:.3f}",
            f"hole_depth_mm = {bench.hole_depth_mm:.2f}",
            f"cast_pin_diameter_mm = {bench.cast_pin_diameter_mm:.3f}",
        ]
        blocks.append("\n".join(lines))
    layout = "\n".join(
        f"  {{ tooth = {pin.tooth}, number = {pin.number}, x_mm = {x:.1f}, y_mm = {y:.1f}, "
        f"guide_length_mm = {bench.guide_length_mm:.1f} }},"
        for pin, (x, y) in zip(bench.pins, bench.layout_mm, strict=True)
    )
    blocks.append(
        "# Where the pins stand, with a ruler on a sketch.\n"
        f"[callipers]\nu_layout_mm = {bench.u_layout_mm}\nlayout = [\n{layout}\n]"
    )
    for reading in bench.readings:
        first, second = reading.pins
        repeats = ", ".join(f"{mm:.2f}" for mm in reading.repeats_mm)
        blocks.append(
            f'[[callipers.readings]]\nkind = "{reading.kind}"\npins = ["{first}", "{second}"]\n'
            f"mm = [{repeats}]\nu_mm = {bench.u_reading_mm}"
        )
    blocks.append(_table("chain", bench.chain))
    return "\n\n".join(blocks) + "\n"


def truth_text(truth: Truth) -> str:
    """What is known about the scan, as JSON.

    Parameters
    ----------
    truth : Truth

    Returns
    -------
    str
    """
    content = {
        "note": "known because it was invented; scan coordinates, mm",
        "pins": [
            {
                "name": pin.name,
                "foot": _list(pin.foot),
                "axis": _list(pin.axis),
                "diameter_mm": round(pin.diameter_mm, 6),
                "protrusion_mm": round(pin.protrusion_mm, 6),
            }
            for pin in truth.pins
        ],
        "faces": [
            {"kind": f.kind, "tooth": f.tooth, "point": _list(f.point), "normal": _list(f.normal)}
            for f in truth.faces
        ],
        "middles": {str(tooth): _list(point) for tooth, point in truth.middles.items()},
        "draw": _list(truth.draw),
        "holes": [{"centre": _list(c), "radius_mm": round(r, 4)} for c, r in truth.holes],
        "edge_mm": truth.edge_mm,
        "noise_um": truth.noise_um,
        "warp_um": truth.warp_um,
        "rotation": [_list(row) for row in truth.rotation],
        "shift": _list(truth.shift),
    }
    return json.dumps(content, indent=1) + "\n"


def _opening(number: str, title: str, missing: Iterable[int]) -> str:
    teeth = ", ".join(str(tooth) for tooth in missing)
    return f'{_HEAD}\nnumber = "{number}"\ntitle = "{title}"\nnotation = "FDI"\nmissing = [{teeth}]'


def _table(name: str, content: dict[str, str] | dict[str, str | float]) -> str:
    lines = [f'{k} = "{v}"' if isinstance(v, str) else f"{k} = {v:.2f}" for k, v in content.items()]
    return "\n".join([f"[{name}]", *lines])


def _point(point: Float) -> str:
    return "[" + ", ".join(f"{x:.3f}" for x in point) + "]"


def _list(point: Float) -> list[float]:
    return [round(float(x), 6) for x in point]
