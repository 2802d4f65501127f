"""The parts pages are laid out from: headline, sheet, mark, finding, field, facts, table, key, chart, and what stands
where nothing can be shown.

A page returns `html.Div([...], className="page")`: the frame already stands it inside the one `<main>`. No part
computes; each takes finished words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any
from urllib.parse import parse_qs

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard import address
from dashboard.desk import signed
from dashboard.drawings import behind, both, graph, graph_id
from dashboard.fields import DayInput, Select, TextInput, Tick
from dashboard.saving import files, save_whole

__all__ = [
    "DayInput",
    "TextInput",
    "Tick",
    "behind",
    "both",
    "graph",
    "graph_id",
    "save_whole",
]  # of dashboard.drawings, fields, saving

MARKS = {  # state: the word that stands beside its mark unless a page says it with its figure
    "moved-up": "moved up",
    "moved-down": "moved down",
    "steady": "steady",
    "thin": "thin",
    "closed": "closed",
    "odd": "odd instrument",
    "outside": "outside",
    "came-back": "came back",
    "question": "question",
    "take": "take",
    "shown": "shown to hold",
    "not-shown": "not shown yet",
    "in-doubt": "in doubt",
    "too-few": "too few to say",
    "fit": "fit",
    "coarse": "coarse",
    "unfit": "unfit",
    "untested": "untested",
}
PICTURES = {"shown": "take", "too-few": "thin"}  # two words share a picture
KEYS = (
    "board",
    "edge",
    "gap",
    "light",
    "limits",
    "interval",
    "subject",
    "nut",
    "capo",
    "clamp",
    "run",
    "anew",
    "back",
    "usual",
    "other",
    "corrected",
)
Words = Any  # text, or a list of texts and components


def aria(**said: str) -> dict[str, Any]:
    """Attributes for those who do not see the page: `aria(label="Pages")`."""
    return {f"aria-{name}": words for name, words in said.items()}


def data(**told: str) -> dict[str, Any]:
    """Attributes for the page's own script: `data(save="csv")`."""
    return {f"data-{name}": words for name, words in told.items()}


def page(*children: Any) -> html.Div:
    """One page: what stands in it from the headline down."""
    return html.Div(list(children), className="page")


def page_head(headline: Words, under: Words = "", caution: Words = "") -> html.Div:
    """The finding as the page's one h1, what it was computed from below it, and a caution where people are shown."""
    parts: list[Any] = [html.H1(headline), html.P(under, className="under")]
    if caution:
        parts.append(html.P(caution, className="caution"))
    return html.Div(parts)


def sheet(
    name: Words,
    right: Words = "",
    children: Any = None,
    *,
    marks: Sequence[Any] = (),
    id: Any = None,
    className: str = "",
) -> html.Section:
    """A sheet: its name, beside it the marks of its subject, at the right what the reader must know to read it.

    At its foot the browser offers what stands in it for saving: charts as SVG or PNG with what they are of, tables as
    CSV (saving.js; page.css hides what does not apply), tables as a workbook too (workbook.js).
    """
    title = html.Div([html.H2(name), *marks], className="sheet-title")
    head = html.Div([title, html.Span(right, className="right")] if right else [title], className="sheet-head")
    more = {"id": id} if id is not None else {}
    return html.Section([head, *_listed(children), files()], className=f"sheet {className}".strip(), **more)


def row(columns: str, *sheets: Any) -> html.Div:
    """Sheets side by side: columns is `75`, `57`, `66`, `84` or `444`; one below the other on a phone."""
    return html.Div(list(sheets), className=f"row c{columns}")


def picture(state: str, *, big: bool = False) -> html.Span:
    """The mark alone, where its word stands beside it anyway."""
    return html.Span(
        className=f"mark mark-{PICTURES.get(state, state)}" + (" big" if big else ""), **aria(hidden="true")
    )


def mark(state: str, words: Words = "", *, light: bool = False) -> html.Span:
    """A state as picture and word: `mark("moved-up", "moved up 0.11 mm")`. `light` takes the weight off."""
    return html.Span(
        [picture(state), html.Span(words or MARKS[state])],
        className=f"state state-{state}" + (" light" if light else ""),
    )


