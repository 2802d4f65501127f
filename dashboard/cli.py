"""The command line. Each command imports what it needs when it runs, so that help and load wait for no dashboard."""

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime
from importlib.metadata import version as version_of
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from dashboard.desk import Desk
    from ingest.load import Loaded
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
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="LOG", help="Log files as they came: .csv, .txt or .xlsx.", show_default=False)
    ] = None,
    shop: ShopFolder = HERE,
    check: Annotated[bool, typer.Option("--check", help="Say what would be loaded and what would be set aside; change nothing.")] = False,
    replaces: Annotated[
        str | None, typer.Option(metavar="LOG", help="A loaded log (file name or start of its hash) whose place the one file takes.")
    ] = None,
    watch: Annotated[Path | None, typer.Option(metavar="DIR", help="Load whatever comes into this folder, until stopped.")] = None,
) -> None:
    """Load bench logs into the shop.

    Every row is accounted for. What cannot be read is set aside as a question with file and line, never dropped. The same file again changes nothing.
    """
    if (files is None) == (watch is None):
        raise UserProblem("Wanted log files to load, or --watch DIR. See `truerun load --help`")
    from dashboard import telling
    from ingest.load import load as load_files

    if files is None and watch is not None:
        _watch(shop, watch)
        return
    with progress_bar("Loading") as progress:
        became = load_files(shop, files or [], check=check, replaces=replaces, progress=progress, now=now())
    _tell(became)
    if check:
        say("Nothing was changed: this was a check.")
    raise typer.Exit(telling.exit_code(became))


def _tell(became: "Sequence[Loaded]") -> None:
    from dashboard import telling

    for file in became:
        typer.echo(telling.account(file), err=file.outcome == "refused")
    for line in telling.questions(became):
        say(line)


def _watch(shop: Path, directory: Path) -> None:
    """Load what comes into a directory until stopped."""
    from ingest.load import usable_shop
    from ingest.watch import watch

    usable_shop(shop)
    if not directory.is_dir():
        raise UserProblem(f"{directory} is no folder; wanted the folder into which logs come")
    say(f"Watching {directory} (Ctrl-C stops)")
    for became in watch(shop, directory, clock=now):
        _tell(became)


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
def again(
    shop: ShopFolder = HERE,
    everything: Annotated[bool, typer.Option("--all", help="Read every original anew, and say what changes before it is kept.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="With --all: keep the changes without asking.")] = False,
) -> None:
    """Try open questions again, after shop.toml was mended."""
    from dashboard import telling
    from ingest import again as verbs

    if not everything:
        with progress_bar("Reading again") as progress:
            became = verbs.again(shop, progress=progress, now=now())
        _tell(became)
        if not became:
            say("No question is open; nothing changed.")
            return
        raise typer.Exit(telling.exit_code(became))

    def agree(changes: "list[verbs.Change]") -> bool:
        for line in telling.changes(changes):
            say(line)
        if not changes:
            return True
        if yes or not sys.stdin.isatty():
            return yes
        return typer.confirm("Keep these changes?")

    try:
        verbs.again_all(shop, agree, now=now())
    except verbs.NotAgreed:
        raise UserProblem("Nothing was changed." if sys.stdin.isatty() else "Nothing was changed; with --yes the changes are kept") from None


@app.command()
def correct(
    log: Annotated[str, typer.Argument(metavar="LOG", help="Its file name, or the start of its hash.")],
    line: Annotated[int, typer.Argument(metavar="LINE", help="The line in the file.")],
    column: Annotated[str, typer.Argument(metavar="COLUMN", help="The heading of the column.")],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="What the cell should say, as one would type it.")] = "",
    shop: ShopFolder = HERE,
    who: Who = "",
    why: Why = "",
    undo: Annotated[bool, typer.Option("--undo", help="Take the correction of this cell back.")] = False,
) -> None:
    """Lay a person's value over one cell of a log.

    The file stays as it came; the corrected value is marked wherever it shows, and can be taken back with --undo.
    """
    from ingest.mend import correct as lay_over

    if undo == bool(value):
        raise UserProblem("Wanted a VALUE, or --undo to take the correction back; one of the two")
    file = lay_over(shop, log, line, column, None if undo else value, who, why, now=now())
    say(f"{file.name}, line {line}: {'the value as it came counts again' if undo else 'corrected'}.")
    _tell([file])


