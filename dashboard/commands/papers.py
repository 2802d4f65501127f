"""Commands that write a paper: necks for a supplier, bench for one tech, sheets to write on."""

from pathlib import Path
from typing import Annotated

import typer

from dashboard.commands.review import write_paper
from dashboard.commands.terminal import HERE, ShopFolder, opened, say

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
    if money and not desk.here().snapshot().shop.shop.labour_per_hour:
        say("No money stands in it: [shop] in shop.toml has no labour_per_hour.")


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
    from dashboard.commands import trailed

    trailed.looked(shop, tech, "the target card")


def sheet(
    *,
    serials: Annotated[
        list[str] | None, typer.Argument(metavar="[SERIAL]...", help="A traveller for each of these serials.")
    ] = None,
    shop: ShopFolder = HERE,
    stage: Annotated[str, typer.Option("--stage", metavar="STAGE", help="The day sheet of this stage's bench.")] = "",
    csv: Annotated[bool, typer.Option("--csv", help="With --stage: an empty CSV to fill, loaded as it is.")] = False,
    out: Out = Path("."),
    letter: Letter = False,
    pdf: Pdf = False,
) -> None:
    """Write sheets to print and fill at a bench.

    Travellers, a day sheet, an empty CSV. A traveller carries its serial as Code 128, which common scanners read.
    """
    opened(shop)
    from dashboard.desk import desk
    from dashboard.papers import sheet as sheets

    desk.use(desk.Desk(shop))
    if not serials and not stage:
        raise typer.BadParameter("wanted one serial or more for travellers, or --stage STAGE for a day sheet")
    for serial in serials or []:
        write_paper(*sheets.travellers([serial], letter=letter), out, pdf)
    if stage and csv:
        name, text = sheets.empty_csv(stage)
        out.mkdir(parents=True, exist_ok=True)
        (out / name).write_text(text, encoding="utf-8")
        say(f"{out / name}")
    elif stage:
        write_paper(*sheets.day_sheet(stage, letter=letter), out, pdf)