def finding(
    state: str,
    say: Words,
    why: Words = "",
    *,
    spark: Any = None,
    link: str = "",
    link_words: str = "",
    words: Words = "",
) -> html.Div:
    """One sentence of the week: state, the finding, what stands behind it, a small drawing and the way to its page."""
    text = [html.P(say, className="say")]
    if why:
        text.append(html.P(why, className="why"))
    go = dcc.Link(link_words, href=link, className="go") if link else html.Span(className="go")
    return html.Div(
        [mark(state, words), html.Div(text, className="text"), html.Div(spark, className="spark"), go],
        className="finding",
    )


def field(label: str, id: Any, value: str | None, data: Sequence[Any], **more: Any) -> Select:
    """A filter: label over value on a line; data as `Select` takes it."""
    return Select(label=label, id=id, value=value, data=list(data), className="field", **more)


def fields(*several: Any) -> html.Div:
    """The filters of a page, two abreast on a phone."""
    return html.Div(list(several), className="filters")


def filters_to_address(
    app: Dash,
    path: str,
    filters: Mapping[str, str],
    *,
    everything: str = "all",
    usual: Mapping[str, str] | None = None,
    typed: Mapping[str, Callable[[str], str]] | None = None,
    leaves: Mapping[str, str] | None = None,
) -> None:
    """Choosing in a filter puts it into the address, and the page is laid out anew from there: Back, Forward and links
    all agree.

    filters : name in the address -> id of the field. Each field must stand on the page. The value `everything` is left
    out of the address, and so is the `usual` one of a name: an address that says it and one that does not are the same,
    so that laying a page out adds nothing to the way back. typed : of a name what makes the address's word of what was
    typed. leaves : of a name the one that is left out of the address when it is chosen anew.
    """
    names, silent, as_word = list(filters), usual or {}, typed or {}

    def said(name: str, value: Any) -> bool:
        return value not in (None, "", everything) and value != silent.get(name)

    def chosen(*values: Any) -> Any:
        *several, search, here = values
        if (here or "").rstrip("/") != path.rstrip("/"):
            return no_update
        words = {
            name: as_word[name](value) if name in as_word else value for name, value in zip(names, several, strict=True)
        }
        gone = next((other for name, other in (leaves or {}).items() if filters[name] == ctx.triggered_id), None)
        asked = {name: value for name, value in words.items() if said(name, value) and name != gone}
        given = {name: values[-1] for name, values in parse_qs((search or "").lstrip("?")).items()}
        kept = {name: value for name, value in given.items() if name not in filters}
        if asked == {name: value for name, value in given.items() if name in filters and said(name, value)}:
            return no_update
        return address.address("", **{**kept, **asked})

    app.callback(
        Output("_pages_location", "search", allow_duplicate=True),
        *(Input(field_id, "value") for field_id in filters.values()),
        State("_pages_location", "search"),
        State("_pages_location", "pathname"),
        prevent_initial_call=True,
    )(chosen)


def text_field(label: str, id: Any, value: str = "", **more: Any) -> TextInput:
    """A line to write on."""
    return TextInput(label=label, id=id, value=value, className="field", **more)


def who_field(id: Any, label: str = "Written by") -> TextInput:
    """Who writes: whoever is signed in. On one machine alone it is typed; the browser keeps the name by itself and
    fills it in wherever it is asked for (page.js).
    """
    who = signed.here()
    return text_field(label, id, who.name, readOnly=True) if who else text_field(label, id, autoComplete="name")


def facts(*pairs: tuple[Words, Words], big: bool = False) -> html.Div:
    """Large figures, each with its note below."""
    return html.Div(
        [html.Div([html.B(figure), html.Span(note, className="small")]) for figure, note in pairs],
        className="facts" + (" big" if big else ""),
    )


