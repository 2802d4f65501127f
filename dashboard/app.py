"""The frame round the pages: header and scheme of the browser; and the server on this machine."""

from __future__ import annotations

import importlib
import re
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import dash
import flask
from dash import Dash, Input, Output, dcc, html
from dash.dependencies import ClientsideFunction

from dashboard import address as addresses
from dashboard import arriving, doors, faults, fence, parts, still, waiting
from dashboard.desk import desk as counter
from dashboard.desk import signed
from dashboard.exports import written
from dashboard.fields import TextInput
from dashboard.gate import gate, trim
from dashboard.gate.network import Network
from dashboard.pages import asked, unread
from dashboard.pages.addresses import of as address_of
from dashboard.pages.card import page as card
from dashboard.pages.shops import page as shops
from dashboard.papers import served
from dashboard.sentences import cautions

PAGES = {  # in the order of the header: the page's word and its module
    "week": "week.page",
    "drift": "drift.page",
    "capability": "capability.page",
    "rework": "rework.page",
    "necks": "necks.page",
    "bench": "bench.page",
    "book": "book.page",
    "logs": "logs.page",
}
FURTHER = (
    "logs.readings",
    "logs.instrument",
    "logs.visits",
    "logs.correct",
    "find",
    "against",
    "gauges",
    "sheets",
    "shops.page",
)  # behind a number: reached by links, not by the header
SAVED = {  # tables a person may save, and the page they stand on
    "readings": "logs.readings",
    "questions": "logs.page",
    "capability": "capability.page",
    "book": "book.page",
    "gauges": "gauges",
    "shops": "shops.page",
}
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FORWARDED = {"x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"}  # what a proxy in front says of who asks
HEAD = """<!DOCTYPE html>
<html lang="en" data-scheme="light">
<head>{%metas%}<title>{%title%}</title>{%favicon%}{%css%}
<script src="/assets/scheme.js"></script>
<link rel="preload" href="FONT" as="font" type="font/woff2" crossorigin>
</head>
<body>HATCH{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""


HATCH = (  # of closed signals and of light on paper: charts name it
    '<svg width="0" height="0" class="hatch" aria-hidden="true"><defs><pattern id="hatch" width="5" height="5" '
    'patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path d="M1 0V5" stroke="var(--ink3)"/></pattern>'
    "</defs></svg>"
)


class Frame(Dash):
    """The document that holds the pages: without what only browsers of before 2018 need, and without components that
    no page has.
    """

    LEFT_OUT = re.compile(r'<script src="[^"]*/(?:polyfill@|dash_table/)[^"]*"></script>\s*')

    def interpolate_index(self, **filled: Any) -> str:  # type: ignore[override]  # Dash calls it by names only
        """The document, its parts filled in."""
        filled["scripts"] = self.LEFT_OUT.sub("", filled["scripts"])
        return str(super().interpolate_index(**filled))  # type: ignore[no-untyped-call]  # Dash says no types


def make_app(desk: counter.Desk, network: Network | None = None) -> Dash:
    """The dashboard of one shop, ready to serve: its pages, all of it from this machine. Pages then ask at this
    desk. On a `network` whoever opens one signs in first.
    """
    counter.use(desk)
    app = Frame(
        "dashboard",
        use_pages=True,
        pages_folder="",
        compress=True,
        title="Truerun",
        update_title="",
        suppress_callback_exceptions=True,
        assets_folder="assets",
        assets_ignore=r"scheme\.js",  # every document loads it by itself, before anything is drawn
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
        on_error=doors.of_callbacks(desk),
    )
    font = app.get_asset_url("font/atkinson-hyperlegible-next-latin-wght-normal.woff2")
    signs_in = ' data-signed="1"' if network else ""
    app.index_string = (
        HEAD.replace("FONT", font).replace("HATCH", HATCH).replace(" data-scheme", signs_in + " data-scheme", 1)
    )
    app.server.config["COMPRESS_ZSTD_LEVEL"] = 9  # a page in some ms, a tenth smaller than at the usual 3
    app.server.config["COMPRESS_STREAMS"] = (
        False  # a compressed stream never closes its file (flask-compress 1.25); our assets are small
    )
    dash.page_registry.clear()  # the registry belongs to the process, not to the app
    pages = [importlib.import_module(f"dashboard.pages.{name}") for name in PAGES.values()]
    further = [importlib.import_module(f"dashboard.pages.{name}") for name in FURTHER]
    for order, page in enumerate([*pages, *further]):
        dash.register_page(
            page.__name__,
            path=page.PATH,
            order=order,
            name=page.NAME,
            title=f"{page.NAME} - Truerun",
            layout=still.of(app, trim.trimmed(_of_a_shop(page, desk), app)),
        )
        page.connect(app)
    named = [(page.NAME, page.PATH) for page in pages]
    named += [(shops.NAME, shops.PATH)] if desk.several is not None else []
    app.layout = lambda: frame(desk, trim.open_pages(named))
    connect(app, desk)
    app.server.add_url_rule("/save/<name>", "save", save)
    app.server.add_url_rule("/book/newest", "book-newest", lambda: flask.jsonify(sequence=desk.book_sequence()))
    served.connect(app.server)
    card.connect(app.server, desk, cautions.at_bench)
    arriving.connect(app, desk)
    app.server.before_request(waiting.look)
    fence.connect(app, network)
    gate.connect(app, desk, network)
    doors.connect(app, desk)
    return app


def _of_a_shop(page: Any, desk: counter.Desk) -> Callable[..., Any]:
    """A page's layout; before there is a shop every page but Logs says where one begins. A page that cannot be laid out
    says why in its place: the frame stands.
    """

    def layout(**address: str) -> Any:
        try:
            addresses.read(address_of(page.PATH), address)
            made = laid_out(**address)
            desk.lately.opened(page.__name__, address)
            return made
        except addresses.BadAddress as wrong:
            head = parts.page_head("This address cannot be read.", f"{wrong}.")
            return parts.page(head, parts.empty_state("Perhaps a letter was lost on the way.", page.NAME, page.PATH))
        except Exception as fault:
            if faults.loud and not isinstance(fault, counter.EXPECTED):
                raise
            line = (
                f"{fault}"
                if isinstance(fault, counter.EXPECTED)
                else faults.kept(fault, desk.folder, f"page: {page.NAME}")
            )
            head = parts.page_head(f"{page.NAME} cannot be shown now.", "The other pages stand.")
            return parts.page(head, parts.problem_state(f"{line}."))

    def laid_out(**address: str) -> Any:
        if desk.has_shop or page.PATH == "/logs":
            if not desk.has_shop:
                return page.layout(**address)
            above = [unread.strip(page.NAME.lower()), asked.strip(page.PATH, address)]
            around = [*above, page.layout(**address), unread.behind(page.NAME.lower())]
            said = [one for one in around if one is not None]
            return html.Div(said) if len(said) > 1 else said[0]
        begin = (
            "Logs looks at a sheet of yours and makes a first shop of it; or stop, and see an invented one with: "
            "truerun demo"
        )
        return parts.page(parts.page_head("No shop here yet."), parts.empty_state(begin, "Bring a sheet", "/logs"))

    return layout


def save(name: str) -> flask.Response:
    """A table a person saves from a page, as CSV or (NAME.xlsx) as a workbook: canonical units, unrounded; filters as
    in the page's address.
    """
    key, _, form = name.partition(".")
    module = SAVED.get(key) if form in ("", "xlsx") else None
    page = importlib.import_module(f"dashboard.pages.{module}") if module else None
    if page is None:
        return flask.Response("There is no such table to save.", status=404, mimetype="text/plain")
    file, rows = page.saved(**flask.request.args.to_dict())
    if form:
        from dashboard.exports.workbook import workbook  # pandas is slow to load, and seldom asked for

        answer = flask.Response(workbook(key, rows), mimetype=XLSX)
        answer.headers["Content-Disposition"] = f"attachment; filename={file.removesuffix('.csv')}.xlsx"
        return answer
    return flask.Response(
        written.csv_text(written.plain(rows)),
        mimetype="text/csv",
        headers={"Content-Disposition": f"attachment; filename={file}"},
    )


def frame(desk: counter.Desk, pages: list[tuple[str, str]]) -> Any:
    """Header, skip link, and the place where pages appear."""
    shop, as_of = shop_words(desk)
    who = signed.here()
    bench = trim.open_pages([(card.NAME, card.PATH)])  # documents of their own: the browser goes there by itself
    me = [(who.name, "/me")] if who else []
    at_a_bench = [html.A(name, href=path) for name, path in [*bench, *me]]
    wide = html.Nav([*(dcc.Link(name, href=path) for name, path in pages), *at_a_bench], **parts.aria(label="Pages"))
    finds = trim.may_open("/go")
    phone = html.Details(
        [
            html.Summary("Pages", id="menu-name"),
            html.Ul(
                [
                    *[html.Li(dcc.Link(name, href=path)) for name, path in pages],
                    *[html.Li(html.A(name, href=path)) for name, path in [*bench, *me]],
                    *([html.Li(finding("find-in-menu"))] if finds else []),
                    html.Li([shop, html.Br(), as_of], className="as-of"),
                ]
            ),
        ],
        id="menu",
        className="menu",
        open=False,
    )
    face = html.Span(className="scheme-face")
    toggle = html.Button(
        face, id="scheme", type="button", className="scheme no-print", **parts.aria(label="Light or dark")
    )
    header = html.Div(
        [
            dcc.Link("Truerun", href=pages[0][1], className="brand"),
            wide,
            *([finding("find")] if finds else []),
            html.Span([html.Span(shop, id="shop-name"), html.Span(as_of, id="shop-as-of")], className="shop"),
            toggle,
            phone,
        ],
        className="top-row",
    )
    return html.Div(
        [
            html.A("Skip to the page", href="#main", className="skip"),
            html.Header(header, className="top"),
            html.Main(
                [
                    html.Div(id="finding-said", className="spoken", role="status"),
                    html.Div(id=doors.NOTICE, hidden=True, className="notice", role="alert"),
                    dash.page_container,
                ],
                id="main",
            ),
        ]
    )


def finding(id: str) -> html.Form:
    """The header's field: a serial, lot, model, code or log; the key `/` leads into it."""
    told = parts.aria(label="Find a serial, lot, model, code, log or matter")
    words = "Serial, lot, matter"
    field = TextInput(id=id, name="q", type="search", placeholder=words, autoComplete="off", maxLength=200, **told)
    return html.Form(field, action="/go", method="get", role="search", className="seek no-print")


