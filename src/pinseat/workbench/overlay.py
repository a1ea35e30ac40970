"""What is drawn besides the surface: pins, contacts, the draw, other surfaces; and what can be marked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from pinseat.case.files import inside
from pinseat.case.lines import Place
from pinseat.case.rebuild import rebuild
from pinseat.case.teeth import arch, to_universal
from pinseat.errors import CaseError
from pinseat.ledger.pins import PinField
from pinseat.mesh.model import Mesh
from pinseat.report.orientation import upwards
from pinseat.workbench import forms
from pinseat.workbench.view import View
from pinseat.workbench.words import plain


def overlay(view: View) -> dict[str, Any]:
    """Everything light that belongs to the drawing of a case.

    Parameters
    ----------
    view : View

    Returns
    -------
    dict
        ``scan`` (names the content of the scan; empty without one), ``draw``, ``up``, ``pins``, ``contacts``,
        ``maps``, ``layers``, ``marks``, ``teeth``; points in the scan's own coordinates, mm.
    """
    survey = view.payload("survey")
    document = view.draft.document
    scan = _scan(view)
    maps = []
    if scan and survey is not None:
        stored = view.stored("survey")
        key = stored.meta.get("input", "")[:12] if stored is not None else ""
        maps.append({"name": "undercut", "title": "Undercut along the draw", "step": "survey", "key": key})
        maps += _painted(view)
    universal = document.get("notation") == "Universal"
    return {
        "scan": scan,
        "draw": survey["window"]["centre"] if survey is not None else None,
        "up": _up(survey),
        "arch": _arch(survey),
        "pins": _pins(survey, universal),
        "contacts": _contacts(survey, universal),
        "maps": maps,
        "layers": list(_layers(view)),
        "marks": list(_marks(document)),
        "teeth": _teeth(document),
    }


def _up(survey: Mapping[str, Any] | None) -> list[float] | None:
    """Which way is up on a page when looking along the draw; None where the pins do not tell."""
    if survey is None:
        return None
    field = rebuild(PinField, survey["field"])
    if len({pin.tooth for pin in field.pins}) < 2:
        return None
    nothing = Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32))
    return [float(x) for x in upwards(nothing, field, np.array(survey["window"]["centre"]))]


def _arch(survey: Mapping[str, Any] | None) -> str:
    return arch(survey["field"]["pins"][0]["tooth"]) if survey is not None else "upper"


def _scan(view: View) -> str:
    stated = view.draft.document.get("scan")
    name = stated.get("file") if isinstance(stated, Mapping) else None
    if not isinstance(stated, Mapping) or not isinstance(name, str) or name.strip() in ("", "?"):
        return ""
    try:
        state = inside(view.folder, name).stat()
    except (OSError, CaseError):
        return ""
    return f"{name} {state.st_mtime_ns} {state.st_size} {stated.get('unit', '')}"


def _painted(view: View) -> Iterator[dict[str, Any]]:
    """Coloured surfaces among the results."""
    for step in view.steps:
        for name in view.files(step):
            if name.endswith(".glb") and name != "results/survey.glb":
                changed = (view.folder / name).stat().st_mtime_ns
                words = plain(name.rsplit("/", 1)[-1].rsplit(".", 1)[0].replace("-", "_"))
                yield {"name": name, "title": words.capitalize(), "step": step, "key": str(changed)}


def _layers(view: View) -> Iterator[dict[str, Any]]:
    for step in view.steps:
        first = True
        for name in view.files(step):
            if name.endswith(".stl"):
                changed = (view.folder / name).stat().st_mtime_ns
                words = plain(name.rsplit("/", 1)[-1].rsplit(".", 1)[0].replace("-", "_"))
                yield {"name": name, "title": words, "step": step, "first": first, "key": str(changed)}
                first = False


def _pins(survey: Mapping[str, Any] | None, universal: bool) -> list[dict[str, Any]]:
    if survey is None:
        return []
    kept = ("tooth", "number", "foot", "axis", "diameter_mm", "protrusion_mm")
    return [
        {
            "name": f"{pin['tooth']}-{pin['number']}",
            "tooth_here": to_universal(pin["tooth"]) if universal else pin["tooth"],
            **{key: pin[key] for key in kept},
        }
        for pin in survey["field"]["pins"]
    ]


def _contacts(survey: Mapping[str, Any] | None, universal: bool) -> list[dict[str, Any]]:
    if survey is None:
        return []
    return [
        {
            "kind": face["kind"],
            "tooth_here": to_universal(face["tooth"]) if universal else face["tooth"],
            "point": face["point"],
        }
        for face in survey["faces"]
    ]


def _teeth(document: Mapping[str, Any]) -> list[int]:
    """The abutments, numbered as the case numbers them, then the teeth beside them."""
    stated = [
        item["tooth"]
        for item in document.get("abutments", [])
        if isinstance(item, Mapping) and isinstance(item.get("tooth"), int)
    ]
    universal = document.get("notation") == "Universal"
    beside: list[int] = []
    for tooth in stated:
        around = (tooth - 1, tooth + 1)
        beside += [
            t for t in around if t not in stated and t not in beside and (universal or 1 <= t % 10 <= 8)
        ]
    return [*dict.fromkeys(stated), *beside]


def _marks(document: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Whatever of a case can be stated by clicking on the scan."""
    for key in forms.schema()["properties"]:
        node = forms.node_at((key,))
        kind = forms.kind_of(node)
        if kind == "tables":
            yield from _marks_of((key,), node, document.get(key))
        elif kind == "table":
            held = document.get(key)
            for inner in node.get("properties", {}):
                below = forms.node_at((key, inner))
                if forms.kind_of(below) == "tables":
                    yield from _marks_of(
                        (key, inner), below, held.get(inner) if isinstance(held, Mapping) else None
                    )


def _marks_of(place: Place, node: forms.Node, held: Any) -> Iterator[dict[str, Any]]:
    item = forms.resolved(node.get("items", {}))
    properties = {key: forms.resolved(inner) for key, inner in item.get("properties", {}).items()}
    if "tooth" not in properties:
        return
    points = [key for key, inner in properties.items() if _is_point(inner)]
    lines = [key for key, inner in properties.items() if _is_point(forms.resolved(inner.get("items", {})))]
    count = len(held) if isinstance(held, list) else 0
    if place == ("pins",):
        words, base, keys = "pin", {"action": "add"}, ["foot", "tip"]
        clicks = ["where it meets the tooth", "the middle of its free end"]
        yield {
            "part": list(place),
            "count": count,
            "words": words,
            "base": base,
            "keys": keys,
            "clicks": clicks,
            "many": False,
        }
        return
    if place == ("abutments",) or not (points or lines):
        return
    kinds = properties.get("kind", {}).get("enum", [None])
    for kind in kinds:
        noun = plain(str(place[-1])).removesuffix("s")
        keys = points[:1] or lines[:1]
        yield {
            "part": list(place),
            "count": count,
            "words": f"{noun}: {kind}" if kind else noun,
            "base": {"kind": kind} if kind else {},
            "keys": keys,
            "clicks": ["the place"],
            "many": not points,
        }


def _is_point(node: forms.Node) -> bool:
    return len(node.get("prefixItems", [])) == 3
