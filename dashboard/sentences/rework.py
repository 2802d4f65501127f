"""What came back, in words: work, hours and money with their denominators; stages, never people."""

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from datetime import date
from typing import Any

import polars as pl

from analysis.studies.drift.shares_standing import Standing
from analysis.studies.rework.rework import Flows
from analysis.studies.rework.work_mix import UNKNOWN
from dashboard import numbers
from dashboard.sentences.shared import ends_unread
from dashboard.sentences.unread import came_back as came_back_untold
from ingest.shopfiles.shop import Shop

KINDS = {"fixed": "fixed on the spot", "reject": "rejected", "second": "sold as a second", "return": "returned"}
FEW = 30  # instruments: below it a sample is called few
MANY = 10  # expected instruments: from here on told without a decimal
ELSEWHERE = {"supplier": "the supplier", "handling": "handling", "unknown": "a stage not known"}


def at(typed: str) -> str:
    """Where on the instrument a fault lies: `string 3 fret 7` of `3 fret 7`; a side as it is."""
    return f"string {typed}" if typed[:1].isdigit() else typed


def place(shop: Shop, key: str) -> str:
    """A stage, supplier, handling or unknown, by its name."""
    return ELSEWHERE.get(key) or shop.stage_name(key).lower()


def named(shop: Shop, key: str) -> str:
    """A stage by its name; supplier, handling, unknown as they are."""
    return key if key in ELSEWHERE else shop.stage_name(key)


def charted(shop: Shop, key: str) -> str:
    """The name of a chart of what came back."""
    return "Stage not known" if key == UNKNOWN else shop.stage_name(key)


def not_read(within: str, judged: int) -> str:
    """Of weeks whose judged instruments no log tells the end of: never that nothing came back."""
    return f"What was sent back {within} is not read: {ends_unread(judged)}"


def headline(found: Flows, shop: Shop, within: str, judged: int) -> str:
    """`28.1 of the 67.4 hours of work that came back in 4 weeks are put down to nut slotting, 46 % of its send-backs
    confirmed. Play test caught 17.4 of them.`
    """
    if found.rows.is_empty():
        return f"Nothing was sent back {within}." if judged else f"No instrument was judged {within}."
    work = float(found.total["minutes"][0])
    if work <= 0:
        sent = int(found.total["count"][0])
        return f"{numbers.count(sent)} sent back {within}; no work on {'it' if sent == 1 else 'them'} is on file yet."
    by = found.rows.group_by("caused_at").agg(pl.col("minutes").sum())
    cause, most = by.sort("minutes", "caused_at", descending=[True, False]).row(0)
    caught, part = found.rows.filter(pl.col("caused_at") == cause).select("caught_at", "minutes").row(0)
    mine = found.rows.filter(pl.col("caused_at") == cause)
    sent, confirmed = int(mine["count"].sum()), int(mine["count_confirmed"].sum())
    sure = f", {numbers.share(confirmed / sent, sent)} of its send-backs confirmed" if confirmed else ""
    share, whole = numbers.plain(most / 60, 1), numbers.plain(work / 60, 1)
    of = f"All {whole}" if share == whole else f"{share} of the {whole}"
    stage = place(shop, caught)
    return (
        f"{of} hours of work that came back {within} are put down to {place(shop, cause)}{sure}. "
        f"{stage[0].upper() + stage[1:]} caught {numbers.plain(part / 60, 1)} of them."
    )


def worth(found: Flows, shop: Shop) -> str:
    """`67.4 hours are 2,561 EUR. `; nothing where the shop names no cost of an hour."""
    work = float(found.total["minutes"][0]) / 60
    if work <= 0 or not shop.shop.labour_per_hour:
        return ""
    return f"{numbers.plain(work, 1)} hours are {numbers.money(found.total['cost'][0], shop.shop.currency)}. "


def away(found: Flows) -> str:
    """`113.7 days between send-back and return; 7 loops are still open.`"""
    total = found.total.row(0, named=True)
    still = f"; {numbers.count(total['open'])} still open" if total["open"] else ""
    return f"{days(total['hours'])} in all between send-back and return{still}"


