"""What was not read, in words: said first on every page, paper and command that it touches."""

from __future__ import annotations

from datetime import date
from typing import Any

import polars as pl

from analysis.studies.story import unread
from dashboard import numbers
from ingest.shopfiles.shop import Shop

NOT_READ = "not read"  # stands where a figure would
OF_CAUSES = "not read: no log on file says where a fault came from; say in Logs which columns tell outcomes and causes"
MOST = 4  # lines in full; then a count
WHOLE = {  # of stages of which nothing was read
    unread.STAGE: "No row read of {}.",
    unread.OUTCOMES: "Outcomes are not read at {}.",
    unread.LATER: "The sheets have no result at {}: what was caught there is not known.",
    unread.MINUTES: "No minutes are planned, typed or clocked at {}: no cost.",
    unread.JUDGED: (
        "Nothing is judged as it leaves: limits are held at final inspection, and all readings stand at {}. Where a "
        "row holds a whole instrument, and they were taken at the end, say so in shop.toml, as relief @ "
        "final_inspection, then `truerun again --all`."
    ),
    unread.LAST: "Nothing is judged as it leaves: readings stand at {}, and none at final inspection or a play test.",
    unread.REPAIRS: (
        "Instruments come to {} only when they are sent back to it, and the first work there counts as nobody's "
        'rework: role = "repair" in its [[stage]] says so.'
    ),
}
NO_COLUMN = (
    unread.MINUTES,
    unread.CLOCKS,
    unread.PLANNED,
    unread.LAST,
    unread.REPAIRS,
    unread.PEOPLE,
)  # mended elsewhere than in Logs' columns
LATER_ON = (unread.CAUSES, *NO_COLUMN)  # of the weekly review: what says no less of this week
TOUCHES = {  # what each page needs
    "week": (
        unread.ROWS,
        unread.SERIALS,
        unread.OFF,
        unread.OUTCOMES,
        unread.CAUSES,
        unread.CHARACTERISTIC,
        unread.LIMITS,
        unread.JUDGED,
        unread.LAST,
        unread.MINUTES,
        unread.CLOCKS,
        unread.PLANNED,
        unread.REPAIRS,
        unread.PEOPLE,
        unread.STAGE,
        unread.COLUMN,
    ),
    "drift": (unread.ROWS, unread.SERIALS, unread.OFF, unread.CHARACTERISTIC, unread.COLUMN),
    "capability": (
        unread.ROWS,
        unread.SERIALS,
        unread.OFF,
        unread.CHARACTERISTIC,
        unread.LIMITS,
        unread.JUDGED,
        unread.LAST,
        unread.COLUMN,
    ),
    "rework": (
        unread.SERIALS,
        unread.OFF,
        unread.OUTCOMES,
        unread.LATER,
        unread.CAUSES,
        unread.MINUTES,
        unread.CLOCKS,
        unread.PLANNED,
        unread.REPAIRS,
        unread.STAGE,
    ),
    "necks": (unread.ROWS, unread.LIMITS, unread.CHARACTERISTIC, unread.OUTCOMES),
    "bench": (
        unread.SERIALS,
        unread.OFF,
        unread.OUTCOMES,
        unread.CAUSES,
        unread.JUDGED,
        unread.LAST,
        unread.MINUTES,
        unread.CLOCKS,
        unread.PLANNED,
        unread.PEOPLE,
    ),
    "packet": (unread.OUTCOMES, unread.CHARACTERISTIC, unread.LIMITS, unread.MINUTES),
    "target card": (unread.CHARACTERISTIC, unread.OUTCOMES, unread.JUDGED, unread.LAST, unread.MINUTES),
}


def in_logs(rows: pl.DataFrame, page: str) -> bool:
    """Is any of it mended by saying what a column is? Limits stand in specs.csv, planned minutes in shop.toml."""
    elsewhere = [
        unread.ROWS,
        unread.SERIALS,
        unread.OFF,
        unread.LATER,
        unread.LIMITS,
        unread.JUDGED,
        *NO_COLUMN,
        *((unread.CAUSES,) if page == "week" else ()),
    ]
    return bool(rows["what"].is_in([one for one in TOUCHES[page] if one not in elsewhere]).any())


