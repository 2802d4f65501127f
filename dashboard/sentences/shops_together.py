"""What moved several shops at once and what comes back at the same mix, in sentences; and what to do about each finding
of several shops.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import polars as pl

from analysis.studies.shops import same_lots
from analysis.studies.shops.same_matter import DAY, NEAR
from dashboard import numbers
from dashboard.sentences import shops as one_by_one
from dashboard.sentences.shops import MOST, Row, Words, few

APART = {  # what would tell whether it is that
    "lot": "Lay a straightedge on necks of the lot that no bench has worked on yet: if they bow alike in two shops, it "
    "is the lot. Then one letter to its supplier, from all of you.",
    "supplier": "Measure ten pieces of the next delivery before any work, in two shops, and ten of another supplier: "
    "if only the former lie off, it is the supplier.",
    "string set": "String five instruments with the set of before: if readings go back, it is the strings.",
    "change": "Put the part of before on three instruments in one shop: if readings go back there, it is the part.",
    DAY: "Ask what came to all of them in these weeks (strings, blanks, an instruction, a gauge sent round, the "
    "weather) and whether it came to those that did not move.",
}


@dataclass(frozen=True)
class Finding:
    """One list of findings as a page and a paper show it."""

    name: str
    head: str  # how much was asked, and of how much of it shops differ
    say: tuple[str, ...]  # a sentence each
    act: str  # what to do first; '' where nothing is told


def lines(shops: pl.DataFrame, meanings: pl.DataFrame, found: Mapping[str, pl.DataFrame]) -> Iterator[str]:
    """All that there is to say, a line each."""
    words = Words(meanings)
    yield f"{numbers.count(len(shops))} {'shop' if len(shops) == 1 else 'shops'}: {', '.join(shops['shop'])}."
    if len(shops) == 1:
        yield "There is nothing to hold one shop against; a second one has to publish here too."
        return
    yield ""
    yield from one_by_one.models(found["same_model"], words)
    yield from one_by_one.alone(shops["shop"].to_list(), found["same_model"], meanings)
    yield ""
    yield from one_by_one.changes(found["same_change"], words)
    yield ""
    yield from matters(found["same_matter"], words, zones(shops))
    yield ""
    yield from rework(found["same_rework"], words)
    yield ""
    yield from one_by_one.lots(found["lots_standing_out"], words)
    yield from one_by_one.gauges(found["same_lots"], found["same_gauge"], words)
    yield ""
    yield (
        "Of shops that are alike in everything, one such report in fifty at most says otherwise. Whose hands they "
        "were is not asked."
    )


def findings(shops: pl.DataFrame, meanings: pl.DataFrame, found: Mapping[str, pl.DataFrame]) -> list[Finding]:
    """Every list: those that tell something first."""
    words = Words(meanings)
    told = [
        _listed("One matter in several shops", matters(found["same_matter"], words, zones(shops)), _of_matters(found)),
        _listed("One model in several shops", one_by_one.models(found["same_model"], words), _of_models(found)),
        _listed(
            "One change, each shop on its day", one_by_one.changes(found["same_change"], words), _of_changes(found)
        ),
        _listed(
            "Suppliers' lots wherever they went", one_by_one.lots(found["lots_standing_out"], words), _of_lots(found)
        ),
        _listed("Rework at the same mix", rework(found["same_rework"], words), _of_rework(found, words)),
        _listed(
            "Shops on the same lots",
            one_by_one.gauges(found["same_lots"], found["same_gauge"], words),
            _of_gauges(found),
        ),
    ]
    return sorted(told, key=lambda one: not one.act)


def headline(told: list[Finding], shops: int) -> str:
    """The page in a sentence."""
    first = next((one for one in told if one.act and one.say), None)
    if shops < 2:
        return "One shop alone has nothing to be held against."
    if first is None:
        return f"{numbers.in_words(shops, capital=True)} shops, and nothing tells them apart beyond chance."
    return (
        first.say[0].split(": ")[0].rstrip(".") + "." if first.name.startswith("One matter") else _short(first.say[0])
    )


def _short(text: str) -> str:
    """A sentence up to its first semicolon."""
    return text.split(";")[0].rstrip(".") + "."


def _listed(name: str, lines: Iterator[str], act: str) -> Finding:
    head, *say = lines
    return Finding(name, head, tuple(line.strip() for line in say), act)


def zones(shops: pl.DataFrame) -> dict[str, str]:
    """The clock on the wall of each shop."""
    return dict(shops.select("shop", "timezone").iter_rows()) if "timezone" in shops.columns else {}


def matters(rows: pl.DataFrame, words: Words, clocks: Mapping[str, str]) -> Iterator[str]:
    """One cause that moved several shops, with the day of each by its own clock."""
    one = rows.filter("one")
    many = one["number"].n_unique()
    if rows.is_empty():
        yield "No matter of two shops names one cause, and none fell near another of its kind."
        return
    count = numbers.in_words(many, capital=True) if many else "No"
    yield (
        f"{count} {'matter moves' if many < 2 else 'matters move'} several shops at once, beyond what chance brings "
        "together among all of theirs."
    )
    for number in one["number"].unique().sort().to_list()[:MOST]:
        yield "  " + matter(one.filter(number=number), words, clocks)
    if many > MOST:
        yield f"  and {numbers.count(many - MOST)} more; --out DIR writes all of them."


def matter(mine: pl.DataFrame, words: Words, clocks: Mapping[str, str]) -> str:
    """One of them: what it is, each shop's size and day, who did not move."""
    row, key = mine.row(0, named=True), mine["characteristic"][0]
    way = "up" if row["up"] else "down"
    name = words.name("characteristic", key)
    shops = numbers.in_words(row["shops"], capital=True)
    of = f" of {numbers.in_words(row['read_in'])} that read it" if row["read_in"] > row["shops"] else ""
    if row["kind"] == DAY:
        head = f"{name} went {way} in {shops.lower()} shops{of} within {numbers.in_words(NEAR.days)} days"
    else:
        head = f"{shops} shops{of} name {row['kind']} {row['what']} for {name.lower()} that went {way}"
    told = [
        f"{one['shop']} by {words.amount(key, one['size'], sign=True)} since {_since(one, clocks)}"
        for one in mine.sort("began_at").head(MOST).iter_rows(named=True)
    ]
    more = f" and {numbers.count(len(mine) - MOST)} more" if len(mine) > MOST else ""
    return f"{head}: {', '.join(told)}{more}."


