"""The command that reads several shops together."""

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dashboard.commands.papers import Letter, Pdf
from dashboard.commands.publishing import Options, TargetPlace, target_of
from dashboard.commands.review import write_paper
from dashboard.commands.terminal import UserProblem, progress_bar, say

if TYPE_CHECKING:
    from ingest.store.target import Piece, Target
    from ingest.verbs.shops import Several
    from ingest.verbs.shops_alike import Names


def shops(
    target: TargetPlace,
    option: Options = None,
    names: Annotated[
        Path | None,
        typer.Option(
            "--names", metavar="FILE", help="What each shop calls a thing; by default names.toml beside the tables."
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Write every figure there too, one file a table.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="With --out: JSON instead of CSV.")] = False,
    *,
    scheduler: Annotated[
        str, typer.Option("--scheduler", metavar="ADDRESS", help="A Dask scheduler that runs; else one is begun here.")
    ] = "",
    workers: Annotated[int, typer.Option(min=0, help="How many are begun here; 0: one a core.")] = 0,
    paper: Annotated[bool, typer.Option("--paper", help="Write a paper of it, into --out or here.")] = False,
    letter: Letter = False,
    pdf: Pdf = False,
    as_published: Annotated[
        bool, typer.Option("--as-published", help="Take each shop's own figures; work nothing out of its rows.")
    ] = False,
) -> int:
    """Say what only several shops together can tell.

    One model in all of them, and suppliers' lots wherever they went: which shops stand out, beyond chance among all
    that is asked. What cannot be read as it is (a damaged shop, another unit) is named, converted or left out. Each
    shop's figures are worked out of its rows on workers of Dask (truerun[cluster]), else they are its own. Exit 1:
    something was left out.
    """
    from dashboard.exports.several import FIGURES, write_several
    from dashboard.sentences import shops_together as telling
    from ingest.verbs.shops import NAMES, read_names

    place = target_of(target, option)
    beside = place.folder / NAMES if place.folder is not None else None
    if names is None and beside is not None and beside.exists():
        names = beside
    words = read_names(names) if names is not None else None
    told = _read(place, words, scheduler, workers, as_published=as_published)
    found = {name: work(told.tables) for name, work in FIGURES.items()}
    for line in telling.lines(told.shops, told.tables["meanings"], found):
        say(line)
    if told.said:
        say("")
        say("Not taken as it is:")
        for line in told.said:
            say(f"  {line}")
    if out is not None:
        try:
            for path in write_several(found, told.shops, out, as_json=json):
                say(f"{path}")
        except OSError as fault:
            raise UserProblem(f"{out} could not be written ({fault.strerror or fault})") from None
    if paper or pdf:
        from dashboard.desk.several import Found
        from dashboard.papers import shops as papers

        write_paper(*papers.paper(Found(told, found, ""), letter=letter), out or Path("."), pdf)
    return 1 if told.left_out else 0


def _read(place: "Target", names: "Names | None", scheduler: str, workers: int, *, as_published: bool) -> "Several":
    """All shops of a target; their figures worked out of their rows where there is an engine for it."""
    from dashboard.cluster import engine
    from dashboard.cluster.work import program
    from dashboard.exports import house
    from ingest.store.target import tables_of
    from ingest.verbs.shops import read_all

    if as_published and (scheduler or workers):
        raise UserProblem("--as-published works nothing out, so it takes no --scheduler and no --workers")
    if not engine.is_here() and scheduler:
        raise UserProblem(f"--scheduler asks for Dask, which is not installed: {engine.EXTRA}")
    held = place.shops()
    rows_there = any(house.HOUSE in tables_of(pieces) for row in held.iter_rows(named=True) for pieces in _pieces(row))
    if as_published or not engine.is_here() or not rows_there:
        return read_all(place, names, program=program())
    with progress_bar("Shops") as progress, engine.engine(scheduler, workers=workers) as made:
        return read_all(place, names, made.afresh_told(progress), program())


def _pieces(row: dict[str, Any]) -> "Iterator[list[Piece]]":
    """What a row of `shops` names, where it can be read."""
    from ingest.store.target import TargetProblem, pieces_of

    with suppress(TargetProblem):
        yield pieces_of(row)