def money(cost: float, shop: Shop) -> str:
    """`, 3,040 EUR`; nothing where the shop names no cost of an hour."""
    return f", {numbers.money(cost, shop.shop.currency)}" if shop.shop.labour_per_hour else ""


def days(hours: float) -> str:
    """Elapsed hours as days, with their nights and weekends: `12.3 days`."""
    return numbers.with_unit(numbers.plain(hours / 24, 1), "days")


def straight(k: int, n: int, rolled: pl.DataFrame) -> str:
    """Never sent back with its interval, and the rolled yield beside it."""
    if not n or rolled.is_empty():
        return "None judged yet."
    row = rolled.row(0, named=True)
    few = " Few instruments so far." if n < 30 else ""
    if row["never_sent_back"] is None:
        return "Never sent back: not read."
    low, high = row["never_sent_back_low"], row["never_sent_back_high"]
    interval = f" ({numbers.share_range(low, high, n)})" if low is not None else ""
    told = f"Never sent back: {numbers.of(k, n)}, {numbers.share(k / n, n)}{interval}."
    if row["rolled_yield"] is None:
        return told + few
    through = numbers.share(row["rolled_yield"], n)
    return (
        f"{told} Through every stage at first, by the stages one by one: {through}; fixes and rejects count there.{few}"
    )


def flow(found: Flows, shop: Shop) -> str:
    """Where most of the work is caught, how far from its cause, how much of it nobody confirmed."""
    work = float(found.rows["minutes"].sum())
    if work <= 0:
        sent = int(found.total["count"][0])
        many = "One instrument was" if sent == 1 else f"{numbers.count(sent)} instruments were"
        return f"{many} sent back; no work on {'it' if sent == 1 else 'them'} is on file yet."
    by = found.rows.group_by("caught_at").agg(pl.col("minutes").sum())
    where, most = by.sort("minutes", "caught_at", descending=[True, False]).row(0)
    here = found.rows.filter((pl.col("caught_at") == where) & pl.col("stages_back").is_not_null())
    say = f"{numbers.share(most / work, 100)} of the work was caught at {place(shop, where)}"
    if len(here):
        back = float((here["stages_back"] * here["count"]).sum()) / float(here["count"].sum())
        say += f", on average {numbers.plain(back, 1)} stages after the cause"
    sure = float(found.rows["minutes_confirmed"].sum()) / work
    return f"{say}. The cause of {numbers.share(sure, 100)} of the work is confirmed."


def minutes(found: Flows) -> str:
    """What the figures are made of, and the days beside the work."""
    total = found.total.row(0, named=True)
    still = (
        f" {numbers.in_words(total['open'], capital=True)} {'loop is' if total['open'] == 1 else 'loops are'} still "
        "open and counted so far."
        if total["open"]
        else ""
    )
    rests = f" {numbers.count(total['rests'])} rested a second time." if total["rests"] else ""
    away = ""
    if total["count"]:
        away = (
            f" Away meanwhile: {days(total['hours'])} in all, {days(total['hours'] / total['count'])} each on average, "
            "nights and weekends counted; work is what was done at the bench."
        )
    plan = f"{numbers.share(total['planned_share'], 100)} of the work is planned, not clocked or typed."
    return f"{plan}{away}{rests}{still}"


def returned(found: pl.DataFrame, shop: Shop) -> str:
    """What came back after packing."""
    if found.is_empty():
        return "Nothing came back after packing in these weeks."
    n, half = found.height, found["days_out"].median()
    still = int((~found["packed"]).sum())
    going = f" {numbers.in_words(still, capital=True)} not packed again yet, counted so far." if still else ""
    few = " Few." if n < FEW else ""
    return (
        f"{numbers.count(n)} {'instrument' if n == 1 else 'instruments'} came back after packing, "
        f"{numbers.hours_of(float(found['minutes'].sum()))} of work{money(float(found['cost'].sum()), shop)}, half of "
        f"them within {numbers.plain(half, 1)} days.{going} Freight and parts are not counted.{few}"  # type: ignore[arg-type]
    )