def shop_words(desk: counter.Desk) -> tuple[str, str]:
    """The shop's name, and as of when it is shown; a shop that cannot be read still has a frame."""
    try:
        return desk.shop_words()
    except counter.EXPECTED:
        return "A shop that cannot be read", "see Logs"


def connect(app: Dash, desk: counter.Desk) -> None:
    """What the frame does by itself: the open page, shop and as-of."""
    here = "truerun"
    app.clientside_callback(
        ClientsideFunction(here, "present"),
        Output("menu-name", "children"),
        Input("_pages_location", "pathname"),
        Input("_pages_content", "children"),
    )
    app.callback(
        Output("shop-name", "children"), Output("shop-as-of", "children"), Input("_pages_location", "pathname")
    )(lambda _: shop_words(desk))


def serve(app: Dash, port: int = 8050, network: Network | None = None) -> None:
    """Serve until stopped: to this machine only, or on a network."""
    from dashboard.gate.server import PATIENCE, Server, tls  # a test that makes an app needs no server

    _more_sockets(2 * int(PATIENCE["connection_limit"]))
    threading.Thread(target=_slow_to_load, daemon=True).start()
    how: dict[str, Any] = {"host": network.listens_on if network else "127.0.0.1", "port": port}
    if network and network.proxy:
        how |= {"trusted_proxy": network.proxy, "trusted_proxy_headers": FORWARDED, "trusted_proxy_count": 1}
        how |= {"clear_untrusted_proxy_headers": True}
    context = tls(*network.certificate) if network and network.certificate else None
    Server(app.server, context=context, network=network is not None, **how).run()


def _slow_to_load() -> None:
    """Libraries that a curve by lot needs, loaded before somebody waits for one."""
    for name in ("statsmodels.api", "patsy"):
        importlib.import_module(name)


def _more_sockets(wanted: int) -> None:
    """Let the process hold as many sockets as it may: each connection is one."""
    try:
        import resource
    except ImportError:  # Windows counts otherwise
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    with suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, min(wanted, hard)), hard))
