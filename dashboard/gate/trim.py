"""A page as a role may use it: links to what is closed to it are words, buttons that it may not press are not there.

What is asked for all the same is refused at the gate; this is for the person, who would only meet refusals.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from typing import Any

from dash import Dash, dcc, html
from dash.development.base_component import Component

from dashboard.desk import signed
from dashboard.gate import roles

LINKS = (dcc.Link, html.A)
FIELDS = {
    "TextInput",
    "DayInput",
    "Tick",
    "Input",
    "Textarea",
    "Select",
    "DatePickerInput",
    "NumberInput",
    "Upload",
    "Checkbox",
    "CheckboxGroup",
}


def may_open(href: str) -> bool:
    """May whoever asks follow a link?"""
    who = signed.here()
    return who is None or roles.may_open(who.role, href)


def open_pages(pages: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """Of pages (name, path) those that whoever asks may open."""
    return [page for page in pages if may_open(page[1])]


def trimmed(layout: Callable[..., Any], app: Dash) -> Callable[..., Any]:
    """A layout that is given as its reader may use it; on one machine alone as it is."""

    def given(**address: str) -> Any:
        made, who = layout(**address), signed.here()
        if who is None or who.role == signed.MANAGER:
            return made
        return without(made, _closed(app, who.role), lambda href: roles.may_open(who.role, href))

    return given


def without(made: Any, closed: set[str], opens: Callable[[str], bool]) -> Any:
    """A tree of components without buttons whose id (or type of id) is `closed`, nor the fields of a form that has lost
    its last one; links that lead to what `opens` says no of become words. The tree given stays as it is.
    """
    if isinstance(made, list | tuple):
        return [kept for kept in (without(one, closed, opens) for one in made) if kept is not None]
    if not isinstance(made, Component):
        return made
    if _id(made) in closed:
        return None
    href = getattr(made, "href", None)
    if isinstance(made, LINKS) and isinstance(href, str) and not opens(href):
        button = "button" in str(getattr(made, "className", ""))
        return None if button else html.Span(without(getattr(made, "children", None), closed, opens))
    if not hasattr(made, "children"):
        return made
    kept = copy(made)
    kept.children = without(made.children, closed, opens)
    had = any(_id(one) in closed for one in _all(made))
    form = isinstance(made, html.Section | html.Form) or "opened" in str(getattr(made, "className", ""))
    if form and had and not any(isinstance(one, html.Button) and _id(one) for one in _all(kept)):
        kept.children = _without_fields(kept.children)
    return kept


def _without_fields(made: Any) -> Any:
    if isinstance(made, list | tuple):
        return [_without_fields(one) for one in made if type(one).__name__ not in FIELDS]
    if isinstance(made, Component) and hasattr(made, "children"):
        made.children = None if type(made.children).__name__ in FIELDS else _without_fields(made.children)
    return made


def _all(made: Any) -> list[Component]:
    if isinstance(made, list | tuple):
        return [each for one in made for each in _all(one)]
    if not isinstance(made, Component):
        return []
    return [made, *_all(getattr(made, "children", None))]


def _id(made: Component) -> str:
    told = getattr(made, "id", "")
    return str(told.get("type", "")) if isinstance(told, dict) else str(told or "")


def _closed(app: Dash, role: str) -> set[str]:
    """What sets off callbacks that a role may not, and none that it may."""
    open_: set[str] = set()
    shut: set[str] = set()
    for output, known in app.callback_map.items():
        may = role in roles.CALLBACKS.get(roles.callback_name(output, known["inputs"]), frozenset())
        (open_ if may else shut).update(roles.plain_id(str(one["id"])) for one in known["inputs"])
    return shut - open_
