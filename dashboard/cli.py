"""The command line. Each command imports what it needs when it runs, so that help and load wait for no dashboard."""

import os
import sys
import tempfile
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib.metadata import version as version_of
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from ingest.sheet import Progress
    from ingest.snapshot import Snapshot

app = typer.Typer(
    name="truerun", no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None,
    help="Is the setup bench running true? Truerun reads the logs of a stringed-instrument setup shop and shows what moved, "
    "where it started and what it costs.",
)  # fmt: skip
ShopFolder = Annotated[Path, typer.Option("--shop", metavar="DIR", help="The shop's folder, where shop.toml is.")]
Who = Annotated[str, typer.Option("--who", help="Who decides this.")]
Why = Annotated[str, typer.Option("--why", help="Why, in a few words; it stands in the bench book.")]
HERE = Path("shop")
PORT = 8050


def say(text: str) -> None:
    """One line for whoever waits for it, at once."""
    typer.echo(text)
    sys.stdout.flush()


def now() -> datetime:
    """The clock, read in one place only: everything else is told the time."""
    return datetime.now(UTC)


@contextmanager
def progress_bar(title: str) -> Iterator["Progress | None"]:
    """A bar on a terminal, nothing in a pipe."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=1.0)
        yield lambda share, what: bar.update(task, completed=share, description=f"{title}: {what}"[:70])


def opened(shop: Path, as_of: datetime | None = None) -> "Snapshot":
    """The shop as it stands, its store made again where that is needed."""
    from ingest.load import ensure
    from ingest.store import open_snapshot

    with progress_bar("Making the store again") as progress:
        ensure(shop, progress=progress, now=now())
    return open_snapshot(shop, as_of=as_of)


@app.command()
def demo(
    shop: ShopFolder = Path("demo-shop"),
    port: Annotated[int, typer.Option(help="Port of the pages.")] = PORT,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open a browser.")] = False,
) -> None:
    """Invent a setup shop and show its pages.

    Sixteen weeks of logs are made up and loaded, the last week is told in sentences, then the pages are served.
    The folder is made if it is not there, and used again if `truerun demo` made it. No other folder is touched.
    """
    from dashboard import demo as demo_shop

    with progress_bar("Demo shop") as progress:
        demo_shop.make(shop, progress=progress, now=now())
    _serve(shop, port, not no_open, sentences=True)


@app.command()
def load(
    files: Annotated[list[Path], typer.Argument(metavar="LOG", help="Log files as they came: .csv, .txt or .xlsx.", show_default=False)],
    shop: ShopFolder = HERE,
    check: Annotated[bool, typer.Option("--check", help="Say what would be loaded and what would be set aside; change nothing.")] = False,
    replaces: Annotated[
        str | None, typer.Option(metavar="LOG", help="A loaded log (file name or start of its hash) whose place the one file takes.")
    ] = None,
) -> None:
    """Load bench logs into the shop.

    Every row is accounted for. What cannot be read is set aside as a question with file and line, never dropped. The same file again changes nothing.
    """
    from dashboard import telling
    from ingest.load import load as load_files

    with progress_bar("Loading") as progress:
        became = load_files(shop, files, check=check, replaces=replaces, progress=progress, now=now())
    for file in became:
        typer.echo(telling.account(file), err=file.outcome == "refused")
    for line in telling.questions(became):
        say(line)
    if check:
        say("Nothing was changed: this was a check.")
    raise typer.Exit(telling.exit_code(became))


@app.command()
def unload(
    log: Annotated[str, typer.Argument(metavar="LOG", help="Its file name, or the start of its hash.")],
    shop: ShopFolder = HERE,
    who: Who = "",
    why: Why = "",
) -> None:
    """Take a log out of the shop again.

    Its original is kept; rows that other logs hold too come back from there.
    """
    from ingest.load import unload as take_out

    say(f"{take_out(shop, log, who=who, why=why, now=now())} is unloaded.")


@app.command()
def figures(
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where the files go.")],
    shop: ShopFolder = HERE,
    json: Annotated[bool, typer.Option("--json", help="JSON instead of CSV.")] = False,
    of: Annotated[str | None, typer.Option("--of", metavar="DATE", help="As of the end of this day (2026-03-27).")] = None,
) -> None:
    """Write every computed figure, one file a table.

    Figures are unrounded, in mm, cents and minutes, times in UTC.
    """
    from dashboard.exports import write_figures

    snapshot = opened(shop, _end_of(shop, of))
    written = 0
    for path in write_figures(snapshot, out, as_json=json):
        say(f"{path}")
        written += 1
    say(f"{written} tables written to {out}.")


@app.command()
def serve(
    shop: ShopFolder = HERE,
    port: Annotated[int, typer.Option(help="Port of the pages.")] = PORT,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open a browser.")] = False,
) -> None:
    """Show the shop's pages in a browser.

    They are served on this machine only. Ctrl-C stops them.
    """
    _serve(shop, port, not no_open, sentences=False)


def _serve(shop: Path, port: int, browser: bool, *, sentences: bool) -> None:
    """Serve until stopped; the address is told once the port is ours."""
    from dashboard import desk
    from dashboard.app import make_app
    from dashboard.app import serve as serve_app

    opened(shop)
    _free(port)
    counter = desk.Desk(shop)
    desk.use(counter)
    if sentences:
        for line in _week_in_sentences(counter):
            say(line)
    pages = make_app(counter)
    address = f"http://127.0.0.1:{port}/"
    say(f"The pages are at {address} (Ctrl-C stops them)")
    if browser:
        import threading
        import webbrowser

        threading.Timer(0.5, webbrowser.open, [address]).start()
    serve_app(pages, port)


def _week_in_sentences(counter: Any) -> Iterator[str]:
    return iter(())


def _free(port: int) -> None:
    """UserProblem where something else answers on the port."""
    import socket

    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            raise UserProblem(f"Port {port} is taken, perhaps by another Truerun; choose another with --port") from None


def _end_of(shop: Path, day: str | None) -> datetime | None:
    """The last moment of a day by the shop's clock."""
    if day is None:
        return None
    from datetime import time, timedelta

    from ingest.shop import read_shop

    try:
        date = datetime.strptime(day, "%Y-%m-%d").date()
    except ValueError:
        raise UserProblem(f"{day!r} is no date; wanted one such as 2026-03-27") from None
    midnight = datetime.combine(date + timedelta(days=1), time(0), read_shop(shop / "shop.toml").zone)
    return midnight.astimezone(UTC) - timedelta(microseconds=1)