def _since(row: Row, clocks: Mapping[str, str]) -> str:
    zone = ZoneInfo(clocks.get(row["shop"], "UTC"))
    at, low, high = (row[name].astimezone(zone).date() for name in ("began_at", "began_low", "began_high"))
    return numbers.day(at) if low == high else f"{numbers.day(at)} ({numbers.days(low, high)})"


def rework(rows: pl.DataFrame, words: Words) -> Iterator[str]:
    """Rework by stage, at the same mix."""
    if rows.is_empty():
        yield "Too little came back of what two shops work on to hold stages against each other."
        return
    stages, out = rows["stage"].n_unique(), rows.filter("apart").sort("chance")
    yield (
        f"Work that comes back, at the same mix of models: {numbers.count(stages)} "
        f"{'stage' if stages == 1 else 'stages'} held against each other; beyond chance "
        f"{numbers.in_words(out['stage'].n_unique())} {'differs' if out['stage'].n_unique() == 1 else 'differ'}."
    )
    for row in out.head(MOST).iter_rows(named=True):
        yield "  " + came_back(row, words)
    if len(out) > MOST:
        yield f"  and {numbers.count(len(out) - MOST)} more; --out DIR writes all of them."


def came_back(row: Row, words: Words) -> str:
    """One shop's stage."""
    ends = ("value", "low", "high") if row["value"] is not None else ("ratio", "ratio_low", "ratio_high")
    times, low, high = (numbers.plain(row[name], 1) for name in ends)
    share, usual = (numbers.share(row[name], row["instruments"]) for name in ("share", "at_mix"))
    return (
        f"{words.name('stage', row['stage'])} in {row['shop']}: {share} of {numbers.count(row['instruments'])} "
        f"instruments came back for it, {usual} were to be expected of all shops at its mix; {times} times as much "
        f"({low} to {high}{few({'n': row['came_back']})})."
    )


def _of_matters(found: Mapping[str, pl.DataFrame]) -> str:
    one = found["same_matter"].filter("one")
    return APART[one["kind"][0]] if len(one) else ""


def _of_models(found: Mapping[str, pl.DataFrame]) -> str:
    apart = found["same_model"].filter("apart").sort("chance")
    if apart.is_empty():
        return ""
    row = apart.row(0, named=True)
    return (
        f"Before anybody changes a setting: read three instruments of {row['model']} in {row['shop']} and in another "
        "shop, with both gauges. What goes with the gauge is the gauge; what stays is how they are set."
    )


def _of_changes(found: Mapping[str, pl.DataFrame]) -> str:
    moved = found["same_change"].filter("moved")
    if moved.is_empty():
        return ""
    return (
        "Decide once for all shops: set to the target of before with the new part, or write the new target into each "
        "shop's specs.csv with its day."
    )


def _of_lots(found: Mapping[str, pl.DataFrame]) -> str:
    out = found["lots_standing_out"].filter("apart").sort("chance")
    if out.is_empty():
        return ""
    row = out.row(0, named=True)
    return f"Lot {row['lot']} of {row['supplier']}: keep what is unworked apart in every shop. {APART['lot']}"


def _of_gauges(found: Mapping[str, pl.DataFrame]) -> str:
    if not found["same_lots"]["what"].is_in([same_lots.GAUGE]).any() and not found["same_gauge"]["apart"].any():
        return ""
    return (
        "Send one straightedge and one neck round: each shop reads it ten times by its own gauge. What they read apart "
        "is what to take off, or which gauge to mend."
    )


def _of_rework(found: Mapping[str, pl.DataFrame], words: Words) -> str:
    out = found["same_rework"].filter("apart").sort("chance")
    if out.is_empty():
        return ""
    more = out.filter(pl.col("ratio") > 1)
    row = (more if len(more) else out).row(0, named=True)
    stage = words.name("stage", row["stage"]).lower()
    return (
        f"Look at what came back of {stage} in {row['shop']} by fault, and see how another shop does {stage}: a jig, "
        "an order of steps, a check before it leaves."
    )
