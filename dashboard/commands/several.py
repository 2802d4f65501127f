"""The command that reads several shops together."""

from pathlib import Path
from typing import Annotated

import typer

from dashboard.commands.publishing import Options, TargetPlace, target_of
from dashboard.commands.terminal import UserProblem, say


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
) -> int:
    """Say what only several shops together can tell.

    One model in all of them, and suppliers' lots wherever they went: which shops stand out, beyond chance among all
    that is asked. What cannot be read as it is (a damaged shop, another unit) is named, converted or left out. Exit 1:
    something was left out.
    """
    from dashboard.exports.several import FIGURES, write_several
    from dashboard.sentences import shops as telling
    from ingest.verbs.shops import NAMES, read_all, read_names

    place = target_of(target, option)
    beside = place.folder / NAMES if place.folder is not None else None
    if names is None and beside is not None and beside.exists():
        names = beside
    told = read_all(place, read_names(names) if names is not None else None)
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
    return 1 if told.left_out else 0
