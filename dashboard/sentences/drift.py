"""What Drift says in words: the finding of all streams, of one stream, why its limits differ, and what the bench book
holds.
"""

from datetime import date, datetime
from typing import Any

from analysis.studies.drift.shift import Outside, Shift
from analysis.studies.drift.states import MOVED, STEADY, THIN
from analysis.studies.drift.stream_view import StreamSeen
from analysis.studies.matters.records import SET_BY, TECH_AT, Candidate, Matter
from dashboard import numbers
from dashboard.sentences import going_with, judging, matters
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

APART = "A series by itself tells the day less surely than all readings together: hence two days."
LEAST_MORE = 0.2  # instruments a week
GAUGES = {"unfit": "unfit", "coarse": "coarse", "fit": "fit", "untested": "untested"}
WHY_ADJUSTED = {
    "setters differ": "people set it at different means, so the average is taken of the deviations from each one's "
    "own mean",
    "the air taken out": "its baseline followed the air, so the average is taken of what the air does not explain",
    "coarse": "the gauge's step is larger than the spread, so the step's own variance is counted in",
    "not independent": "neighbouring readings are alike, so the limits are wider than for independent ones",
    "held against all techs": "it has fewer readings of its own than a baseline needs, so it is held against the "
    "limits of everybody",
}
BOOK_WORDS = {
    "cause": "Cause",
    "action": "Action",
    "close": "Closed",
    "reopen": "Reopened",
    "known": "Marked known",
    "note": "Note",
    "decision": "Decision",
}


def stream_name(shop: Shop, row: dict[str, Any], *, stage: bool = False) -> str:
    """`HERON-OM, action bass`, with `, final inspection` where asked."""
    whole = sentences.characteristic(shop, row["characteristic"], row["position"])
    what = sentences.as_read(shop, whole, row["stage"])
    told = stage or what != whole  # what is named as it comes in is not that elsewhere
    return f"{sentences.model(shop, row['model'])}, {small(what)}" + (
        f", {small(shop.stage_name(row['stage']))}" if told else ""
    )


def not_the_cause(*, named: bool) -> str:
    """Under what was looked at: by what one is named, and what that does not say."""
    fits = "Named is what fits all readings best, not what reaches farthest. " if named else ""
    return f"{fits}Moving together is not the cause; look before you act."


def small(text: str) -> str:
    """A name inside a sentence; a name in capitals keeps them. Not for one that a model leads, which is as it is."""
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]


def under(shop: Shop, stages: list[str], weeks: int, last: date, tech: str = "") -> str:
    """Which readings, which weeks, and by what they are judged."""
    where = small(shop.stage_name(stages[0])) if len(stages) == 1 else "all stages"
    who = f" of what {tech} set" if tech else ""
    many = "week" if weeks == 1 else "weeks"
    seen = (
        f"First-pass readings{who} at {where}, {numbers.in_words(weeks)} {many} to "
        f"{numbers.long_day(last).partition(' ')[2]}."
    )
    return f"{seen} {judging.judged_by(shop)}"


def moved_line(row: dict[str, Any], shop: Shop, now: date) -> str:
    """One moved stream in a list: `up 0.17 mm, 28 % of the tolerance, since 12 Nov`, `by itself since 12 Nov` where all
    readings of its matter say another day; of one whose matter has ended
    while its chart is open: `back since 16 Nov, its chart is open still`.
    """
    if row.get("back_since") is not None:
        back = numbers.day(sentences.local(shop, row["back_since"]), now)
        return f"back since {back}, its chart is open still"
    own, whole = row["began_at"], row.get("matter_began")
    by_itself = "by itself " if own and whole and differs(own, whole, shop) else ""
    since = f", {by_itself}since {numbers.day(sentences.local(shop, own), now)}" if own else ""
    return moved_by(row, shop) + (since if row["shift"] is not None else "")


