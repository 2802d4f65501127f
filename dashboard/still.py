"""What stands still on a page goes to the browser as text: tables, sentences, lists, keys, links.

A page is a tree of components, and the browser gives each a state of its own, whether it ever changes or not. Here each
largest part of the tree that no callback reads or writes becomes one component, `Still`, whose inside is HTML; so that
a table of a thousand cells costs the browser one component. What stands still round fields and buttons becomes one
too, `Round`: plain elements, with places for what moves. What a test or a paper sees of a page is the tree as it was.
"""

from __future__ import annotations

from collections.abc import Callable, Container
from copy import copy
from html import escape
from typing import Any

from dash import Dash, dcc, html
from dash.development.base_component import Component

from dashboard.fields import Own

NAMES = {"className": "class", "htmlFor": "for", "colSpan": "colspan", "rowSpan": "rowspan", "dateTime": "datetime"}
TAKEN = {*NAMES, "id", "style", "title", "role", "href", "src", "alt", "scope", "lang", "dir", "start", "width"}
TAKEN |= {"height", "tabIndex", "type", "target", "download", "rel", "hidden", "open", "value", "max", "min"}
YES_OR_NO = {"hidden", "open"}
VOID = {"br", "hr", "img", "wbr"}
FEW = 3  # a part of fewer components stays as it is, unless it is a link, which costs as much as a dozen


class Still(Own):
    """An element whose inside is HTML; `told` are its attributes as React names them."""

    _type = "Still"
    TAKES = ("tag", "told", "inside")


class Round(Own):
    """Elements that stand still round components that do not: of `tree` an element is [tag, told, *inside], a part all
    still {tag, told, inside} as of `Still`, a whole number the place of one of the children.
    """

    _type = "Round"
    TAKES = ("tree", "children")


def stilled(made: Any, moving: Container[str]) -> Any:
    """A tree of components in which what stands still has become text; the tree given stays as it is.

    moving : ids that a callback reads or writes.
    """
    if isinstance(made, list | tuple):
        return [stilled(one, moving) for one in made]
    if not isinstance(made, Component):
        return made
    if _stands_still(made, moving):
        return _as_text(made) if _many(made) >= FEW or isinstance(made, dcc.Link) else made
    inside = getattr(made, "children", None)
    if inside is None or isinstance(inside, str | int | float):
        return made
    if _is_plain(made, moving):
        moves: list[Any] = []
        tree = _tree(made, moving, moves)
        return Round(tree=tree, children=moves)
    kept = copy(made)
    kept.children = stilled(inside, moving)
    return kept


def _tree(made: Any, moving: Container[str], moves: list[Any]) -> Any:
    """`Round.tree` of a part; what moves in it is put into `moves`."""
    if not isinstance(made, Component):
        return str(made)
    if _stands_still(made, moving):
        return {"tag": _tag(made), "told": _told_of(made), "inside": text(getattr(made, "children", None))}
    if not _is_plain(made, moving):
        moves.append(stilled(made, moving))
        return len(moves) - 1
    return [_tag(made), _told_of(made), *(_tree(one, moving, moves) for one in _parts(made.children))]


def _parts(made: Any) -> list[Any]:
    """The children of a component as one list, without lists in lists."""
    if isinstance(made, list | tuple):
        return [each for one in made for each in _parts(one)]
    return [] if made is None else [made]


def of(app: Dash, layout: Callable[..., Any]) -> Callable[..., Any]:
    """A page's layout that gives what stands still as text."""

    def given(**address: str) -> Any:
        return stilled(layout(**address), _moving(app))

    return given


def _moving(app: Dash) -> set[str]:
    found: set[str] = set()
    for output, known in app.callback_map.items():
        found.update(str(one["id"]) for part in ("inputs", "state") for one in known[part])
        found.update(one.rpartition(".")[0] for one in output.strip(".").split("..."))
    return found


def _stands_still(made: Any, moving: Container[str]) -> bool:
    if isinstance(made, list | tuple):
        return all(_stands_still(one, moving) for one in made)
    if made is None or isinstance(made, str | int | float):
        return True
    if not isinstance(made, Component) or not _is_plain(made, moving):
        return False
    return _stands_still(getattr(made, "children", None), moving)


def _is_plain(made: Component, moving: Container[str]) -> bool:
    """Is this an element by itself, that no callback reads or writes, whatever stands in it?"""
    if made._namespace != html.Div._namespace and not isinstance(made, dcc.Link):
        return False
    told = _told(made)
    id = told.get("id")
    if id is not None and (not isinstance(id, str) or id in moving):
        return False
    return all(name in TAKEN or name.startswith(("aria-", "data-")) for name in told)


def _told(made: Component) -> dict[str, Any]:
    props = made.to_plotly_json()["props"]
    return {name: value for name, value in props.items() if name != "children" and value is not None}


def _many(made: Any) -> int:
    if isinstance(made, list | tuple):
        return sum(_many(one) for one in made)
    return 1 + _many(getattr(made, "children", None)) if isinstance(made, Component) else 0


def _tag(made: Component) -> str:
    return "a" if isinstance(made, dcc.Link) else str(made._type).lower()


def _as_text(made: Component) -> Still:
    return Still(tag=_tag(made), told=_told_of(made), inside=text(getattr(made, "children", None)))


def _told_of(made: Component) -> dict[str, Any]:
    return _told(made) | ({"data-go": ""} if isinstance(made, dcc.Link) else {})


def text(made: Any) -> str:
    """Components that stand still as HTML."""
    if isinstance(made, list | tuple):
        return "".join(text(one) for one in made)
    if made is None:
        return ""
    if not isinstance(made, Component):
        return escape(str(made), quote=False)
    tag, told = _tag(made), "".join(_attribute(name, value) for name, value in _told(made).items())
    go = " data-go" if isinstance(made, dcc.Link) else ' loading="lazy"' if tag == "img" else ""  # drawn when seen
    within = "" if tag in VOID else f"{text(getattr(made, 'children', None))}</{tag}>"
    return f"<{tag}{told}{go}>{within}"


def _attribute(name: str, value: Any) -> str:
    if name in YES_OR_NO:
        return f" {name}" if value else ""
    if name == "style":
        value = ";".join(f"{_dashed(key)}:{one}" for key, one in value.items())
    return f' {NAMES.get(name, name.lower())}="{escape(str(value))}"'


def _dashed(name: str) -> str:
    """`gridColumn` as a style sheet says it, `grid-column`."""
    return name if name.startswith("--") else "".join(f"-{c.lower()}" if c.isupper() else c for c in name)