class UserProblem(ValueError):
    """Something the person at the keyboard can put right, in one line."""


def _version(wanted: bool) -> None:
    if wanted:
        say(f"truerun {version_of('truerun')}")
        raise typer.Exit


@app.callback()
def _root(version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")] = False) -> None:
    """Options that stand before a command."""


def main() -> None:
    """The command `truerun`: exit 0 done; 1 done, something set aside; 2 nothing done, one line why."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run one command and return its exit code."""
    try:
        code = app(arguments, standalone_mode=False)
        return code if isinstance(code, int) else 0
    except typer.Exit as end:
        return int(end.exit_code)
    except (typer.Abort, KeyboardInterrupt):
        return 0
    except BrokenPipeError:  # whoever read us has gone, as `| head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as fault:
        typer.echo(_one_line(fault, arguments), err=True)
        return 2


def _one_line(fault: Exception, arguments: list[str]) -> str:
    """What went wrong: the text of a problem a person can put right, or where the traceback stands."""
    expected: tuple[type[Exception], ...] = (UserProblem, *_problems())
    if isinstance(fault, expected):
        return str(fault)
    if hasattr(fault, "format_message"):  # the command line itself: an argument missing, an option unknown
        return f"{fault.format_message().rstrip('.')}. See `truerun --help`"
    shop = _shop_of(arguments)
    log = (shop / "store" if shop.is_dir() else Path(tempfile.gettempdir())) / "program.log"
    text = "".join(traceback.format_exception(fault))
    try:
        log.parent.mkdir(exist_ok=True)
        with log.open("a", encoding="utf-8") as file:
            file.write(f"{now().isoformat(timespec='seconds')} truerun {' '.join(arguments)}\n{text}\n")
    except OSError:
        return f"Something went wrong in the program ({type(fault).__name__}: {fault}); {log} could not be written"
    return f"Something went wrong in the program ({type(fault).__name__}); the details stand in {log}"


def _problems() -> list[type[Exception]]:
    """Our own problems, of the modules that are loaded by now."""
    names = (
        ("ingest.shop", "ShopProblem"), ("ingest.ledger", "StoreProblem"), ("ingest.questions", "FileProblem"),
        ("analysis.methods.problems", "UnusableData"),
    )  # fmt: skip
    return [getattr(sys.modules[module], name) for module, name in names if module in sys.modules]


def _shop_of(arguments: list[str]) -> Path:
    """The folder named by --shop, else the default."""
    for place, argument in enumerate(arguments):
        if argument == "--shop" and place + 1 < len(arguments):
            return Path(arguments[place + 1])
        if argument.startswith("--shop="):
            return Path(argument.removeprefix("--shop="))
    return Path("demo-shop") if arguments[:1] == ["demo"] else HERE
