"""Commands that keep a shop whole: check, backup, restore, and what `again --all` mends."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard.commands.terminal import HERE, ShopFolder, UserProblem, now, say

if TYPE_CHECKING:
    from ingest.verbs.again import Change

BackupFile = Annotated[Path, typer.Argument(metavar="FILE", help="The backup: one file.")]


def check(shop: ShopFolder = HERE) -> None:
    """Read everything back and say what is whole.

    Shop files, originals against their hashes, book, ledger and tables; for each that is damaged, what to type. Changes
    nothing.
    """
    from ingest.verbs.check import check as read_back

    found = read_back(shop, now=now())
    for part in found:
        say(f"{'whole  ' if part.whole else 'DAMAGED'}  {part.part}: {part.what}")
    damaged = [part for part in found if not part.whole]
    if not damaged:
        say("Everything is whole.")
        return
    say("What to do:")
    for line in dict.fromkeys(f"  {part.part}: {part.do}" for part in damaged):
        say(line)
    raise typer.Exit(1)


def backup(file: BackupFile, shop: ShopFolder = HERE) -> None:
    """Write the whole shop into one file, as it stands now.

    People may go on working meanwhile. `truerun restore FILE` makes the shop of it again.
    """
    from ingest.verbs.backup import backup as write

    made = write(shop, file, now=now())
    say(f"{made.path}: {made.files} files, {_logs(made.logs)}, {made.bytes / 1e6:.1f} MB.")


def restore(
    file: BackupFile,
    shop: ShopFolder = HERE,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask first.")] = False,
) -> None:
    """Make the shop what it was when a backup was made.

    What stands there now goes into a backup of its own first.
    """
    from ingest.verbs.restore import looked_at
    from ingest.verbs.restore import restore as put_back

    told = looked_at(file)
    there = (shop / "shop.toml").exists() or (shop / "book.sqlite").exists()
    question = f"Put {shop} back to {str(told['made_at'])[:16]}? What was decided and loaded since goes into backups/."
    if there and not yes and sys.stdin.isatty() and not typer.confirm(question):
        raise UserProblem("Nothing was changed.")
    done = put_back(shop, file, now=now())
    say(f"{shop} is as it was on {done.made_at:%Y-%m-%d %H:%M} UTC, with {_logs(done.logs)}.")
    if done.before is not None:
        say(f"What stood there until now: {done.before}")


def _logs(count: int) -> str:
    return f"{count} {'log' if count == 1 else 'logs'}"


def mend(shop: Path, yes: bool) -> bool:
    """Recover a damaged book or store before `again --all` reads everything; was there anything to recover?

    UserProblem where nobody says yes.
    """
    from ingest.verbs import backup as backups
    from ingest.verbs import recover
    from ingest.verbs.load import ensure
    from ingest.verbs.sound import usable_shop

    usable_shop(shop)
    found = recover.needed(shop)
    if found is None:
        return False
    for line in found.told():
        say(line)
    if not yes and not (sys.stdin.isatty() and typer.confirm("Go on?")):
        raise UserProblem("Nothing was changed; with --yes it is mended so")
    made = backups.before("again", shop, now=now())
    if made is not None:
        say(f"The folder as it was: {made.path}")
    recover.carry_out(shop, found, now=now())
    ensure(shop, now=now())
    say("Mended.")
    return True


def left_of(changes: "Sequence[Change]", yes: bool) -> None:
    """UserProblem where `--yes` would leave nothing of a log that held something: only a person at the keyboard may."""
    names = [change.name for change in changes if change.leaves_nothing]
    if names and yes:
        more = f" and {len(names) - 1} more" if len(names) > 1 else ""
        raise UserProblem(
            f"Nothing was changed: nothing would be left of {names[0]}{more}. Mend shop.toml or put the original back; "
            "to take a log out, unload it"
        )
