"""Commands that write a paper for a talk: necks for a supplier, bench for one tech."""

from pathlib import Path
from typing import Annotated

import typer

from dashboard.commands.review import write_paper
from dashboard.commands.terminal import HERE, ShopFolder, opened

Out = Annotated[Path, typer.Option("--out", metavar="DIR", help="Where the paper goes.")]
Letter = Annotated[bool, typer.Option("--letter", help="For Letter paper instead of A4.")]
Pdf = Annotated[bool, typer.Option("--pdf", help="A PDF too, made by a Chromium on this machine.")]


def necks(
    supplier: Annotated[str, typer.Argument(metavar="SUPPLIER", help="The supplier, as the logs write it.")],
    shop: ShopFolder = HERE,
    money: Annotated[bool, typer.Option("--money", help="Labour in money beside the minutes.")] = False,
    out: Out = Path("."),
    letter: Letter = False,
    pdf: Pdf = False,
) -> None:
    """Write the neck packet of one supplier.

    It names no other supplier, no tech, no file and no note. Money stands in it only where you ask for it.
    """
    opened(shop)
    from dashboard.desk import desk
    from dashboard.papers import necks as packet

    desk.use(desk.Desk(shop))
    write_paper(*packet.paper(supplier, money=money, letter=letter), out, pdf)


def bench(
    tech: Annotated[str, typer.Argument(metavar="TECH", help="The tech's code in shop.toml.")],
    shop: ShopFolder = HERE,
    out: Out = Path("."),
    letter: Letter = False,
    pdf: Pdf = False,
) -> None:
    """Write the target card of one tech.

    One page with at most three targets, for coaching. It needs [people] show in shop.toml.
    """
    opened(shop)
    from dashboard.desk import desk
    from dashboard.papers import bench as card

    desk.use(desk.Desk(shop))
    write_paper(*card.paper(tech, letter=letter), out, pdf)