@app.command()
def limits(
    first: Annotated[str, typer.Option("--from", metavar="DATE", help="First day of the baseline (2026-03-02).")],
    last: Annotated[str, typer.Option("--to", metavar="DATE", help="Last day of the baseline, included.")],
    who: Annotated[str, typer.Option("--who", help="Who decides this.")],
    why: Annotated[str, typer.Option("--why", help="Why, in a few words; it stands in the book.")],
    shop: ShopFolder = HERE,
    model: Annotated[str, typer.Option("--model", help="Only this model (or setup).")] = "",
    characteristic: Annotated[str, typer.Option("--characteristic", help="Only this characteristic.")] = "",
) -> None:
    """Put control limits on file.

    They are computed from the readings of the days named, for every stream with enough of them, and judge from the day after.
    """
    begin, end = _day(first), _day(last)
    if end < begin:
        raise UserProblem(f"--from {first} is after --to {last}")
    snapshot = opened(shop)
    from analysis.studies.limits import limits_proposal
    from ingest.book import write_limits

    shop_file = snapshot.shop
    known = {*shop_file.setups, *shop_file.setups.values()}
    for name, value, among in (("model", model, known), ("characteristic", characteristic, set(shop_file.by_characteristic))):
        if value and value not in among:
            raise UserProblem(f"No {name} {value!r} in shop.toml; wanted one of {', '.join(sorted(among))}")
    rows, unsteady = limits_proposal(snapshot, from_date=begin, to_date=end, model=model, characteristic=characteristic)
    if rows.is_empty():
        least = shop_file.judging.least_readings
        raise UserProblem(f"No stream has {least} readings from {first} to {last}; nothing was put on file")
    for row in unsteady.iter_rows(named=True):
        stream = " ".join(row[name] for name in ("characteristic", "position", "model", "stage", "tech") if row[name])
        say(f"  not steady: {stream}, {row['taken_at']:%Y-%m-%d} {row['serial']}: {row['why']}, {row['sigmas']:+.1f} sigma")
    write_limits(shop, rows, who, why, now=now())
    say(f"Limits of {rows.height} streams are on file, from the readings of {first} to {last}.")


@app.command()
def forget(
    tech: Annotated[str, typer.Argument(metavar="TECH", help="The tech's key, name, or a word that logs use for them.")],
    shop: ShopFolder = HERE,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask first.")] = False,
) -> None:
    """Take a person's name out of the shop's folder.

    Shop files, kept logs, book and store are rewritten with a neutral code in the name's place; older versions of the store go.
    Files elsewhere, and papers made before, are not touched.
    """
    from ingest.forget import forget as take_out

    if not yes and sys.stdin.isatty() and not typer.confirm(f"Take {tech!r} out of everything in {shop}, for good?"):
        raise UserProblem("Nothing was changed.")
    code = take_out(shop, tech, now=now())
    say(f"Done: {code} stands where the name stood. Not touched: papers made before, and files outside {shop}.")


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
    snapshot = opened(shop, _end_of(shop, of))
    from dashboard.exports import write_figures

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
    opened(shop)
    _free(port)
    from dashboard import desk
    from dashboard.app import make_app
    from dashboard.app import serve as serve_app

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


def _week_in_sentences(counter: "Desk") -> Iterator[str]:
    """The week under review: its headline, then at most seven sentences."""
    from analysis.review import review
    from dashboard import sentences

    found, shop = counter.ask(review), counter.snapshot().shop
    yield f"{shop.shop.name}: {sentences.headline(found, shop)}"
    for sentence in sentences.week(found, shop):
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


def _end_of(shop: Path, day: str | None) -> datetime | None:
    """The last moment of a day by the shop's clock."""
    if day is None:
        return None
    from datetime import time, timedelta

    from ingest.shop import read_shop

    midnight = datetime.combine(_day(day) + timedelta(days=1), time(0), read_shop(shop / "shop.toml").zone)
    return midnight.astimezone(UTC) - timedelta(microseconds=1)


def _day(text: str) -> date:
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError:
        raise UserProblem(f"{text!r} is no date; wanted one such as 2026-03-27") from None


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
    from dashboard.faults import keep_traceback

    return keep_traceback(fault, _shop_of(arguments), f"truerun {' '.join(arguments)}")


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
