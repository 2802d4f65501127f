"""The register in words: what moved or was decided, how far it has come, who owns it, and whether it moved."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from analysis.studies.drift import actions
from analysis.studies.matters import register
from analysis.studies.matters.register import Entry, Line
from dashboard import numbers
from dashboard.sentences import matters, shared, shares_moved
from ingest.shopfiles.shop import Shop

KINDS = {
    "cause": "Cause",
    "action": "Action",
    "done": "Done",
    "close": "Closed",
    "reopen": "Opened again",
    "known": "Known",
    "decision": "Decision",
    "note": "Note",
}
MOVED = {
    actions.HOPED: "moved as hoped",
    actions.NO_CHANGE: "no change seen",
    actions.WORSE: "moved the other way",
    actions.TOO_EARLY: "too early to say",
    actions.WITH_IT: "moved on that day or since",
}


def headline(entries: list[Entry], shop: Shop) -> str:
    """What waits: nobody's and what is over its day first."""
    watched = sum(one.watched for one in entries)
    nobody = sum(one.state == register.OPEN for one in entries) - watched
    over = sum(bool(one.over) for one in entries)
    done = sum(one.state in (register.DONE, register.CHECKED) for one in entries)
    running = sum(one.waits for one in entries) - nobody - over - done - watched
    if not done and not nobody and not over and not running:
        return "Nothing waits in the book."
    parts = []
    if nobody:
        wait = "matter waits" if nobody == 1 else "matters wait"
        parts.append(f"{numbers.in_words(nobody)} {wait} for somebody to take {'it' if nobody == 1 else 'them'}")
    if over:
        parts.append(
            f"{numbers.in_words(over)} {'is' if over == 1 else 'are'} over {'its' if over == 1 else 'their'} day"
        )
    if running:
        parts.append(f"{numbers.in_words(running)} {'is' if running == 1 else 'are'} on the way")
    if done:
        parts.append(
            f"{numbers.in_words(done)} {'is done and waits' if done == 1 else 'are done and wait'} to be closed"
        )
    text = ", ".join(parts[:-1]) + (" and " if len(parts) > 1 else "") + parts[-1]
    return text[0].upper() + text[1:] + "."


def what(one: Entry, shop: Shop) -> str:
    """What moved or was decided, in one line."""
    matter = one.matter
    if matter is None:
        return f"Decision: {one.text}"
    key = matter.characteristics[0] if matter.characteristics else str(matter.main["characteristic"])
    if not key:
        return matters.name(matter, shop)
    several = len(matter.positions) > 1 or not matter.positions
    name = matters.read_at(matter, shared.characteristic(shop, key, "" if several else matter.positions[0]), shop)
    where = matters.models(matter, shop)
    if matter.size is None:
        return f"{name}, {where}"
    if not matter.shown:
        return f"{name}, {where}: beyond its limits, no move shown"
    more = ", nearer to target" if matter.to_target else ", a slow drift" if matter.slow else ""
    way = ("higher" if matter.size >= 0 else "lower") + more
    return f"{name}, {where}: {shared.amount(shop, key, abs(matter.size))} {way}"


def apart(one: Entry, shop: Shop) -> str:
    """Two who decided differently at once, with both decisions; '' where nobody did."""
    if one.apart is None:
        return ""
    told = [f"{said.who} at {shared.local(shop, said.at):%H:%M} ({_short(said)})" for said in one.apart]
    return f"Two decided at once: {told[0]}, {told[1]}. Both stand in the book; the later one counts."


def _short(said: Line) -> str:
    parts = [KINDS[said.kind].lower(), said.text, said.owner]
    return ": ".join(part for part in parts if part)


def under(one: Entry, shop: Shop, now: date) -> str:
    """That two decided at once, else what is done about it, else what it moves together with; of work that came back,
    how much did.
    """
    if one.apart:
        return apart(one, shop)
    if one.action:
        return one.action
    if one.matter is not None and not one.matter.characteristics:
        return shares_moved.line(one.matter, shop, now)
    return matters.why(one.matter, shop) if one.matter is not None else ""


def state(one: Entry, now: date) -> str:
    """How far it has come: `open, 8 days`, `action, 3 days over`, `done 26 Oct`."""
    if one.watched:
        return "watched"
    if one.state == register.OPEN:
        days = max((now - (one.opened_on or one.since)).days, 0)
        return f"open, {numbers.count(days)} {'day' if days == 1 else 'days'}"
    if one.over:
        return f"{'day' if one.over == 1 else 'days'} over: {numbers.count(one.over)}"
    if one.state == register.DONE and one.done_on:
        return f"done {numbers.day(one.done_on, now)}"
    if one.state == register.CLOSED and one.closed_on:
        return f"closed {numbers.day(one.closed_on, now)}"
    if one.state == register.KNOWN and one.matter is not None and one.matter.known_until:
        return f"known until {numbers.day(one.matter.known_until, now)}"
    return one.state