def waiting(rows: pl.DataFrame, page: str) -> bool:
    """Do rows wait for an answer that a page needs?"""
    return unread.ROWS in TOUCHES[page] and bool((rows["what"] == unread.ROWS).any())


def first_and_later(rows: pl.DataFrame, shop: Shop, page: str = "week") -> tuple[list[str], list[str]]:
    """The `lines` of a page: those that stand before all else, and those of the week that may stand behind it."""
    later = rows["what"].is_in(LATER_ON if page == "week" else ())
    return lines(rows.filter(~later), shop, page), lines(rows.filter(later), shop, page)


def lines(rows: pl.DataFrame, shop: Shop, page: str = "week") -> list[str]:
    """A sentence for each thing that was not read and that a page needs; stages without a row, or without any outcome,
    in one.
    """
    wanted = rows.filter(pl.col("what").is_in(TOUCHES[page]))
    if page in ("necks", "packet"):
        wanted = wanted.filter(~pl.col("what").is_in([unread.LIMITS, unread.CHARACTERISTIC]) | _incoming(shop))
    if page == "week":
        wanted = wanted.filter((pl.col("what") != unread.CLOCKS) | (pl.col("cells") >= unread.SOME * pl.col("of")))
    said: list[str] = []
    of_stages: dict[str, list[str]] = {}
    for row in wanted.iter_rows(named=True):
        what = row["what"]
        if what not in WHOLE or not row["key"] or row["cells"] < row["of"]:
            said.append(line(row, shop))
            continue
        if what not in of_stages:
            said.append(what)
        of_stages.setdefault(what, []).append(shop.stage_name(row["key"]).lower())
    return [WHOLE[one].format(numbers.listed(of_stages[one])) if one in of_stages else one for one in said]


def _incoming(shop: Shop) -> pl.Expr:
    """Characteristics that nobody at the bench sets: what came in."""
    return pl.col("key").is_in([one.key for one in shop.characteristics if not one.set_at])


def line(row: dict[str, Any], shop: Shop) -> str:
    """One thing that was not read, in a sentence."""
    what, key, cells, of = row["what"], row["key"], row["cells"], row["of"]
    count = numbers.count(cells)
    if what == unread.ROWS:
        why = f": {key}" if key else ""
        return f"{numbers.of(cells, of)} rows of the newest logs wait for an answer and are in no figure{why}."
    if what == unread.SERIALS:
        return (
            f"{count} times an instrument comes again a week or more after it had passed, and counts as a repeat, "
            'which no figure has. Where numbers are used again, serials = "each month" (each day, each year) in the '
            "[[log]] tells them apart, with `truerun again --all`."
        )
    if what == unread.OUTCOMES and not key:
        visits = "the one visit" if cells == 1 else f"any of {count} visits"
        return f"Outcomes are not read: no column says how {visits} ended."
    if what == unread.OUTCOMES:
        return f"Outcomes are not read at {shop.stage_name(key)}: {numbers.of(cells, of)} visits."
    if what == unread.LATER:
        return f"The sheets have no result at {shop.stage_name(key)} for {numbers.of(cells, of)} visits."
    if what == unread.CAUSES:
        return f"Causes are not read: no column says where a fault came from; {_causes(cells)} on file."
    if what == unread.LIMITS:
        held = _many(cells, "reading is", "readings are")
        return f"{_name(shop, key)}: no limits in specs.csv; {held} held against none."
    if what == unread.MINUTES:
        return (
            f"{shop.stage_name(key)}: no minutes planned, typed or clocked for {numbers.of(cells, of)} visits; no cost."
        )
    if what == unread.OFF:
        return clock_off(row, shop)
    if what == unread.CLOCKS:
        ran = "runs" if cells == 1 else "run"
        return (
            f"{numbers.of(cells, of)} clocks {ran} backwards, or over four times as long as is planned and usual at "
            f"the stage, and {'counts' if cells == 1 else 'count'} as the planned minutes."
        )
    if what == unread.PLANNED:
        return (
            f"{shop.stage_name(key)} takes {numbers.count(of)} minutes by the clock (half of {count} visits less, half "
            f"more), and {numbers.count(row['logs'])} are planned: minutes = {of} in its [[stage]] says so."
        )
    if what == unread.REPAIRS:
        return WHOLE[what].format(f"{shop.stage_name(key).lower()} ({numbers.of(cells, of)})")
    if what == unread.PEOPLE:
        names, they = (
            ("One name", "stands")
            if row["logs"] == 1
            else (f"{numbers.in_words(row['logs'], capital=True)} names", "stand")
        )
        return (
            f"{names} in the logs {they} in no list ({numbers.of(cells, of)} visits): say in Logs who that is; until "
            "then nobody's Bench has this work."
        )
    if what == unread.STAGE:
        return f"{shop.stage_name(key)}: no row read."
    if what == unread.COLUMN:
        return f"{key}: {_many(cells, 'cell', 'cells')} not read; nobody has said what the column is."
    if cells:
        whole = f" of {numbers.count(of)}" if of > cells else ""
        return f"{_name(shop, key)}: {_many(cells, 'cell', 'cells')} not read{whole}."
    return f"{_name(shop, key)}: not read; no column tells it."


