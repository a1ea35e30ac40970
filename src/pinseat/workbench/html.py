"""Tags as nested calls; every word in between is escaped, so nothing a person typed can become a tag."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from markupsafe import Markup, escape

_VOID = {"input", "br", "hr", "img", "link", "meta", "col"}

Child = str | Markup | Iterable[Any] | None


def tag(name: str, /, *children: Child, **attributes: Any) -> Markup:
    """One element.

    Parameters
    ----------
    name : str
    *children : words, elements, or lists of them
        None is left out.
    **attributes : object
        ``class_`` and ``for_`` lose their underscore, others get a hyphen for each one; True stands bare,
        None and False are left out.

    Returns
    -------
    Markup

    Examples
    --------
    >>> tag("p", "1 < 2", class_="small", data_at=3)
    Markup('<p class="small" data-at="3">1 &lt; 2</p>')
    """
    said = "".join(
        f" {key.rstrip('_').replace('_', '-')}" + ("" if value is True else f'="{escape(value)}"')
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    if name in _VOID:
        return Markup(f"<{name}{said}>")
    return Markup(f"<{name}{said}>{_joined(children)}</{name}>")


def _joined(children: Iterable[Any]) -> str:
    parts = []
    for child in children:
        if child is None:
            continue
        if isinstance(child, str):  # Markup is one, and stays as it is
            parts.append(str(escape(child)))
        else:
            parts.append(_joined(child))
    return "".join(parts)


def page(title: str, scripts: Iterable[str], *body: Child, kind: str = "", ahead: Iterable[str] = ()) -> str:
    """A whole page with its own style and modules.

    Parameters
    ----------
    title : str
    scripts : iterable of str
        Addresses of ES modules.
    *body : elements
    kind : str
        Class of the body.
    ahead : iterable of str
        Addresses of further modules that can be fetched at once.
    """
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"),
        tag("title", title),
        tag("link", rel="icon", href="data:,"),
        tag("script", src="/static/theme.js"),
        tag("link", rel="stylesheet", href="/kit/fonts.css"),
        tag("link", rel="stylesheet", href="/static/bench.css"),
        [tag("link", rel="modulepreload", href=module) for module in ahead],
        [tag("script", type="module", src=script) for script in scripts],
    )
    return Markup("<!doctype html>") + tag("html", head, tag("body", *body, class_=kind or None), lang="en")
