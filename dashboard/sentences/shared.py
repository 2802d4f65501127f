"""Findings in words: what moved, which lot is in doubt, what came back - shared by page, paper and command line.

Every sentence carries its number, its uncertainty and its denominator; a small sample is called small; nobody is
blamed. Pure functions from what the studies found; nothing is computed here but the choice of words.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from analysis.review import USUAL_WEEKS, Review
from dashboard import numbers
from dashboard.address import address
from dashboard.charts import sparkline
from dashboard.charts.sparkline import Pair
from ingest.shopfiles.shop import Shop

FEW = 30  # instruments; fewer are called few
STARTING = "The limits are starting values, not this shop's own: put its own in specs.csv before anybody is told."
HALFWAY = 1e-9  # a limit this close to the middle of two marks decides every reading

INCOMING = ", incoming"  # how `new` names what comes in

FLAGS = {
    "corrected": "corrected",
    "real": "it is real",
    "above": "or more",
    "below": "or less",
    "interval": "middle of a range",
}


@dataclass(frozen=True)
class Sentence:
    """One finding: mark and word, the sentence with its first words in bold, what stands behind it, and the way to its
    page.
    """

    state: str  # a mark of dashboard.parts.MARKS
    word: str
    lead: str
    rest: str = ""
    why: str = ""
    link: str = ""
    page: str = ""
    spark: Pair | None = None
    picture: str = ""  # what the small drawing shows
    key: str = ""  # of the matter it tells of

    @property
    def text(self) -> str:
        """All of it on one line."""
        return " ".join(part for part in (f"{self.lead}{self.rest}", self.why) if part)


def characteristic(shop: Shop, key: str, position: str = "") -> str:
    """`Action bass`, `Intonation string 1`, `Intonation string 1 fret 7`; what a plain gauge reads lies at no string:
    `Head gauge at 4`.
    """
    name = shop.characteristic_name(key)
    if not position:
        return name
    first, _, rest = position.partition(" ")
    item = shop.by_characteristic.get(key)
    if first.isdigit() and item is not None and item.quantity == "plain":
        return f"{name} at {position}"
    return f"{name} string {first}{' ' + rest if rest else ''}" if first.isdigit() else f"{name} {position}"


def as_read(shop: Shop, words: str, stage: str) -> str:
    """A name without `, incoming` where it is read at a stage that receives nothing: of what has been worked on."""
    role = shop.roles.get(stage)
    return words.removesuffix(INCOMING) if role not in (None, "receiving") else words


def models_of(shop: Shop, key: str) -> list[str]:
    """The models that a setup holds, by name; a model by itself."""
    return [model for model, setup in shop.setups.items() if setup == key] or [key]


def model(shop: Shop, key: str) -> str:
    """A setup with the models that share it: `tenor (LARK-25, LARK-40)`; a model by itself."""
    held = models_of(shop, key)
    return key if held == [key] else f"{key} ({', '.join(held)})"


def places(shop: Shop, rows: Sequence[tuple[str, str]], most: int = 3) -> list[str]:
    """Names of (characteristic, position) inside a sentence, each characteristic named once: `intonation string 2`,
    `string 5`, `neck relief`; the last is `and six more` where there are many.
    """
    said, before = [], ""
    for key, position in rows[: most if len(rows) > most + 1 else None]:
        whole, name = characteristic(shop, key), characteristic(shop, key, position)
        short = name.removeprefix(whole).strip() if key == before and position else name
        said.append(short if short[1:2].isupper() else short[:1].lower() + short[1:])
        before = key
    left = len(rows) - len(said)
    return [*said, f"{numbers.in_words(left)} more"] if left else said


def quantity(shop: Shop, key: str) -> str:
    """What kind of quantity a characteristic is."""
    item = shop.by_characteristic.get(key)
    return item.quantity if item else "plain"


def amount(shop: Shop, key: str, value: float | None, *, sign: bool = False, mean: bool = False) -> str:
    """A number of a characteristic with its unit, as the shop reads it; half cents where its gauge shows them or one
    was typed.
    """
    mean = mean or (quantity(shop, key) == "pitch" and _halves(shop, key, value))
    return numbers.amount(value, quantity(shop, key), shown=shop.length_of(key), sign=sign, mean=mean)


def apart(shop: Shop, key: str, value: float, limit: float) -> tuple[str, str]:
    """A value of a characteristic and the limit that it lies beyond, as `amount` writes them, with more digits where
    these would not tell the one from the other.
    """
    mean = quantity(shop, key) == "pitch" and (_halves(shop, key, value) or _halves(shop, key, limit))
    return numbers.apart(value, limit, quantity(shop, key), shown=shop.length_of(key), mean=mean)


def _halves(shop: Shop, key: str, value: float | None) -> bool:
    """Are cents of this characteristic read in parts of one?"""
    steps = [gauge.step for gauge in shop.gauges if key in gauge.measures and gauge.step]
    if steps:
        return any(step % 1 for step in steps)
    return value is not None and value % 1 == 0.5


def flag_words(flag: str) -> str:
    """The flags of a reading as a person says them."""
    return ", ".join(FLAGS.get(word, word) for word in flag.split(";") if word)


def local(shop: Shop, when: datetime) -> datetime:
    """A moment by the clock on the shop's wall."""
    return when.astimezone(shop.zone)