def clock_off(row: dict[str, Any], shop: Shop) -> str:
    """A bench whose clock is off, by how much, since when, and the word that sets it right."""
    stage, *when = row["key"].split()
    told = dict(zip(when[::2], when[1::2], strict=True))
    days = "".join(f" {word} {numbers.day(date.fromisoformat(day))}" for word, day in told.items())
    quarters = max(round(abs(row["logs"]) / 15), 1)
    hour, minute = divmod(15 * quarters, 60)
    ahead, sign = ("ahead of", "") if row["logs"] > 0 else ("behind", "-")
    word = " ".join([f"{sign}{hour}:{minute:02d}", *when])
    return (
        f"The clock of {shop.stage_name(stage).lower()} runs about {hour}:{minute:02d} h {ahead} the other benches'"
        f"{days} ({numbers.of(row['cells'], row['of'])} instruments): hours between benches, their order and causes "
        f'by it are wrong. clock_ahead = {{ {stage} = "{word}" }} in the [[log]] sets it right, with '
        "`truerun again --all`."
    )


def _many(count: int, one: str, several: str) -> str:
    return f"{numbers.count(count)} {one if count == 1 else several}"


def _causes(count: int) -> str:
    return _many(count, "send-back, fix or reject", "send-backs, fixes and rejects")


def first(rows: pl.DataFrame, shop: Shop) -> str:
    """What is missing from the week, in the fewest words: stands before its headline."""
    words = [
        f"{numbers.share(row['cells'] / row['of'], 100)} of the newest rows"
        for row in rows.filter(pl.col("what") == unread.ROWS).iter_rows(named=True)
    ]
    if rows.filter((pl.col("what") == unread.OUTCOMES) & (pl.col("key") == "")).height:
        words.append("outcomes")
    whole = rows.filter(pl.col("what") == unread.CHARACTERISTIC)
    words += [_name(shop, key).lower() for key in whole["key"]]
    return f"Not read: {', '.join(words)}." if words else ""


def outcomes_missing(rows: pl.DataFrame) -> bool:
    """Does no log at all say how a visit ended?"""
    return rows.filter((pl.col("what") == unread.OUTCOMES) & (pl.col("key") == "")).height > 0


def causes_missing(rows: pl.DataFrame) -> bool:
    """Does no log say where a fault came from?"""
    return outcomes_missing(rows) or rows.filter(pl.col("what") == unread.CAUSES).height > 0


def _name(shop: Shop, key: str) -> str:
    found = shop.by_characteristic.get(key)
    return (found.name or key.replace("_", " ").capitalize()) if found else key


def came_back(n: int) -> str:
    """Of so many that were sent back no log tells whether they came back; '' for none."""
    if not n:
        return ""
    many = "instrument was" if n == 1 else "instruments were"
    they = "it" if n == 1 else "they"
    return f"{numbers.in_words(n, capital=True)} {many} sent back, and no log tells whether {they} came back."
