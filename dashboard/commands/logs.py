"""Commands about logs: load, unload, again, correct, forget."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard.commands.keeping import left_of, mend
from dashboard.commands.terminal import (
    HERE,
    LogName,
    ShopFolder,
    UserProblem,
    Who,
    Why,
    now,
    opened,
    progress_bar,
    say,
    silent_lines,
)

if TYPE_CHECKING:
    from ingest.verbs.again import Change
    from ingest.verbs.loaded import Loaded


def load(
    files: Annotated[
        list[Path] | None,
        typer.Argument(metavar="LOG", help="Log files as they came: .csv, .txt or .xlsx.", show_default=False),
    ] = None,
    shop: ShopFolder = HERE,
    check: Annotated[
        bool, typer.Option("--check", help="Say what would be loaded and what would be set aside; change nothing.")
    ] = False,
    replaces: Annotated[
        str | None,
        typer.Option(
            metavar="LOG", help="A loaded log (file name or start of its hash) whose place the one file takes."
        ),
    ] = None,
    watch: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Load whatever comes into this folder, until stopped.")
    ] = None,
) -> None:
    """Load bench logs into the shop.

    Every row is accounted for. What cannot be read is set aside as a question with file and line, never dropped. The
    same file again changes nothing.
    """
    if (files is None) == (watch is None):
        raise UserProblem("Wanted log files to load, or --watch DIR. See `truerun load --help`")
    from dashboard.sentences import logs as telling
    from ingest.verbs.load import load as load_files
    from ingest.verbs.sound import refuse_later_files

    if files is None and watch is not None:
        _watch(shop, watch)
        return
    refuse_later_files(files or [], now=now())
    size = sum(file.stat().st_size for file in files or [] if file.is_file())
    with progress_bar("Loading", size) as progress:
        became = load_files(shop, files or [], check=check, replaces=replaces, progress=progress, now=now())
    _tell(became)
    _tell_limits(shop)
    loaded = not check and any(file.outcome != "refused" for file in became)
    for line in _of_the_shop(shop) if loaded else ():
        say(line)
    if check:
        say("Nothing was changed: this was a check.")
    raise typer.Exit(telling.exit_code(became))


def _of_the_shop(shop: Path) -> list[str]:
    """What only all logs together show: weeks of which nothing was read, codes that may be two people."""
    from analysis.studies.story.two_people import one_code
    from dashboard.sentences import two_people

    snapshot = opened(shop)
    return [*silent_lines(snapshot), *(two_people.asked(one) for one in one_code(snapshot))]


def _tell_limits(shop: Path) -> None:
    """What of specs.csv holds for nobody, a line a family; limits between two marks of their gauge, one line."""
    from ingest.shopfiles.shop import read_shop
    from ingest.shopfiles.specs import read_specs
    from ingest.shopfiles.unheld import said

    held = read_shop(shop / "shop.toml")
    specs = read_specs(shop / "specs.csv", held)
    for one in specs.missed:
        say(said(one, held))
    between = specs.between
    if between:
        kinds = ", ".join(dict.fromkeys(held.characteristic_name(one.characteristic).lower() for one in between))
        say(
            f"specs.csv: {len(between)} limits lie between two marks of a gauge ({kinds}), first in line "
            f"{between[0].line}; Capability names the nearest marks under Gauges."
        )


def _tell(became: "Sequence[Loaded]") -> None:
    from dashboard.sentences import logs as telling

    for file, account in telling.accounts(became):
        typer.echo(account, err=file.outcome == "refused")
        for line in (*telling.unread(file), *telling.editions(file)):
            say(line)
    for line in telling.questions(became):
        say(line)


def _watch(shop: Path, directory: Path) -> None:
    """Load what comes into a directory until stopped."""
    from ingest.verbs.sound import usable_shop
    from ingest.verbs.watch import watch

    usable_shop(shop)
    if not directory.is_dir():
        raise UserProblem(f"{directory} is no folder; wanted the folder into which logs come")
    say(f"Watching {directory} (Ctrl-C stops)")
    for became in watch(shop, directory, clock=now):
        _tell(became)


def unload(log: LogName, shop: ShopFolder = HERE, who: Who = "", why: Why = "") -> None:
    """Take a log out of the shop again.

    Its original is kept; rows that other logs hold too come back from there.
    """
    from ingest.verbs.load import unload as take_out

    say(f"{take_out(shop, log, who=who, why=why, now=now())} is unloaded.")


def again(
    *,
    shop: ShopFolder = HERE,
    everything: Annotated[
        bool, typer.Option("--all", help="Read every original anew, and say what changes before it is kept.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="With --all: keep the changes without asking.")] = False,
    questions: Annotated[
        Path | None, typer.Option("--questions", metavar="FILE", help="Write the open questions as a file to fill in.")
    ] = None,
    answers: Annotated[
        Path | None, typer.Option("--answers", metavar="FILE", help="Take in what such a file answers; wants --who.")
    ] = None,
    who: Who = "",
    why: Why = "",
) -> None:
    """Try open questions again, after shop.toml was mended.

    --questions writes them as a CSV to fill in, --answers takes it in: the same as on Logs.
    """
    from dashboard.commands import questions as sheets

    if questions is not None:
        sheets.write(shop, questions)
        return
    if answers is not None:
        sheets.read(shop, answers, who, why)
        return
    from dashboard.sentences import logs as telling
    from ingest.verbs import again as verbs

    if not everything:
        with progress_bar("Reading again") as progress:
            became = verbs.again(shop, progress=progress, now=now())
        _tell(became)
        if not became:
            say("No question is open; nothing changed.")
            return
        raise typer.Exit(telling.exit_code(became))

    def agree(changes: "list[Change]") -> bool:
        for line in telling.changes(changes):
            say(line)
        if not changes:
            return True
        left_of(changes, yes)
        if yes or not sys.stdin.isatty():
            return yes
        return typer.confirm("Keep these changes?")

    mended = mend(shop, yes)
    try:
        verbs.again_all(shop, agree, now=now(), kept=mended)
    except verbs.NotAgreed:
        raise UserProblem(
            "Nothing was changed." if sys.stdin.isatty() else "Nothing was changed; with --yes the changes are kept"
        ) from None


def correct(
    *,
    log: LogName,
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
    from ingest.verbs.mend import correct as lay_over

    if undo == bool(value):
        raise UserProblem("Wanted a VALUE, or --undo to take the correction back; one of the two")
    file = lay_over(shop, log, line, column, None if undo else value, who=who, why=why, now=now())
    say(f"{file.name}, line {line}: {'the value as it came counts again' if undo else 'corrected'}.")
    _tell([file])


def forget(
    tech: Annotated[
        str, typer.Argument(metavar="TECH", help="The tech's key, name, or a word that logs use for them.")
    ],
    shop: ShopFolder = HERE,
    also: Annotated[
        list[str] | None,
        typer.Option(metavar="WORD", help="A further spelling of the same person.", show_default=False),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask first.")] = False,
) -> None:
    """Take a person's name out of the shop's folder.

    Every file in it is rewritten with a neutral code in the name's place: shop files, kept logs, book, store, whatever
    else lies there; older versions of the store go. What could not be covered is named, backups among it. What only
    looks like the name is listed, for you to decide.
    """
    from ingest.verbs import forget as verb

    plan = verb.plan_of(shop, tech, also or (), now=now())
    alike = verb.alike(shop, plan)
    if alike:
        say("It may be somebody else, so it stays as it is; you decide:")
        for word, rows in alike:
            say(f"  {word!r} ({rows}); if it is the same person: --also {word!r}")
    if not yes and sys.stdin.isatty() and not typer.confirm(f"Take {tech!r} out of everything in {shop}, for good?"):
        raise UserProblem("Nothing was changed.")
    done = verb.carry_out(shop, plan, now=now())
    say(f"Done: {done.code} stands where the name stood. Not touched: files outside {shop}.")
    for line in done.left:
        say(f"  not covered: {line}")
    for path in done.backups:
        say(f"  {path}: made before, with the name in it; take it away, or restore it and forget again")
