"""What a reader takes along of a sheet: pictures and tables by the browser, whole tables by the server."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard import address

SAVED = (
    ("Save picture", "picture", "svg"),
    ("as PNG", "picture", "png"),
    ("Save table", "table", "csv"),
    ("as a workbook", "table", "xlsx"),
)


def files() -> html.Div:
    """The buttons at the foot of a sheet; page.css shows those that apply to what stands in it."""
    told: list[dict[str, Any]] = [{"data-save": form, "className": f"save-{what}"} for _, what, form in SAVED]
    buttons = [html.Button(words, type="button", **more) for (words, _, _), more in zip(SAVED, told, strict=True)]
    return html.Div(buttons, className="save no-print")


def save_whole(name: str, **filters: str | None) -> html.Div:
    """The way to a whole table as CSV or as a workbook, unrounded: its name in SAVED of app.py, the page's filters."""
    csv, xlsx = (address.address(f"/save/{name}{form}", **filters) for form in ("", ".xlsx"))
    return html.Div(
        [
            html.A("Save as CSV, unrounded", href=csv, className="button"),
            html.A("as a workbook", href=xlsx, className="button"),
        ],
        className="acts",
    )