def differs(own: datetime, whole: datetime, shop: Shop) -> bool:
    """Do a series by itself and all readings of its matter say different days on which it began?"""
    return sentences.local(shop, own).date() != sentences.local(shop, whole).date()


def cost(more: float | None) -> str:
    """What a shift costs if it is left, of instruments a week: a guide, by a normal curve."""
    if more is None or more <= 0:
        return ""
    if more < LEAST_MORE:
        return "If left, hardly one more outside in a month."
    return f"If left, about {numbers.plain(more, 0 if more >= 2 else 1)} more outside a week."


def moved_by(row: dict[str, Any], shop: Shop) -> str:
    """By how much a stream moved: `up 0.17 mm, 28 % of the tolerance`."""
    if row["shift"] is None:
        return "moved; when it began cannot be said yet"
    way = "up" if row["shift"] >= 0 else "down"
    share = (
        f", {numbers.share(abs(row['shift_share']), 100)} of the tolerance" if row["shift_share"] is not None else ""
    )
    return f"{way} {sentences.amount(shop, row['characteristic'], abs(row['shift']))}{share}"


def state_words(row: dict[str, Any], shop: Shop, size: float | None) -> tuple[str, str]:
    """Mark and word of a stream's state: `("moved-up", "moved up 0.11 mm")`."""
    if row["state"] == MOVED:
        way = "down" if size is not None and size < 0 else "up"
        amount = f" {sentences.amount(shop, row['characteristic'], abs(size))}" if size is not None else ""
        return f"moved-{way}", f"moved {way}{amount}" if size is not None else "moved"
    return (THIN, "thin") if row["state"] == THIN else (STEADY, "steady")


def finding(
    view: StreamSeen, found: Shift | None, signal: dict[str, Any] | None, matter: Matter | None, shop: Shop, now: date
) -> str:
    """The finding of one stream, with its uncertainty, what it moves together with, and how its matter is told."""
    row = view.row
    key = str(row["characteristic"])
    what = sentences.as_read(shop, sentences.characteristic(shop, key, str(row["position"])), str(row["stage"]))
    what = f"{what} on {sentences.model(shop, str(row['model']))}"
    n = int(str(row["n"]))
    least = shop.judging.least_readings
    if row["state"] == THIN:
        if n < least:
            return (
                f"{numbers.count(n)} {'reading' if n == 1 else 'readings'}; from {least} on limits are drawn. Too "
                "few to say."
            )
        return f"All {numbers.count(n)} readings are the same or nearly so: a series without spread has no limits."
    if row["state"] == STEADY or signal is None:
        return f"{what} ran true: no chart of it has a signal open."
    if found is None or signal["began_at"] is None:
        return f"{what} moved; when it began cannot be said yet."
    way = "up" if found.size >= 0 else "down"
    share = f", {numbers.share(found.share, 100)} of its tolerance" if found.share is not None else ""
    began = numbers.day(sentences.local(shop, signal["began_at"]), now)
    few = f" Only {numbers.count(found.n_after)} readings since then: few." if found.n_after < 30 else ""
    if matter is not None and not matter.shown:
        side = "above" if found.size >= 0 else "below"
        return (
            f"{what} left its limits about {began}. Its readings since then lie "
            f"{sentences.amount(shop, key, abs(found.size))} {side} those before ({span(shop, key, found)}): taken "
            f"with all others of its matter they show no move.{few}"
        )
    if matter is not None and matter.back_since is not None:
        back = numbers.day(sentences.local(shop, matter.back_since), now)
        return (
            f"{what} had moved {way} {sentences.amount(shop, key, abs(found.size))} ({span(shop, key, found)}){share}, "
            f"since about {began}. All readings of its matter together say that it is back since {back}; this chart "
            "closes when its own average has come back."
        )
    text = (
        f"{what} moved {way} {sentences.amount(shop, key, abs(found.size))} ({span(shop, key, found)}){share}, "
        f"since about {began}.{few}"
    )
    if matter is None:
        return text
    whole = matters.whole(matter, shop, now)
    apart = whole and differs(signal["began_at"], matter.began_at or matter.opened_at, shop)
    why = APART if apart else ""
    told = (f"By this series alone, {small(text)}", whole, why, going_with.together(matter.moves_with, shop))
    return " ".join(part for part in told if part)