def in_hand(one: Entry, shop: Shop, now: date) -> str:
    """Who has it and by when, or how far it has come: `In hand: Mara, by 25 Nov: measure the blanks.`"""
    if one.state == register.OPEN:
        return "" if one.watched else "Nobody has it yet."
    told = f": {one.action}" if one.action else ""
    if one.state == register.ACTION:
        by = f", by {numbers.day(one.due, now)}" if one.due and not one.over else ""
        by = f", {numbers.count(one.over)} {'day' if one.over == 1 else 'days'} over" if one.over else by
        return f"In hand: {one.owner or 'nobody named'}{by}{told}."
    said = state(one, now)
    if one.state == register.CHECKED:
        on = f"done {numbers.day(one.done_on, now)}" if one.done_on else "done"
        said = f"{on}, {moved(one, shop)[0]}"
    who = f", {one.owner}" if one.owner and one.state in (register.DONE, register.CHECKED) else ""
    return f"{said[:1].upper()}{said[1:]}{who}{told}."


def moved(one: Entry, shop: Shop) -> tuple[str, str]:
    """Did it move after it was done: the verdict, and by how much over how many readings."""
    checked = one.checked
    if checked is None or one.matter is None:
        return ("not done yet", "") if one.state == register.ACTION and one.matter is not None else ("", "")
    readings = f"{numbers.count(checked.n)} {'reading' if checked.n == 1 else 'readings'} since"
    if checked.change is None or checked.low is None or checked.high is None:
        return MOVED.get(checked.verdict, checked.verdict), readings
    key = str(one.matter.main["characteristic"])
    low, change, high = (
        shared.amount(shop, key, each, sign=True) for each in (checked.low, checked.change, checked.high)
    )
    off = " off the centre line" if checked.verdict == actions.WITH_IT else ""
    return MOVED.get(checked.verdict, checked.verdict), f"{change} ({low} to {high}){off}, {readings}"


def line(said: Line, shop: Shop, now: date | datetime) -> tuple[str, str]:
    """One line of the book: what was written, and who wrote it when."""
    parts = [f"{KINDS.get(said.kind, said.kind)}: {said.text}" if said.text else KINDS.get(said.kind, said.kind)]
    if said.owner:
        parts.append(f"{said.owner}{f', by {numbers.day(said.due, now)}' if said.due else ''}")
    if said.done_on:
        parts.append(f"on {numbers.day(said.done_on, now)}")
    return "; ".join(parts), f"{said.who}, {numbers.day(shared.local(shop, said.at), now)}"


def due(entries: list[Entry], shop: Shop, now: date) -> list[tuple[str, str]]:
    """What is over or due, for Week and its paper: when and what, and who."""
    told = []
    for one in entries:
        day = numbers.day(one.due, now) if one.due else ""
        over = f"{numbers.count(one.over)} {'day' if one.over == 1 else 'days'} over" if one.over else f"by {day}"
        text = one.action or what(one, shop)
        told.append((f"{over[0].upper()}{over[1:]}: {text}", f"{one.owner or 'nobody'}, for {what(one, shop)}"))
    return told


def action(row: Mapping[str, Any], shop: Shop) -> tuple[str, str]:
    """What an action was about, with owner and date; and what is seen of it."""
    due = f", by {numbers.day(row['due'])}" if row["due"] else ""
    owner = f" {row['owner']}{due}." if row["owner"] else f" {due.removeprefix(', ')}." if due else ""
    about = (
        f"{shared.characteristic(shop, row['characteristic'], row['position'])} on {row['model']}."
        if row["model"]
        else ""
    )
    change, n = row["change"], row["n_after"]
    if row.get("back_before") is not None:  # a week kept before these were counted has none
        about, told = f"Work that came back to {shared.cause(shop, str(row['stage']))}.", _came_back(row)
    elif change is None:
        needed = f"{numbers.count(n or 0)} instruments since; {numbers.in_words(actions.LEAST)} are needed"
        told = WITHOUT.get(row["verdict"], needed)
    else:
        low, high = (shared.amount(shop, row["characteristic"], row[end], sign=True) for end in ("low", "high"))
        told = (
            f"{shared.amount(shop, row['characteristic'], change, sign=True)} ({low} to {high}) on "
            f"{numbers.count(n)} instruments"
        )
    return f"{about}{owner}".strip(), told


WITHOUT = {
    actions.NO_CHART: "its signal is no longer there",
    actions.SEVERAL: "Book says what its readings do together",
    actions.NOT_DUE: "",
}


def _came_back(row: Mapping[str, Any]) -> str:
    """`141 of 1,236 (11 %) came back before it, 12 of 150 (8 %) since`."""
    before, since = ((row[f"back_{part}"], row[f"n_{part}"]) for part in ("before", "after"))
    told = f"{_share(*before)} came back before it"
    return f"{told}, {_share(*since)} since" if since[1] else f"{told}; no whole week since"


def _share(back: int, n: int) -> str:
    return f"{numbers.of(back, n)} ({numbers.share(back / n, n)})" if n else numbers.of(back, n)