def faults(found: pl.DataFrame) -> str:
    """The commonest fault, and what cannot be told apart from it."""
    if found.is_empty():
        return "No send-back names a fault."
    row = found.row(0, named=True)
    name = row["name"] or "no fault named"
    if len(found) == 1 and not row["name"]:
        sent = numbers.count(row["count"])
        return "The one send-back names no fault." if sent == "1" else f"None of the {sent} send-backs names its fault."
    say = (
        f"{name[0].upper() + name[1:]} comes back most: {numbers.of(row['count'], int(found['count'].sum()))} "
        "send-backs."
    )
    same = [other or "no fault named" for other in row["same_as"].split(";") if other]
    if same:
        many = same[:3] + ([f"{numbers.in_words(len(same) - 3)} more"] if len(same) > 3 else [])
        return f"{say} It cannot be told apart from {' and '.join(many)}."
    return f"{say} It stands apart from the rest."


def change(row: dict[str, Any], shop: Shop) -> str:
    """One change in words: `Nut slotting, caught at play test: half as often`."""
    cause, caught = place(shop, row["caused_at"]), place(shop, row["caught_at"])
    cause = cause[0].upper() + cause[1:]
    if row["kind"] == "halved":
        return f"{cause}, caught at {caught}: half as often"
    return f"{cause}: found at {place(shop, row['instead_at'])}, not at {caught}"


def savings(row: dict[str, Any], shop: Shop) -> str:
    """The change worth most, with its interval; row: of `savings.WhatIf`."""
    low, high = numbers.plain(row["minutes_low"] / 60, 1), numbers.hours(row["minutes_high"] / 60)
    return (
        f"Worth most: {change(row, shop)[0].lower() + change(row, shop)[1:]} would save "
        f"{numbers.hours_of(row['minutes'])} ({low} to {high}){money(row['cost'], shop)}."
    )


def savings_note(many: int) -> str:
    """What the intervals of so many changes promise, and what is not in the money."""
    most = "The one worth most" if many == 1 else f"The {numbers.in_words(many)} worth most"
    return (
        f"{most} of those that save any work. In 95 of 100 shops such as this every real saving lies within its line, "
        f"{'' if many == 1 else 'all at once; '}"
        "having been chosen as the best is allowed for. Savings do not add up: one instrument can be in two lines. "
        "Parts are not counted: no log or shop file says what a part costs."
    )


def instead(back: int, size: int, expected: float) -> str:
    """`31 of 190 instruments (16 %) where some 12 (6 %) would be expected`."""
    some = numbers.plain(expected, 0 if expected >= MANY else 1)
    told = f"{numbers.of(back, size)} instruments ({numbers.share(back / size, size)})"
    return f"{told} where some {some} ({numbers.share(expected / size, size)}) would be expected"


def times(low: float, high: float) -> str:
    """`1.7 to 3.9 times as many`: the interval of what came back over what was to be expected."""
    return f"{numbers.span(low, high, 1)} times as many"


def lasting(standing: Sequence[Standing], shop: Shop, now: date) -> str:
    """Stages of which more, or less, comes back since some week, as Week tells it."""
    told = []
    for one in standing:
        found, more = one.since, "More" if one.since.low > 1 else "Less"
        what = instead(found.came_back, found.instruments, found.expected)
        where = f"{charted(shop, one.stage).lower()}{f' on {numbers.listed(one.models)}' if one.models else ''}"
        since = f"since the week of {numbers.day(one.week, now)}"
        told.append(f"{more} than before at {where} {since}: {what}; {times(found.low, found.high)}.")
    return " ".join(told)


def _came_back(row: dict[str, Any]) -> str:
    return "were sent back" if row["stage"] == UNKNOWN else "came back to it"


def weekly(state: str) -> str:
    """What a stage's week is beside the weeks before it."""
    return {
        "above": "more than chance gives",
        "below": "less than chance gives",
        "within": "as before",
        "no base": "no weeks before",
    }[state]