def could_have_seen(row: dict[str, Any] | None, shop: Shop, now: date) -> str:
    """What "ran true" leaves open: the smallest shift that this stream would have shown by now; '' where nobody can
    say."""
    if row is None or row["readings"] == 0:
        return ""
    n = f"{numbers.count(row['readings'])} {'reading' if row['readings'] == 1 else 'readings'}"
    since = numbers.day(sentences.local(shop, row["since"]), now)
    if row["shift"] is None:
        return f"Since {since} there {'is' if row['readings'] == 1 else 'are'} {n}: too few to have shown any shift."
    amount = sentences.amount(shop, str(row["characteristic"]), row["shift"])
    sigmas = numbers.plain(row["sigmas"], 1)
    return (
        f"A shift of {amount} ({sigmas} times the usual spread) or more since {since} would have shown by now, with a "
        f"chance of 90 %; a smaller one may be there unseen ({n})."
    )


KINDS = {
    "stream": "Each series, all who set it",
    "own": "Each series, one who set it",
    "young": "Young series together",
    "setter": "One who sets, over models",
    "gauge": "One gauge, over models",
    "characteristic": "One characteristic, over models",
    "share": "Weekly shares of what came back",
}


def span(shop: Shop, key: str, found: Shift) -> str:
    """The interval of a shift's size, in its own direction: `0.08 to 0.15`."""
    low, high = sorted((abs(found.low), abs(found.high)))
    if found.low * found.high < 0:
        low, high = found.low, found.high
    quantity, shown = sentences.quantity(shop, key), shop.length_of(key)
    low, high = (numbers.in_unit(x, quantity, shown=shown) for x in (low, high))
    return numbers.span(low, high, numbers.decimals_of(quantity, shown=shown))


def outside(part: Outside) -> tuple[str, str]:
    """Figure and note: `("0 of 52", "0 to 7 %")`."""
    if not part.n:
        return "no limits", "nothing is asked of these readings"
    return numbers.of(part.outside, part.n), numbers.share_range(part.low, part.high, part.n)


def adjusted(words: str) -> str:
    """Why the limits of the running average are not those of the plain readings; '' where they are."""
    told = [WHY_ADJUSTED.get(word, word) for word in words.split(";") if word]
    return f"The average's limits are not those of the plain readings: {'; '.join(told)}." if told else ""


def spread(ratio: float | None, n: int) -> str:
    """What the spread from reading to reading says beside that of all readings; '' where the two agree, or there are
    few.
    """
    if ratio is None or ratio >= 0.85 or n < 100:
        return ""
    return (
        f"From one reading to the next it spreads {numbers.share(ratio, 100)} of what all readings do: more than "
        "chance moves it along."
    )


def gauge(word: str) -> str:
    """What is known of a stream's gauge."""
    return f"gauge {GAUGES.get(word, word)}"


def candidate(one: Candidate, shop: Shop) -> str:
    """A thing looked at as its row in the chart; nobody is named."""
    if one.factor == SET_BY:
        return "Differs between people at this bench"
    if one.factor == TECH_AT:
        return f"Differs between people at {small(shop.stage_name(one.stage))}"
    text = going_with.candidate_words(one, shop)
    return text[:1].upper() + text[1:]


def signal_words(signal: dict[str, Any], shop: Shop, cause: str, now: date) -> str:
    """What stands beside a wedge: `signal, 3 Nov`; a closed one with its cause where the book has one."""
    if signal["closed_at"] is None:
        return f"signal, {numbers.day(sentences.local(shop, signal['opened_at']), now)}"
    when = numbers.day(sentences.local(shop, signal["closed_at"]), now)
    why = cause or ("by a person" if signal["closed_by"] == "a person" else signal["closed_by"])
    return f"closed {when}: {why}" if why else f"closed {when}"


