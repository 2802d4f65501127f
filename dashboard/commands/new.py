"""The command for a newcomer: new."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard.commands.terminal import HERE, ShopFolder, UserProblem, say

if TYPE_CHECKING:
    from ingest.beginning.new import Ask, Proposal


def new(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="LOG", help="The shop's own sheets as they are: .csv, .txt or .xlsx.", show_default=False
        ),
    ],
    shop: ShopFolder = HERE,
    yes: Annotated[bool, typer.Option("--yes", help="Ask nothing: take every guess, marked as one.")] = False,
) -> None:
    """Start a shop from its own sheets.

    Looks at headings and words, asks what it cannot tell (at most ten questions) and writes a first shop.toml and
    specs.csv, every guess marked. Nothing is overwritten: with a shop already there it proposes additions only.
    """
    from ingest.beginning.new import propose, write
    from ingest.shopfiles.shop import read_shop

    there = (shop / "shop.toml").exists()
    known = read_shop(shop / "shop.toml") if there else None
    if not there and (shop / "specs.csv").exists():
        raise UserProblem(
            f"{shop / 'specs.csv'} is already there and is not overwritten; move it away, or start in another folder"
        )
    sheets = [(path.name, _bytes(path)) for path in files]
    proposal = propose(sheets, shop=known)
    _show(proposal)
    answers: dict[str, str] = {}
    while not yes and sys.stdin.isatty():
        open_ = next((ask for ask in proposal.asks if ask.key not in answers), None)
        if open_ is None:
            break
        answers[open_.key] = _asked(open_)
        proposal = propose(sheets, shop=known, answers=answers)
    if (yes or not sys.stdin.isatty()) and proposal.asks:
        say("Taken as guesses, each marked in the file:")
        for ask in proposal.asks:
            say(f"  {ask.text} {ask.default}")
    names = " ".join(str(path) for path in files)
    if proposal.additions and not proposal.shop_toml:
        say(f"shop.toml lacks nothing for it. Next: `truerun load {names} --shop {shop}`")
        return
    for path in write(shop, proposal):
        say(f"Written: {path}")
    if proposal.additions:
        say(f"Next: put what is right into shop.toml, then `truerun load {names} --shop {shop}`")
        return
    say(f"Next: read {shop / 'shop.toml'}, then `truerun load {names} --shop {shop}` and `truerun serve --shop {shop}`")


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except IsADirectoryError:
        raise UserProblem(f"{path}: this is a folder; wanted a sheet") from None
    except OSError as fault:
        raise UserProblem(f"{path}: could not be read ({fault.strerror or fault})") from None


def _show(proposal: "Proposal") -> None:
    """What each sheet seems to hold, a line a column."""
    for seen in proposal.surveys:
        say(f"{seen.name}: {seen.rows} rows, a row {'an instrument' if seen.shape == 'instrument' else 'a visit'}")
        for column in seen.columns:
            meaning = column.guess.target(column.guess.stage) or "not known, kept as typed"
            say(
                f"  {column.heading[:28]:<28}  {meaning[:34]:<34}  {column.filled:>6}  "
                f"{', '.join(sample[:16] for sample in column.samples)}"
            )


def _asked(ask: "Ask") -> str:
    """The answer of a person; Enter takes the guess."""
    from ingest.beginning.new import unfit

    choice = f" [{', '.join(ask.options)}]" if ask.options else ""
    while True:
        answer = str(typer.prompt(f"{ask.text}{choice}", default=ask.default, err=True)).strip()
        wrong = unfit(ask, answer)
        if not wrong:
            return answer
        say(wrong)