UNSAID = {
    "matters",
    "streams",
    "lots",
    "weeks",
}  # parts of a review without which nobody can say that the rest ran true


def gaps(found: Review) -> list[str]:
    """What could not be worked out, a sentence a part."""
    return list(dict.fromkeys(f"{why[:1].upper()}{why[1:]}." for why in found.gaps.values()))


def between_marks(found: Sequence[Any], shop: Shop) -> list[str]:
    """Limits of specs.csv that lie between two marks of the gauge (`Specs.between`), a sentence a characteristic and
    gauge.
    """
    told = []
    undecided = [one for one in found if abs(one.limit - (one.below + one.above) / 2) > HALFWAY]
    for (key, gauge), own in groupby(sorted(undecided, key=_by_gauge), key=_by_gauge):
        every = list(own)
        one = every[0]
        kind, shown = quantity(shop, key), shop.length_of(key)

        def amount_of(value: float, kind: str = kind, shown: str = shown) -> str:
            digits = numbers.decimals_of(kind, shown=shown) + 1
            text = numbers.plain(numbers.in_unit(value, kind, shown=shown), digits)
            return numbers.with_unit(text, numbers.unit_of(kind, shown=shown))

        name = next((item.name or item.key for item in shop.gauges if item.key == gauge), gauge)
        more = f" The same holds for {numbers.count(len(every) - 1)} more limits of it." if len(every) > 1 else ""
        told.append(
            f"{shop.characteristic_name(key)}: the {one.column} limit of specs.csv, line {one.line}, "
            f"{amount_of(one.limit)}, lies between two marks of {name} ({amount_of(one.below)} and "
            f"{amount_of(one.above)}), so that a reading next to it decides nothing; a limit halfway between two "
            f"marks decides every reading.{more}"
        )
    return told


def _by_gauge(one: Any) -> tuple[str, str]:
    return one.characteristic, one.gauge


def lot(row: dict[str, object], shop: Shop) -> Sentence:
    """A lot of necks in doubt, with what was agreed."""
    n, outside = int(str(row["n"])), float(str(row["outside"]))
    bad = round(outside * n)
    what = characteristic(shop, str(row["characteristic"])).lower()
    agreed = row["agreed_limit"]
    allowed = (
        f", the agreed limit is {amount(shop, str(row['characteristic']), float(str(agreed)))}"
        if agreed is not None
        else ""
    )
    low, high = float(str(row["outside_low"])), float(str(row["outside_high"]))
    few = " Few necks so far." if n < 30 else ""
    share = f"{numbers.share(outside, n)}, and between "
    share += f"{numbers.share_range(low, high, n).replace(' to ', ' and ')} in the whole lot"
    if low == high:
        share = f"{numbers.share(outside, n)}, the whole lot measured"
    on = f" {numbers.count(int(str(row['on_limit'])))} more lie on the limit." if row.get("on_limit") else ""
    spark = sparkline.interval_spark(outside, low, high, None, max(2 * high, 0.1))
    return Sentence(
        "in-doubt",
        "in doubt",
        f"Neck lot {row['lot']}: {numbers.of(bad, n)} outside the limits for {what}",
        f"{allowed}.",
        f"{share}.{on}{few}",
        address("/necks", supplier=row["supplier"], lot=row["lot"]),
        "Necks",
        spark,
        f"Share outside in lot {row['lot']} with its interval",
    )