def plain_table(rows: Sequence[Mapping[str, Any]], columns: Sequence[Any], *, caption: str = "") -> html.Div:
    """A plain table. A column is `(key, heading)` or `(key, heading, kind)`; kind holds `n` (figures, right),
    `whole` (not broken on a phone: a lot, a span) and `wide-only` (not on a phone).
    """
    told = [(c[0], c[1], c[2] if len(c) > 2 else "") for c in columns]
    headings = [  # a heading without words would be read out as one
        html.Th(heading, className=kind, scope="col") if heading else html.Td(className=kind)
        for _, heading, kind in told
    ]
    head = html.Thead(html.Tr(headings))
    body = html.Tbody([html.Tr([html.Td(line.get(key, ""), className=kind) for key, _, kind in told]) for line in rows])
    caption_part = [html.Caption(caption, className="spoken")] if caption else []
    return html.Div(html.Table([*caption_part, head, body], className="plain"), className="table-wrap")


def on_a_phone(*words: Words) -> html.Span:
    """What stands on a phone below a cell's figure, of the columns that have no room there."""
    return html.Span(list(words), className="narrow-only small")


def key(*entries: tuple[str, Words]) -> html.Div:
    """The key under a chart: name of a key picture (KEYS) or of a state (MARKS), and its words."""
    told = []
    for name, words in entries:
        shown = (
            html.Span(className=f"mark wide mark-key-{name}", **aria(hidden="true")) if name in KEYS else picture(name)
        )
        told.append(html.Span([shown, html.Span(words)]))
    return html.Div(told, className="key")


def to_readings(href: str, words: Words = "The readings behind this") -> dcc.Link:
    """The way from a figure to its readings."""
    return dcc.Link(words, href=href)


def empty_state(text: Words, nearest: str = "", link: str = "", *, id: Any = None) -> html.Div:
    """What is missing, and a button to the nearest that exists."""
    button = [dcc.Link(nearest, href=link, className="button")] if nearest and link else []
    more = {"id": id} if id is not None else {}
    return html.Div([html.P(text), *button], className="box", **more)


def problem_state(text: Words, link: str = "/logs", link_words: str = "Open in Logs") -> html.Div:
    """A figure that cannot be worked out: the text of the problem and a way to Logs; the rest of the page stands."""
    return html.Div(
        [html.P([picture("question"), " ", text]), dcc.Link(link_words, href=link, className="button")],
        className="box",
        role="note",
    )


def loading_state(text: Words = "") -> html.Div:
    """Grey bars and an empty board while something is read."""
    return html.Div(
        [
            html.Div(className="bone", style={"width": "70%"}),
            html.Div(className="bone board"),
            html.Div(className="bone", style={"width": "40%"}),
            html.P(text),
        ]
    )


def ask(words: Words) -> html.Div:
    """A question to the shop, with its mark."""
    return html.Div([picture("question"), html.P(words)], className="ask")


def fold(name: str, finding: Words, children: Any = None, *, open: bool = False) -> html.Details:
    """A sheet folded to one line: its name and its finding; it opens in place."""
    head = html.Summary([html.H2(name), html.Span(finding, className="right")], className="sheet-head")
    return html.Details([head, *_listed(children)], className="sheet fold", open=open)


def sparkline(uris: tuple[str, str], finding: str, words: Words = "") -> html.Div:
    """A small drawing beside a sentence: one image a scheme, from charts/sparkline.py, and a figure beside it."""
    images = [
        html.Img(src=uri, alt=finding, className=f"for-{scheme}")
        for uri, scheme in zip(uris, ("light", "dark"), strict=True)
    ]
    return html.Div([*images, html.Span(words, className="note tabular")] if words else images)


def drop(words: str, id: Any, most: int, *, in_pieces: int = 0, tick: str = "") -> html.Div:
    """Where files are dropped, up to `most` bytes each. One that is larger comes in pieces (bring.js), up to
    `in_pieces` bytes, and then `tick` looks how far its load is; of one that may not come so the line below says at
    once what to type, since the browser would pass it over in silence.
    """
    place = dcc.Upload(
        html.Div([words, html.Span("choose a file", className="as-link")]),
        id=id,
        multiple=True,
        max_size=most,
        className="drop",
    )
    said = html.P(hidden=True, className="too-large small", role="alert")
    bounds: dict[str, Any] = {"data-most": str(most), "data-pieces": str(in_pieces), "data-tick": tick}
    return html.Div([place, said], **bounds)


def _listed(children: Any) -> list[Any]:
    if children is None:
        return []
    return list(children) if isinstance(children, list | tuple) else [children]
