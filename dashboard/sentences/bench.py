"""Findings on people at a bench in words, shared by the Bench page and the target card: for coaching, never without
their uncertainty.

Nobody is compared by a raw count, nobody is put in an order, and what is not shown yet is not held against anybody.
Pure functions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from analysis.studies.people import targets
from analysis.studies.people.first_work import Late
from analysis.studies.people.targets import Stand
from analysis.studies.people.techs import NO_ROD, NOBODY, NOT_JUDGED, TWO_NAMES
from dashboard import numbers
from dashboard.sentences import shared as sentences
from dashboard.sentences.drift import small
from dashboard.sentences.targets import FEW, MARKS, Row
from ingest.shopfiles.shop import Shop

LEAST_TOLD = 20  # people and benches looked at, from which the number that chance would tell of is said
ENOUGH = 12  # expected send-backs at which twice as many are seen in 86 to 90 of 100 cases (tests/trials/fair_techs.md)
LIGHT_EFFORT = (
    "If a rod, hook or peg does not move with light effort, stop and put it on hold: that is never counted against you."
)
NOT_CHARGED = {
    "supplier": "came from a supplier",
    "handling": "came from handling",
    "unknown": "of a cause not known",
    NO_ROD: "relief on instruments without a rod",
    TWO_NAMES: "visits with two names",
    NOBODY: "visits without a name",
    NOT_JUDGED: "instruments not judged yet",
}
SETTLE = (
    (
        "The people concerned",
        "Tell them what is kept, what it is for, who sees it and when it is deleted; hear what they say.",
    ),
    (
        "The law here",
        "Figures tied to a person are personal data in many places: ask what holds, and whether a works council has a "
        "say.",
    ),
    (
        "What was agreed",
        "Write down the purpose, that nothing follows from a figure by itself, and for how long it is kept.",
    ),
)
NAME_THEM = "Say in Logs who it is: from then on shop.toml names them, and their targets and their practice stand here."


def who(shop: Shop, tech: str) -> str:
    """A tech as the shop shows them: by code, or by name where that is settled."""
    if shop.people.show == "names":
        name = next((person.name for person in shop.techs if person.key == tech), "")
        return name or tech
    return tech


def caution(shop: Shop, name: str) -> str:
    """What the figures on a person are for."""
    purpose = shop.people.purpose.strip().rstrip(".") or "coaching"
    return (
        f"These figures are for {purpose}. They describe work on this mix of models, lots and weeks, with its "
        f"uncertainty; fewer than {FEW} "
        f"instruments is few. Local law and agreements decide their use. {name} can see the target card made of them."
    )


def past_keeping(shop: Shop, past: Mapping[str, date]) -> str:
    """Whose figures are no longer shown, and what takes their names out; '' for nobody."""
    if not past:
        return ""
    months = "1 month" if shop.people.keep_months == 1 else f"{numbers.count(shop.people.keep_months)} months"
    told = ", ".join(f"{who(shop, tech)} ({numbers.day(day)} {day.year})" for tech, day in past.items())
    return (
        f"Figures of one person are shown for {months} after their last visit ([people] keep_months), so nothing "
        f"stands here of {told}. "
        f"truerun forget {next(iter(past))} takes a name out of every file."
    )


def headline(
    shop: Shop, tech: str, stage: str, stands: Sequence[Stand], row: Row | None = None, late: Late | None = None
) -> str:
    """`T14 at nut slotting: two targets shown to hold, one not yet, one with too few instruments to say.` row: of
    `first_work`; what came back more than chance and mix explain is said there too, and when that is over, and before
    it whose spread is wide: `1.9 times as wide as the others in nut height`.
    """
    count = {word: sum(stand.verdict == word for stand in stands) for word in MARKS}
    here = f"{who(shop, tech)} at {shop.stage_name(stage).lower()}"
    back = "; more came back than chance and mix explain" if row is not None and is_found(row) else ""
    if back and late is not None and late.over:
        back += f" before {numbers.day(late.since)}, not since"
    if not stands:
        return f"{here}: no target band yet{back}."
    words = {
        targets.SHOWN: "shown to hold",
        targets.NOT_SHOWN: "not yet",
        targets.TOO_FEW: "with too few instruments to say",
    }
    told: list[str] = []
    for word, short in words.items():
        if count[word]:
            noun = "" if told else f" {'target' if count[word] == 1 else 'targets'}"
            told.append(f"{numbers.in_words(count[word])}{noun} {short}")
    wide = {shop.characteristic_name(str(one.band["characteristic"])): one.wide[0] for one in stands if one.wide}
    spread = [f"{numbers.plain(times, 1)} times as wide as the others in {small(name)}" for name, times in wide.items()]
    return f"{here}: {', '.join(told)}{''.join(f'; {each}' for each in spread)}{back}."


def is_found(row: Row) -> bool:
    """Did more come back than chance and mix explain, and does the interval leave out what the others give?"""
    return bool(row["more"]) and row["ratio_low"] is not None and row["ratio_low"] >= 1


def look_together(rows: Sequence[Row], shop: Shop) -> list[tuple[str, str, str]]:
    """Where work came back more than chance and mix explain, in bench order: tech, stage, `T05 at nut slotting, 1.6 to
    2.8 times`. rows : of `first_work`, those that were looked at.
    """
    return [
        (
            row["tech"],
            row["stage"],
            f"{who(shop, row['tech'])} at {shop.stage_name(row['stage']).lower()}, "
            f"{numbers.span(row['ratio_low'], row['ratio_high'], 1)} times",
        )
        for row in rows
        if is_found(row)
    ]


def by_chance(looked_at: int) -> str:
    """How many of those looked at chance alone would tell of."""
    known = looked_at >= LEAST_TOLD
    of = f"of {numbers.count(looked_at)} looked at, at most {numbers.plain(looked_at / 20, 0)}" if known else "1 in 20"
    return f"Times as often as the others' work on the same mix; {of} would stand here by chance."


def came_back(row: Row | None) -> str:
    """First work that came back against the same mix by the others; repairs that did apart from it. row: of
    `first_work`.
    """
    if row is None or not row["judged"]:
        return "No judged instrument here yet."
    n, back = int(row["judged"]), int(row["came_back"] or 0)
    few = " Few instruments: little can be said." if n < FEW else ""
    seen = f"{numbers.of(back, n)} judged instruments came back"
    more = f"{few}{_repairs(row)}"
    if row["expected"] is None:
        return f"{seen}. Nobody else did enough of the same models here to hold it against.{more}"
    known = ""
    if row["known_share"] < 0.995:
        known = f" Of {numbers.share(1 - row['known_share'], n)} of it the others did too little to say much."
    expected = numbers.plain(row["expected"], 1)
    if row["ratio"] is None and not back:
        return f"{seen}, nor did any of the others' work here: that says nothing of what is caught here.{more}"
    if row["ratio"] is None:
        return f"{seen}; from the same mix by the others none would be expected.{more}"
    ends = f"between {numbers.plain(row['ratio_low'], 1)} and {numbers.plain(row['ratio_high'], 1)} times"
    drawn = f" Allowing for chance, about {numbers.plain(row['shrunk'], 1)} times." if _told_alike(row) else ""
    return (
        f"{seen}; from the others about {expected} would have come back on the same mix: "
        f"{ends}.{known}{drawn}{_not_held(row)}{more}"
    )


def _repairs(row: Row) -> str:
    """Repairs that came back, and all send-backs charged; '' where these are the instruments told already."""
    k, done, back = int(row["charged"]), int(row["repairs"]), int(row["repairs_back"])
    told = f" Told apart: {numbers.of(back, done)} repairs here came back too." if done and back else ""
    if k == int(row["came_back"] or 0):
        return told
    return f"{told} With repeats {numbers.count(k)} {'send-back is' if k == 1 else 'send-backs are'} charged in all."


def of_late(late: Late | None) -> str:
    """The latter half of somebody's first work, of which more came back over all; '' where nothing is known of it."""
    if late is None:
        return ""
    over = ", no more than the others' any longer" if late.over else ""
    return (
        f"Since {numbers.day(late.since)}, the latter half: {numbers.of(late.came_back, late.judged)} came back, about "
        f"{numbers.plain(late.expected, 1)} expected{over}."
    )


