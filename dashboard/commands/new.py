"""The command for a newcomer: new."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard.commands.terminal import HERE, ShopFolder, UserProblem, say

if TYPE_CHECKING:
    from ingest.beginning.answers import Said
    from ingest.beginning.asking import Ask
    from ingest.beginning.new import Proposal
    from ingest.reading.on_disk import Data
    from ingest.shopfiles.shop import Shop

Files = Sequence[tuple[str, "Data"]]
GO_ON = "go on"
MOST_NAMED = 6  # files in the line to type next


def new(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="LOG", help="The shop's own sheets as they are: .csv, .txt or .xlsx.", show_default=False
        ),
    ],
    shop: ShopFolder = HERE,
    yes: Annotated[
        bool, typer.Option("--yes", help="Ask nothing: take what is sure or likely, leave the rest unread.")
    ] = False,
    answers: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A TOML file with any tables of shop.toml, taken as said by you."),
    ] = None,
) -> None:
    """Start a shop from its own sheets.

    Shows every column: what it is taken for, how sure, and by what. Asks what it cannot tell, lets you change any
    guess, counts what would be read, and writes a first shop.toml and specs.csv with every guess marked. Nothing is
    loaded, and nothing is overwritten: with a shop already there it proposes additions only.
    """
    from ingest.beginning.answers import Said, read_answers
    from ingest.beginning.new import propose, write
    from ingest.shopfiles.shop import read_shop

    there = (shop / "shop.toml").exists()
    known = read_shop(shop / "shop.toml") if there else None
    if not there and (shop / "specs.csv").exists():
        raise UserProblem(
            f"{shop / 'specs.csv'} is already there and is not overwritten; move it away, or start in another folder"
        )
    sheets = [(path.name, _bytes(path)) for path in files]
    said = read_answers(answers) if answers else Said()
    proposal = propose(sheets, shop=known, said=said)
    _show(proposal)
    alone = yes or not sys.stdin.isatty()
    if alone and not yes:
        say("Nobody sits at this terminal: what is sure or likely is taken, as with --yes.")
    if not alone:
        proposal = _talked_over(sheets, known, said)
    elif proposal.asks:
        say("Taken as guesses, each marked in the file:")
        for ask in proposal.asks:
            say(f"  {ask.text} {ask.default}")
    if alone:
        for line in proposal.unread:
            say(line)
    refused = alone and _count(sheets, proposal, known)
    names = _names(files)
    if proposal.additions and not proposal.shop_toml:
        say(f"shop.toml lacks nothing for it. Next: `truerun load {names} --shop {_typed(shop)}`")
        return
    for path in write(shop, proposal):
        say(f"Written: {path}")
    if proposal.additions:
        say(f"Next: put what is right into shop.toml, then `truerun load {names} --shop {_typed(shop)}`")
        return
    if refused:
        say(
            f"As it stands nothing would be read, for the reason above: mend [log.headings] in {shop / 'shop.toml'}, "
            "or move shop.toml and specs.csv away and say `truerun new` again, with what the columns mean as --answers"
        )
    then = f"`truerun load {names} --shop {_typed(shop)}` and `truerun serve --shop {_typed(shop)}`"
    say(f"Next: read {shop / 'shop.toml'}, then {then}")
    say("To map them anew: move shop.toml and specs.csv away, say `truerun new` again, then `truerun again --all`")


def _talked_over(sheets: Files, known: "Shop | None", said: "Said") -> "Proposal":
    """The proposal after a person has answered what is asked and changed what they would have otherwise. UserProblem
    where no sheet would be read and they do not want it written all the same.
    """
    from ingest.beginning.new import propose, said_columns

    answers: dict[str, str] = {}
    picks: dict[tuple[str, str, str], str] = {}
    picked: dict[tuple[str, str, str], str] | None = None
    while True:
        proposal = propose(sheets, shop=known, answers=answers, said=said_columns(picks, said))
        open_ = next((ask for ask in proposal.asks if ask.key not in answers), None)
        if open_ is not None:
            answers[open_.key] = _asked(open_)
            say("Looking at the sheets with this answer ...")
            continue
        if picked:
            _show(proposal)
        for line in proposal.unread:
            say(line)
        refused = _count(sheets, proposal, known)
        if refused:
            say("As it stands no sheet would be read, for the reason above: change it, as HEADING = relief @ STAGE")
        picked = _picked(proposal)
        if picked is not None:
            picks |= picked
        elif not refused or typer.confirm("No sheet would be read. Write it all the same?", default=False, err=True):
            return proposal
        else:
            raise UserProblem("nothing is written; say `truerun new` again, or give --answers what the columns mean")


def _picked(proposal: "Proposal") -> dict[tuple[str, str, str], str] | None:
    """A column that a person takes for something else, in every kind of sheet that has it: (file, tab, heading) ->
    meaning; None where all is right.
    """
    from ingest.beginning.answers import same, slip

    headings: dict[str, list[tuple[str, str, str]]] = {}
    for seen in proposal.surveys:
        for column in seen.columns:
            headings.setdefault(same(column.heading), []).append((seen.name, seen.tab, column.heading))
    while True:
        told = str(typer.prompt("Change a column? HEADING = MEANING", default=GO_ON, err=True)).strip()
        if told in ("", GO_ON):
            return None
        heading, equals, target = (part.strip() for part in told.partition("="))
        places = headings.get(same(heading), [])
        if not equals or not target or not places:
            say(
                f"{told!r} changes nothing; wanted one such as {next(iter(headings.values()))[0][2]} = action bass (mm)"
            )
        elif near := slip(target, ()):
            say(f"{target!r} names no column; did you mean {near!r}?")
        else:
            return dict.fromkeys(places, target)


def _typed(path: Path) -> str:
    """A path as it is typed at a prompt: in quotes where it holds a space."""
    return f'"{path}"' if " " in str(path) else str(path)


def _bytes(path: Path) -> "Data":
    from ingest.reading.bounds import MOST_BYTES
    from ingest.reading.on_disk import held

    try:
        if path.stat().st_size > MOST_BYTES:
            raise UserProblem(f"{path}: {path.stat().st_size / 1e6:,.0f} MB; wanted at most {MOST_BYTES / 1e6:,.0f} MB")
        return held(path)
    except IsADirectoryError:
        raise UserProblem(f"{path}: this is a folder; wanted a sheet") from None
    except OSError as fault:
        raise UserProblem(f"{path}: could not be read ({fault.strerror or fault})") from None


def _show(proposal: "Proposal") -> None:
    """What each sheet seems to hold, a line a column: what it is taken for, how sure, cells filled, some of them."""
    shapes = {"instrument": "an instrument", "measurement": "a measurement", "study": "a trial"}
    for seen in proposal.surveys:
        rows = "1 row" if seen.rows == 1 else f"{seen.rows} rows"
        more = f" and {len(seen.files) - 1} more" if len(seen.files) > 1 else ""
        say(f"{seen.title}{more}: {rows}, a row {shapes.get(seen.shape, 'a visit')}")
        for note in seen.notes:
            say(f"  {note}")
        for column in seen.columns:
            guess = column.guess
            meaning = guess.target(guess.stage) if guess.taken else "not known, kept as typed"
            meaning = "left out" if guess.field == "ignore" else meaning
            sure = f"{guess.level} by {guess.why}" if guess.field and guess.level != "said" else guess.level
            samples = ", ".join(sample[:16] for sample in column.samples)
            say(f"  {column.heading[:28]:<28}  {meaning[:34]:<34}  {sure[:36]:<36}  {column.filled:>6}  {samples}")
    for line in proposal.left:
        say(line)


def _count(sheets: Files, proposal: "Proposal", known: "Shop | None") -> bool:
    """What would be read, a line each; would no sheet be?"""
    from ingest.beginning.counted import counted, together

    found = together(counted(sheets, proposal, known))
    for each in found:
        say(each.told())
        for line in each.why():
            say(f"  {line}")
    return all(each.problem for each in found)


def _names(files: Sequence[Path]) -> str:
    """The files as they are typed at a prompt; many of one kind by the pattern that finds them and no others."""
    from ingest.beginning.file_names import pattern_of

    patterns = sorted({path.parent / pattern_of(path.name) for path in files})
    found = {path for pattern in patterns for path in pattern.parent.glob(pattern.name)}
    short = len(files) > MOST_NAMED and found == set(files) and not any(" " in str(pattern) for pattern in patterns)
    return " ".join(_typed(path) for path in (patterns if short else files))


def _asked(ask: "Ask") -> str:
    """The answer of a person; Enter takes the guess."""
    from ingest.beginning.asking import unfit

    choice = f" [{', '.join(ask.options)}]" if ask.options else ""
    while True:
        answer = str(typer.prompt(f"{ask.text}{choice}", default=ask.default, err=True)).strip()
        wrong = unfit(ask, answer)
        if not wrong:
            return answer
        say(wrong)
