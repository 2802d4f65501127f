"""Fields of our own: a list to choose from, a line to write on, a day, a box to tick, as the browser itself has them.

All are made in assets/fields.js. A phone shows its own picker and the keyboard its own way through a list; nothing is
loaded for it.
"""

from __future__ import annotations

from typing import Any

from dash.development.base_component import Component


class Own(Component):
    """A component that a script of ours makes; what it takes stands in `TAKES`, and whatever begins with aria-."""

    _namespace = "truerun_parts"
    TAKES: tuple[str, ...] = ()

    def __init__(self, **props: Any) -> None:
        self._prop_names = list(self.TAKES)
        self._valid_wildcard_attributes: list[str] = ["aria-"]
        self.available_properties = list(self.TAKES)
        self.available_wildcard_properties: list[str] = ["aria-"]
        given = {name: value for name, value in props.items() if value is not None}
        unknown = [name for name in given if name not in self.TAKES and not name.startswith("aria-")]
        if unknown:
            raise TypeError(f"{type(self).__name__} takes no {unknown[0]!r}")
        for name, value in given.items():  # Dash's own way looks for a package of this name at each of them
            setattr(self, name, value)


class Select(Own):
    """A list to choose from: label over the chosen. data holds texts, `{"value", "label"}`, or
    `{"group", "items"}` of these; `clearable` lets the choice be empty.
    """

    _type = "Select"
    TAKES = ("id", "label", "value", "data", "disabled", "clearable", "className", "style")


class TextInput(Own):
    """A line to write on: label over it. `debounce` waits so many ms for the next key."""

    _type = "TextInput"
    OF_INPUT = ("id", "value", "type", "name", "readOnly", "placeholder", "autoComplete", "maxLength", "list")
    TAKES = (*OF_INPUT, "label", "debounce", "className", "style")


class DayInput(Own):
    """A line for a day with a way to the browser's calendar, told once it is left, by Enter, or picked. value : as it
    is typed; day : the same as 2026-11-27 or ''; order : `ymd`, `dmy` or `mdy`, in which a picked one is written.
    """

    _type = "DayInput"
    TAKES = ("id", "label", "value", "day", "order", "placeholder", "className", "style")


class Tick(Own):
    """A box to tick; its value is ["yes"] or []. `label` is for who does not see it."""

    _type = "Tick"
    TAKES = ("id", "label", "value", "className")