def _told_alike(row: Row) -> bool:
    """Do the interval of the ratio and that of the estimate drawn towards 1 say the same of 1? Where few people do the
    work their expectations hang on each other, which only the first minds: that interval alone is told.
    """
    ends = [row[name] for name in ("ratio_low", "ratio_high", "shrunk_low", "shrunk_high")]
    return None not in ends and (ends[0] > 1, ends[1] < 1) == (ends[2] > 1, ends[3] < 1)


def chance_and_mix(row: Row | None, late: Late | None = None) -> tuple[str, str]:
    """Two answers to `is that more than chance and mix explain`, each with how often it errs: by every visit here, and
    by the funnel of the shop. Empty where there is nothing to hold against.
    """
    if row is None or row["ratio"] is None or row["more"] is None:
        return "", ""
    often = "of people whose work is as the others', 1 in 20 or fewer would be told so"
    if row["more"]:
        holds_one = row["ratio_low"] is not None and row["ratio_low"] < 1
        but = " The interval above still holds 1, as the others: a hint, not a finding." if holds_one else ""
        lead = "Perhaps more came back than" if holds_one else "More came back than"
        first = f"{lead} chance and mix explain ({often}).{but} Look at the work together, and at what came with it."
        if late is not None and late.over:
            first = f"{lead} chance and mix explain before {numbers.day(late.since)} ({often})."
    else:
        little = row["expected"] < ENOUGH
        first = "Not more came back than chance and mix explain"
        first += (
            f"; where fewer than {ENOUGH} are expected, even twice as much often cannot be told from chance."
            if little
            else "."
        )
    inside = "Outside" if row["outside_funnel"] else "Inside"
    held = "998 of 1,000 people would be inside by chance and by what varies for everybody here"
    wider = ". It is the stricter test of the two" if row["more"] and not row["outside_funnel"] else ""
    return first, f"{inside} the funnel: {held}{wider}."


