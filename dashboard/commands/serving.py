"""Commands that serve the pages: demo and serve, on this machine alone or on the shop's network."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard.commands.publishing import Options, target_of
from dashboard.commands.review import unread_lines
from dashboard.commands.terminal import HERE, ShopFolder, UserProblem, now, opened, progress_bar, say

if TYPE_CHECKING:
    from dashboard.desk.desk import Desk
    from dashboard.gate.network import Network
    from ingest.store.target import Target

PORT = 8050
LOOKS = 5.0  # seconds between two looks at whether logs came or went
Port = Annotated[int, typer.Option(help="Port of the pages.")]
NoOpen = Annotated[bool, typer.Option("--no-open", help="Do not open a browser.")]


def demo(shop: ShopFolder = Path("demo-shop"), port: Port = PORT, no_open: NoOpen = False) -> None:
    """Invent a setup shop and show its pages.

    Sixteen weeks of logs are made up and loaded, the last week is told in sentences, then the pages are served.
    The folder is made if it is not there, and used again if `truerun demo` made it. No other folder is touched.
    """
    from dashboard.commands import demo as demo_shop

    with progress_bar("Demo shop") as progress:
        demo_shop.make(shop, progress=progress, now=now())
    _serve(shop, port, not no_open, sentences=True)


def serve(
    shop: ShopFolder = HERE,
    port: Port = PORT,
    no_open: NoOpen = False,
    *,
    network: Annotated[bool, typer.Option("--network", help="Serve other devices too; people sign in.")] = False,
    name: Annotated[
        list[str] | None, typer.Option("--name", help="A further name this machine is called by.", show_default=False)
    ] = None,
    certificate: Annotated[Path | None, typer.Option("--certificate", help="A certificate (PEM): TLS.")] = None,
    key: Annotated[Path | None, typer.Option("--key", help="The certificate's key (PEM).")] = None,
    proxy: Annotated[str, typer.Option("--proxy", help="Address of a proxy in front that speaks TLS.")] = "",
    shops: Annotated[
        str, typer.Option("--shops", metavar="TARGET", help="Where several shops are read together: page Shops.")
    ] = "",
    option: Options = None,
) -> None:
    """Show the shop's pages in a browser.

    They are served on this machine only; with --network to every device that reaches it, and whoever opens a page
    signs in (`truerun people`). Ctrl-C stops them.
    """
    if not network and (name or certificate or key or proxy):
        raise UserProblem("--name, --certificate, --key and --proxy are for --network")
    if option and not shops:
        raise UserProblem("--option is for --shops TARGET")
    way = _way(shop, name or (), certificate, key, proxy) if network else None
    _serve(shop, port, not no_open, way=way, several=target_of(shops, option) if shops else None)


def _way(shop: Path, names: Sequence[str], certificate: Path | None, key: Path | None, proxy: str) -> "Network":
    """How the pages are served to other devices; UserProblem where nobody could sign in, or TLS is half said."""
    from dashboard.gate.network import Network, is_address, names_of_this_machine
    from dashboard.gate.server import tls
    from ingest.access import people

    if not people.everybody(shop):
        raise UserProblem(
            "Nobody may sign in yet, so nothing is served on the network; say who may first: "
            "truerun people add NAME --role manager"
        )
    if (certificate is None) != (key is None):
        raise UserProblem("A certificate goes with its key: --certificate FILE --key FILE")
    if proxy and certificate:
        raise UserProblem("Either TLS is spoken here (--certificate, --key) or by the proxy in front (--proxy)")
    if proxy and not is_address(proxy):
        raise UserProblem(f"{proxy!r} is no address; wanted one in figures, 127.0.0.1 where it runs on this machine")
    pair = (certificate, key) if certificate and key else None
    if pair:
        tls(*pair)
    return Network(names_of_this_machine(*names), bool(pair or proxy), pair, proxy)


def _serve(
    shop: Path,
    port: int,
    browser: bool,
    *,
    sentences: bool = False,
    way: "Network | None" = None,
    several: "Target | None" = None,
) -> None:
    """Serve until stopped; the address is told once the port is ours."""
    begins = shop.is_dir() and not (shop / "shop.toml").exists()  # an empty folder: Logs makes a first shop of a sheet
    if not begins:
        opened(shop)
    _free(port)
    from dashboard.app import make_app
    from dashboard.app import serve as serve_app
    from dashboard.desk import desk

    counter = desk.Desk(shop)
    desk.use(counter)
    if several is not None:
        from dashboard.desk.several import Together

        counter.several = Together(shop, several)
    if sentences:
        for line in _week_in_sentences(counter):
            say(line)
    pages = make_app(counter, way)
    _work_ahead(counter)
    scheme = "https" if way and way.certificate else "http"
    address = f"{scheme}://127.0.0.1:{port}/{'logs' if begins else ''}"
    say(f"The pages are at {address} (Ctrl-C stops them)")
    for line in way.told(port) if way else ():
        say(line)
    if browser:
        import threading
        import webbrowser

        threading.Timer(0.5, webbrowser.open, [address]).start()
    serve_app(pages, port, way)


def _work_ahead(counter: "Desk") -> None:
    """Have the next Week ready before somebody asks for it, and then the other pages: at the start, and whenever logs
    came or went.
    """
    import threading
    from contextlib import suppress
    from time import sleep

    from analysis.review import review
    from dashboard.desk.desk import patient
    from dashboard.laid_ahead import PagesAhead

    pages = PagesAhead(counter)

    def look() -> None:
        patient.set(True)  # of this thread only
        counter.work_ahead(review, pages.first_views)
        with suppress(Exception):  # what is wrong with the shop is told on its pages
            counter.ask(review, week=None)
        if counter.several is not None:
            from dashboard.exports.several import FIGURES

            with suppress(Exception):  # the page says what is wrong with the place
                counter.several.found(FIGURES)
        while True:
            with suppress(Exception):
                pages.look()
            sleep(LOOKS)

    threading.Thread(target=look, daemon=True, name="truerun-looks").start()


def _week_in_sentences(counter: "Desk") -> Iterator[str]:
    """The week under review: its headline, then at most seven sentences."""
    from analysis.review import review
    from dashboard.sentences import findings

    found, shop = counter.ask(review), counter.snapshot().shop
    yield from unread_lines(counter.snapshot())
    yield f"{shop.shop.name}: {findings.headline(found, shop)}"
    for sentence in findings.week(found, shop):
        yield f"  - {sentence.text}"


def _free(port: int) -> None:
    """UserProblem where something else answers on the port."""
    import socket

    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            raise UserProblem(f"Port {port} is taken, perhaps by another Truerun; choose another with --port") from None
