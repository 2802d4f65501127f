"""The paper of several shops: what only many can tell, with what to do next; it names no person."""

from __future__ import annotations

from importlib.metadata import version
from typing import Any

from analysis.methods.problems import UnusableData
from dashboard import numbers
from dashboard.charts.shops import shops
from dashboard.desk import desk
from dashboard.desk.several import Found
from dashboard.exports.several import FIGURES
from dashboard.pages.shops import page
from dashboard.pages.shops.drawn import views
from dashboard.papers.paper import Paper
from dashboard.sentences.shops_together import findings, headline


def served(*, letter: bool = False) -> tuple[str, str]:
    """The paper of the place that the desk knows. UnusableData where it knows none."""
    together = desk.here().several
    if together is None:
        raise UnusableData("no place is named where several shops are read together: truerun serve --shops TARGET")
    return paper(together.found(FIGURES), letter=letter)


def paper(found: Found, *, letter: bool = False) -> tuple[str, str]:
    """Its name for a file, and its HTML."""
    heads = found.told.shops
    last = heads.sort("published_at")["published_at"][-1]
    made = Paper(
        "Several shops",
        f"{numbers.count(len(heads))} {'shop' if len(heads) == 1 else 'shops'}",
        f"of what shops published up to {last:%Y-%m-%d %H:%M} UTC, Truerun {version('truerun')}",
        letter=letter,
    )
    told = findings(heads, found.told.tables["meanings"], found.lists)
    drawn = {page.LISTS[name]: view for name, view in views(found).items()}
    loud: list[dict[str, Any]] = []
    for one in told:
        if not one.act:
            continue
        right, view = drawn.get(one.name, ("", None))
        says = one.say[0] if one.say else one.head
        chart = made.chart(shops(view, width=made.inner), says, phone=shops(view, narrow=True)) if view else ""
        loud.append(
            {"name": one.name, "head": one.head, "say": one.say, "act": one.act, "right": right, "chart": chart}
        )
    return "several-shops", made.html(
        "shops.html",
        who=", ".join(heads["shop"].head(12)) + (" ..." if len(heads) > 12 else ""),
        headline=headline(told, len(heads)),
        under=page.UNDER,
        loud=loud,
        quiet=[one for one in told if not one.act],
        said=found.told.said,
    )