def weekly_say(out: pl.DataFrame, shop: Shop, *, held: bool = True) -> str:
    """Which stages stand outside what their twelve weeks before let expect; held: is a week before this one on file?"""
    if out.is_empty() and not held:
        return "No week before this one is on file to hold it against. The largest:"
    if out.is_empty():
        return "In this week alone no stage differs from its twelve weeks before by more than chance. The largest:"
    told = []
    for row in out.iter_rows(named=True):
        name, n = charted(shop, row["stage"]), row["instruments"]
        what = f"{numbers.of(row['came_back'], n)} {_came_back(row)}, {numbers.share(row['share'], n)}"
        before = ""
        if row["base_share"] is not None:
            mixed = _at_this_mix(row)
            before = f"; {_share_before(row)} in the twelve weeks before{f', which let {mixed}' if mixed else ''}"
        state = row["state"] if row["state"] in ("above", "below") else row["faults_state"]
        faults = "" if row["state"] in ("above", "below") else ", but its faults an instrument stand out"
        told.append(f"{name}: {what}{before}{faults}: {weekly(state)}.")
    return " ".join(told)


def _share_before(row: dict[str, Any]) -> str:
    """What came back in the twelve weeks before, of all instruments counted then."""
    return numbers.share(row["base_came_back"] / row["base_instruments"], row["instruments"])


def _at_this_mix(row: dict[str, Any]) -> str:
    """`expect 15 % of this week's models, lots and inspectors`, where that is another figure than what came back then;
    else ''. Chance is judged round this one.
    """
    expected = numbers.share(row["base_share"], row["instruments"])
    return "" if expected == _share_before(row) else f"expect {expected} of this week's models, lots and inspectors"


def weekly_row(row: dict[str, Any]) -> dict[str, str]:
    """A stage's week beside its drawings."""
    n, base = row["instruments"], row["base_share"] is not None
    before = "no weeks before to judge by"
    if base:
        mixed = _at_this_mix(row)
        before = f"before {_share_before(row)}{f', by which to {mixed}' if mixed else ''}; "
        before += f"chance gives {numbers.share_range(row['lower'], row['upper'], n)}"
    faults_before = (
        f"before {numbers.plain(row['base_faults_each'], 2)}; "
        f"chance gives {numbers.span(row['faults_lower'], row['faults_upper'], 2)}"
        if base
        else "no weeks before to judge by"
    )
    few = ", few" if n < FEW else ""
    return {
        "came_back": numbers.of(row["came_back"], n),
        "share": numbers.share(row["share"], n) + few,
        "before": before,
        "faults": numbers.plain(row["faults_each"], 2),
        "faults_before": faults_before,
    }


def weekly_figures(row: dict[str, Any]) -> dict[str, str]:
    """A stage's week as a line of a table."""
    n, base = row["instruments"], row["base_share"] is not None
    return {
        "came_back": numbers.of(row["came_back"], n),
        "share": numbers.share(row["share"], n),
        "faults": numbers.plain(row["faults_each"], 2),
        "base": _share_before(row) if base else numbers.NONE,
        "mixed": numbers.share(row["base_share"], n) if base else numbers.NONE,
        "within": numbers.share_range(row["lower"], row["upper"], n) if base else numbers.NONE,
        "state": weekly(row["state"]),
        "faults_base": numbers.plain(row["base_faults_each"], 2) if base else numbers.NONE,
        "faults_within": numbers.span(row["faults_lower"], row["faults_upper"], 2) if base else numbers.NONE,
        "faults_state": weekly(row["faults_state"]),
    }


def others(n: int) -> str:
    """All the rest of a Pareto together."""
    return f"The other {numbers.in_words(n)} stages" if n > 1 else "The other stage"


def not_judged(waiting: pl.DataFrame, untold: AbstractSet[str] = frozenset()) -> str:
    """Work that stands in no week yet; untold: serials sent back of which no log tells whether they came back."""
    unsaid = waiting.filter((pl.col("standing") == "lost") & pl.col("serial").is_in(list(untold))).height
    count = {word: int((waiting["standing"] == word).sum()) for word in ("bench", "hold", "lost")}
    said = came_back_untold(unsaid)
    return (
        f"Not in these figures, for it has not yet had its chance to come back: {numbers.count(count['bench'])} on "
        f"the bench, {numbers.count(count['hold'])} on hold, {numbers.count(count['lost'] - unsaid)} not seen for 30 "
        f"days.{f' {said}' if said else ''}"
    )
