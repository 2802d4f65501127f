"""Commands for several shops: publish."""

from typing import TYPE_CHECKING, Annotated

import typer

from dashboard.commands.terminal import HERE, ShopFolder, UserProblem, now, opened, progress_bar, say

if TYPE_CHECKING:
    import polars as pl

    from ingest.store.target import Target

TargetPlace = Annotated[
    str, typer.Argument(metavar="TARGET", help="A folder that all shops reach, or the address of an object store.")
]
Options = Annotated[
    list[str] | None,
    typer.Option(
        "--option",
        metavar="KEY=VALUE",
        help="What the object store asks for, once each; by the names of the deltalake library.",
        show_default=False,
    ),
]


def publish(
    target: TargetPlace,
    shop: ShopFolder = HERE,
    option: Options = None,
    called: Annotated[
        str, typer.Option("--as", metavar="NAME", help="The name it stands under; by default its own.")
    ] = "",
    withdraw: Annotated[
        bool, typer.Option("--withdraw", help="Take this shop's rows out again, files too, and publish nothing.")
    ] = False,
) -> int:
    """Put this shop where several are read together.

    Visits, readings, faults and core figures go, people as codes unless [people] publish in shop.toml says otherwise;
    what somebody wrote by hand never goes. Say it again after each load: only what changed is written.
    """
    from dashboard.numbers import count
    from ingest.verbs import publish as verb

    place = target_of(target, option)
    if withdraw:
        name, rows = verb.withdraw(shop, place, called=called)
        say(f"{target}: {count(rows)} rows of {name} are out of it, files too; its logs still say that it was there.")
        return 0
    from importlib.metadata import version as version_of

    from analysis.studies.people.keeping import past_keeping
    from dashboard.desk.desk import Desk
    from dashboard.desk.people_published import Leaving
    from dashboard.exports import house
    from dashboard.exports import published as export
    from dashboard.exports.figures import NotWritten

    bare = opened(shop)
    if bare.version == 0 or bare.table("visits", "line").is_empty():
        raise UserProblem("Nothing is loaded in this shop yet, so there is nothing to publish")
    people = Leaving(bare, verb.known(shop).secret, past_keeping(bare))
    tables: dict[str, dict[str, pl.DataFrame]] = {}
    failed = 0
    with progress_bar("Publishing") as progress:
        for name, pieces in export.published(bare, people):
            if progress is not None:
                progress(len(tables) / (len(export.ROWS) + len(export.FIGURES) + len(house.SIDE) + 2), name)
            if isinstance(pieces, NotWritten):
                say(f"{name}: not published; {Desk(shop).in_place(pieces.why)}")
                failed += 1
            else:
                tables[name] = pieces
        about = bare.shop
        facts = verb.Facts(
            about.shop.name, about.shop.timezone, version_of("truerun"), bare.version, bare.as_of, people.publish
        )
        done = verb.publish(shop, place, tables, facts, called=called, now=now())
    if not done.version:
        say(f"{target}: {done.shop} stands there as it is here, {count(done.rows)} rows; nothing was written.")
        return 1 if failed else 0
    for name, rows in done.written.items():
        say(f"  {name}: {count(rows)} rows")
    off = f"; {count(done.taken_off)} {'piece counts' if done.taken_off == 1 else 'pieces count'} no more"
    say(
        f"{target}: {done.shop}, version {done.version}, {count(done.rows)} rows in all, "
        f"{count(sum(done.written.values()))} of them written now{off if done.taken_off else ''}. "
        f"People: {PEOPLE[people.publish]}."
    )
    return 1 if failed else 0


PEOPLE = {"none": "nobody", "codes": "by codes that only this folder can tell", "names": "by name"}


def target_of(address: str, option: list[str] | None) -> "Target":
    """A target with its options. UserProblem where an option is none."""
    from ingest.store.target import Target

    options = {}
    for each in option or []:
        key, sign, value = each.partition("=")
        if not sign or not key.strip():
            raise UserProblem("--option wants KEY=VALUE, such as aws_region=eu-west-1")
        options[key.strip()] = value
    return Target(address, options)
