"""The command line: which commands there are, and how each ends. A command imports what it needs only when it runs:
help waits for no pages.
"""

import os
import sys
from importlib.metadata import version as version_of
from pathlib import Path
from typing import Annotated

import typer

from analysis.methods.problems import UnusableData
from dashboard.commands import keeping as commands_keeping
from dashboard.commands import logs as commands_logs
from dashboard.commands import new as commands_new
from dashboard.commands import papers as commands_papers
from dashboard.commands import people as commands_people
from dashboard.commands import publishing as commands_publishing
from dashboard.commands import review as commands_review
from dashboard.commands import serving as commands_serving
from dashboard.commands import several as commands_several
from dashboard.commands.terminal import HERE, say, shop_in
from ingest.terms.problems import Problem

app = typer.Typer(
    name="truerun",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Is the setup bench running true? Truerun reads the logs of a stringed-instrument setup shop and shows what "
    "moved, "
    "where it started and what it costs.",
)
COMMANDS = (
    commands_serving.demo,
    commands_new.new,
    commands_logs.load,
    commands_serving.serve,
    commands_review.week,
    commands_papers.necks,
    commands_papers.bench,
    commands_papers.sheet,
    commands_logs.again,
    commands_logs.unload,
    commands_logs.correct,
    commands_review.limits,
    commands_logs.forget,
    commands_keeping.check,
    commands_keeping.backup,
    commands_keeping.restore,
    commands_review.figures,
    commands_publishing.publish,
    commands_several.shops,
)
for command in COMMANDS:
    app.command()(command)
app.add_typer(commands_people.app)


def _version(wanted: bool) -> None:
    if wanted:
        say(f"truerun {version_of('truerun')}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Options that stand before a command."""


# Many small matrices, one process: threads of the linear algebra would only wait for one another (measured: 25 times
# slower on a busy machine).
for _variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")


def main() -> None:
    """The command `truerun`: exit 0 done; 1 done, something set aside; 2 nothing done, one line why."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run one command and return its exit code."""
    try:
        _end_what_was_cut_short(arguments)
        code = app(arguments, standalone_mode=False)
        code = code if isinstance(code, int) else 0
        if code < 2:
            _into_the_trail(arguments)
        return code
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


def _end_what_was_cut_short(arguments: list[str]) -> None:
    """A restore or forget that was killed is ended before anything else is done in its shop."""
    shop = _shop_of(arguments)
    begun = (shop / ".forget").exists() or (shop / ".restore" / "ready").exists()  # before anything is imported
    if not begun or arguments[:1] == ["check"] or "--help" in arguments:
        return
    from dashboard.commands.terminal import now
    from ingest.store.problems import StoreProblem
    from ingest.verbs import unfinished

    try:
        for line in unfinished.end(shop, now=now()):
            say(line)
    except StoreProblem:
        if arguments[:1] not in (["again"], ["restore"]):  # they mend what keeps it from ending
            raise


def _into_the_trail(arguments: list[str]) -> None:
    """Where people sign in to a shop, what is done to it at the machine stands in their trail too."""
    shop = _shop_of(arguments)
    if (shop / "access.sqlite").exists():  # before anything is imported
        from dashboard.commands import trailed

        trailed.note(shop, arguments)


def _one_line(fault: Exception, arguments: list[str]) -> str:
    """What went wrong: the text of a problem a person can put right, or where the traceback stands."""
    if isinstance(fault, Problem | UnusableData):
        return str(fault)
    if hasattr(fault, "format_message"):  # the command line itself: an argument missing, an option unknown
        return f"{fault.format_message().rstrip('.')}. See `truerun --help`"
    from dashboard.faults import keep_traceback

    return keep_traceback(fault, _shop_of(arguments), f"truerun {' '.join(arguments)}")


def _shop_of(arguments: list[str]) -> Path:
    """The folder named by --shop, else the default."""
    return shop_in(arguments) or (Path("demo-shop") if arguments[:1] == ["demo"] else HERE)