def cause(shop: Shop, key: str) -> str:
    """A cause in the middle of a sentence: a stage, or where else it came from."""
    names = {"supplier": "the supplier", "handling": "handling", "unknown": "a stage not known"}
    return names.get(key) or shop.stage_name(key).lower()


def thin(found: Review, shop: Shop) -> Sentence | None:
    """Streams with too few readings, as a finding."""
    if not found.thin:
        return None
    n, least = found.thin, shop.judging.least_readings
    return Sentence(
        "thin",
        "thin",
        f"{numbers.in_words(n, capital=True)} {'series has' if n == 1 else 'series have'} fewer than {least} readings",
        " or no spread. Too few to say.",
        "",
        address("/drift", state="thin"),
        "Drift",
        sparkline.thin_spark(),
        "Too few readings to draw",
    )


def steady(found: Review) -> Sentence | None:
    """What ran true, as a finding."""
    n = found.steady
    if not n:
        return None
    if found.matters or found.thin:
        say = f"The other {numbers.count(n)} series ran true."
    else:
        every = "The one series" if n == 1 else f"All {numbers.count(n)} series"
        say = f"{every} that can be judged ran true."
    return Sentence(
        "steady", "steady", say, "", "", "/drift", "Drift", sparkline.stream_spark([0.0] * 20), "Flat: ran true"
    )


def ends_unread(judged: int) -> str:
    """Of instruments judged whose end no log tells."""
    of = "the one" if judged == 1 else f"the visits of {numbers.count(judged)}"
    return f"no log says how {of} judged ended."


def normal(found: Review, shop: Shop) -> list[tuple[str, str, str]]:
    """Is it a normal week: (name, figure, sentence) for instruments finished, never sent back, signals opened."""
    this = found.weeks.filter(found.weeks["week"] == found.week)
    if this.is_empty():
        return []
    row = this.row(0, named=True)
    judged = int(row["judged"])
    told = row["never_sent_back"] is not None
    straight = round((row["never_sent_back"] or 0.0) * judged)
    said = [_finished(found, None if found.finished is None else row["finished"])]
    share = numbers.share(row["never_sent_back"], judged) if told else "not read" if judged else numbers.NONE
    of = f"{numbers.of(straight, judged)} judged. " if judged else "None judged yet. "
    if judged and not told:
        words = ends_unread(judged)
        of = f"{words[0].upper()}{words[1:]} "
    said.append(
        (
            "Never sent back",
            share,
            of
            + (
                _usual(found, "never_sent_back", row["never_sent_back"], lambda x: numbers.share(x, 100))
                if told or not judged
                else ""
            ),
        )
    )
    budget = shop.judging.budget
    many = "signal" if budget == 1 else "signals"
    allowed = f" The shop allows {numbers.plain(budget, 1).removesuffix('.0')} false {many} a week." if budget else ""
    if row["signals_opened"] is None:
        least = shop.judging.least_readings
        nothing = f"Nothing could be judged: no series has {least} readings and a spread yet."
        why = "Signals could not be worked out." if found.streams > found.thin else nothing
        return [*said, ("New signals", numbers.NONE, why)]
    opened = int(row["signals_opened"])
    maybe = " One of them may be chance." if budget and opened >= 1 else ""
    maybe += " One cause may raise several." if opened > 1 else ""
    said.append(
        (
            "New signals",
            numbers.count(opened),
            _usual(found, "signals_opened", float(opened), numbers.count) + maybe + allowed,
        )
    )
    return said


def _finished(found: Review, many: int | None) -> tuple[str, str, str]:
    """How many were finished, and whether that is usual."""
    if many is None:
        return "Instruments finished", "not read", "No log says what passed its last stage."
    return "Instruments finished", numbers.count(many), _usual(found, "finished", float(many), numbers.count)


def _usual(found: Review, name: str, value: float | None, write: object) -> str:
    ends = found.usual.get(name)
    if ends is None or value is None:
        return f"What is usual is said from {USUAL_WEEKS[0]} weeks before this one on."
    low, high = ends
    assert callable(write)
    told = f"{write(low)} to {write(high)} in nineteen weeks of twenty."
    if low <= value <= high:
        return f"As usual: {told}"
    return f"{'More' if value > high else 'Less'} than usual: {told}"
