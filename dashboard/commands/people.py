"""The command `people`: who may sign in on the shop's network, and as what."""

import sys
from typing import Annotated

import typer

from dashboard.commands.terminal import HERE, ShopFolder, UserProblem, now, say

app = typer.Typer(
    name="people",
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Who may sign in on the shop's network, and as what: add, list, remove.",
)
Name = Annotated[str, typer.Argument(metavar="NAME", help="The name they sign in with.")]


@app.command()
def add(
    name: Name,
    role: Annotated[str, typer.Option("--role", help="manager, trainer, bench or guest.")],
    shop: ShopFolder = HERE,
    tech: Annotated[str, typer.Option("--tech", help="The tech of shop.toml they are; wanted for bench.")] = "",
) -> None:
    """Let somebody sign in.

    The password is asked for twice and shown nowhere; in a pipe it is read as one line. They can change it themselves.
    """
    from ingest.access import people, trail
    from ingest.shopfiles.shop import read_shop

    known = [one.key for one in read_shop(shop / "shop.toml").techs]
    if tech and tech not in known:
        raise UserProblem(f"No tech {tech!r} in shop.toml; wanted one of {', '.join(known) or 'none yet'}")
    if role not in people.ROLES:
        raise UserProblem(f"{role!r} is no role; wanted one of {', '.join(people.ROLES)}")
    made = people.add(shop, name, role, _password(name), tech=tech, now=now())
    trail.note(shop, trail.AT_THE_MACHINE, "", "let sign in", f"{made.name} as {made.role}", now=now())
    say(f"{made.name} may sign in as {made.role}: {people.ROLES[made.role]}.")


@app.command(name="list")
def list_(shop: ShopFolder = HERE) -> None:
    """Say who may sign in, as what, and when they last did."""
    from ingest.access import people

    told = people.everybody(shop)
    for one in told:
        when = (
            f"last signed in {one.signed_in_at[:16].replace('T', ' ')} UTC" if one.signed_in_at else "never signed in"
        )
        say(f"{one.name}: {one.role}{f' {one.tech}' if one.tech else ''}; {when}")
    if not told:
        say("Nobody may sign in yet: truerun people add NAME --role manager")


@app.command()
def remove(name: Name, shop: ShopFolder = HERE) -> None:
    """Take somebody off the list; whatever they have open ends at once."""
    from ingest.access import people, trail

    gone = people.remove(shop, name)
    trail.note(shop, trail.AT_THE_MACHINE, "", "took off the list", gone.name, now=now())
    say(f"{gone.name} may not sign in any more. What they wrote stays; `truerun forget` takes a name out.")


def _password(name: str) -> str:
    """The new password, typed twice where somebody types."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    return str(typer.prompt(f"Password for {name}", hide_input=True, confirmation_prompt=True))