def not_charged(rows: list[Row]) -> str:
    """What is charged to nobody."""
    if not rows:
        return "Every send-back of the first round is charged."
    told = ", ".join(f"{numbers.count(row['count'])} {NOT_CHARGED.get(row['why'], row['why'])}" for row in rows)
    return f"Charged to nobody in the shop: {told}."


def offset(shop: Shop, row: Row) -> str:
    """Spread and offset of what somebody sets, against the others on the same models and positions at the same time."""
    key = row["characteristic"]

    def amount(value: float, sign: bool = True) -> str:
        return sentences.amount(shop, key, value, sign=sign, mean=True)

    few = " Few." if row["instruments"] < FEW else ""
    shown = row["offset_low"] > 0 or row["offset_high"] < 0
    told = [amount(row[name]) for name in ("offset", "offset_low", "offset_high")]
    kind = sentences.quantity(shop, key)
    side = f"{told[0]} from the others ({told[1]} to {told[2]})"
    if not any(numbers.is_some(text) for text in told):  # all three are smaller than what is shown
        side = f"less than {numbers.least(kind, shown=shop.length_of(key))} from the others"
    wide = f"spread {numbers.plain(row['ratio'], 2)} times theirs ({numbers.span(row['ratio_low'], row['ratio_high'])})"
    return f"{side}{'' if shown else ', no offset shown'}; {wide}.{few}{_not_held(row)}{_slips(int(row['far']))}"


def _not_held(row: Row) -> str:
    """How many stand apart and are not among the others; '' for nobody."""
    n = int(row["not_held"])
    if not n:
        return ""
    who, are = ("one", "stands apart and is") if n == 1 else (numbers.in_words(n), "stand apart and are")
    return f" Of the people here {who} {are} not among the others."


def apart_by_chance() -> str:
    """How often chance alone sets somebody apart (`methods.standing_apart`)."""
    return "Held against the middle of the people there; of 50 benches with equal hands, 1 would stand here by chance."


def set_apart(rows: Sequence[Row], shop: Shop) -> list[tuple[str, str, str]]:
    """Whose work of late stands apart from the middle of the people at a bench: tech, stage, `T05 at nut slotting, nut
    height +0.12 mm and 1.8 times as wide`. rows : of `set_spread.spreads`.
    """
    found = []
    for row in rows:
        if not row["apart"]:
            continue
        told = []
        if row["offset_low"] > 0 or row["offset_high"] < 0:
            told.append(sentences.amount(shop, row["characteristic"], row["offset"], sign=True, mean=True))
        if row["ratio_low"] > 1 or row["ratio_high"] < 1:
            told.append(f"{numbers.plain(row['ratio'], 1)} times as wide")
        where = f"{who(shop, row['tech'])} at {shop.stage_name(row['stage']).lower()}"
        what = shop.characteristic_name(row["characteristic"])
        if told:
            found.append((row["tech"], row["stage"], f"{where}, {what[:1].lower()}{what[1:]} {' and '.join(told)}"))
    return found


def _slips(far: int) -> str:
    """Readings left out of a spread; '' for none."""
    if not far:
        return ""
    many, lie, they = ("reading", "lies", "it is") if far == 1 else ("readings", "lie", "they are")
    return (
        f" {numbers.in_words(far, capital=True)} {many} {lie} far from all others and may be mistyped: {they} not "
        f"counted until {they} corrected."
    )


def in_no_list(row: Row) -> tuple[str, str]:
    """Of a name that shop.toml does not list: `NORA stands in the logs and in no list.`, and since when."""
    n = row["visits"]
    visits = "1 visit" if n == 1 else f"{numbers.count(n)} visits"
    return f"{row['tech']} stands in the logs and in no list.", f"{visits} since {numbers.day(row['first_day'])}."


def timed(row: Row | None) -> str:
    """How long half of somebody's first visits take, of those that were typed or clocked."""
    if row is None or not row["timed"]:
        return "No minutes are typed or clocked here: planned ones are nobody's."
    few = ", few" if row["timed"] < FEW else ""
    middle = numbers.minutes(row["timed_median"])
    return f"Half of the first visits take {middle} or less ({numbers.count(row['timed'])} visits{few})."