def began_words(signal: dict[str, Any], shop: Shop, now: date) -> str:
    """`began 3 Nov, 30 Oct to 5 Nov`."""
    at, low, high = (sentences.local(shop, signal[name]) for name in ("began_at", "began_low", "began_high"))
    told = f"began {numbers.day(at, now)}"
    return told if low.date() == high.date() == at.date() else f"{told}, {numbers.days(low, high, now)}"


def entry(line: dict[str, Any], shop: Shop, now: datetime) -> tuple[str, str]:
    """One line of the bench book: what it says, and who wrote it when."""
    text = (line["text"] or "").strip()
    word = BOOK_WORDS.get(line["kind"], line["kind"])
    if line["kind"] == "known" and line["until"]:
        word = f"{word} until {numbers.day(line['until'], now)}"
    said = f"{word}: {text}" if text else f"{word}."
    if line["owner"] or line["due"]:
        due = f"by {numbers.day(line['due'], now)}" if line["due"] else ""
        said += f" ({', '.join(part for part in (line['owner'], due) if part)})"
    written = f"{numbers.day(sentences.local(shop, line['at']), now)}, {line['who'] or 'nobody named'}"
    if line["opened_at"]:
        written += f"; signal of {numbers.day(sentences.local(shop, line['opened_at']), now)}"
    return said, written


def young(shop: Shop, n: int) -> str:
    """A stream that has readings enough to look at, too few for limits of its own."""
    full = shop.judging.baseline_readings
    return (
        f"{numbers.count(n)} readings so far: its limits are provisional until there are {numbers.count(full)}. Until "
        "then it is judged on the "
        "short-run chart, together with the other young series of this characteristic, each by its own mean and "
        "spread."
    )


def by_shape(levels: list[str], marks: tuple[str, ...], what: str) -> str:
    """Which shape stands for what."""
    if not levels:
        return f"No {what} is written down for these readings."
    return "; ".join(f"{mark}: {level}" for mark, level in zip(marks, levels, strict=False)) + "; others as before."


def unsteady(streams: int, points: Any) -> str:
    """Whether a baseline was steady; a step and a far reading are named in the table."""
    if not len(points):
        return "The baseline is steady: no reading lies farther out, and no mean shifts more, than chance explains."
    if streams <= 1:
        many = "reading says" if len(points) == 1 else "readings say"
        return (
            f"The baseline is unsteady: {numbers.in_words(len(points))} {many} so. Leave one out only with a "
            "reason, or name other days."
        )
    touched = points.select("characteristic", "position", "model", "stage", "tech").n_unique()
    return (
        f"The baseline is unsteady in {numbers.count(touched)} of {numbers.count(streams)} series. Leave a "
        "reading out only with a reason."
    )


def proposed(row: dict[str, Any], width: float, shop: Shop) -> str:
    """The limits that a baseline gives, in one sentence."""
    key = row["characteristic"]
    low, high = (sentences.amount(shop, key, row["centre"] + side * width * row["sigma"]) for side in (-1, 1))
    holds = numbers.day(sentences.local(shop, row["holds_from"]))
    return (
        f"From {numbers.count(row['n'])} readings: centre line {sentences.amount(shop, key, row['centre'])}, limits of "
        f"one reading {low} and {high}; "
        f"they judge from {holds} on."
    )


def part_of_a_shift(n: int) -> str:
    """Readings far from the old edge because their stream moved."""
    many = "reading lies" if n == 1 else "readings lie"
    return (
        f"{numbers.in_words(n, capital=True)} more {many} beyond four times the usual spread because the series "
        "moved: part of the shift, not odd."
    )
