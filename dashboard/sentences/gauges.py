"""What stands beside a verdict that rests on a gauge whose check is overdue, or that reads beside its master piece."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from analysis.review import Review
from analysis.studies.gauges.register import Standing
from dashboard import numbers
from dashboard.sentences import shared
from dashboard.sentences.shared import Sentence
from ingest.shopfiles.shop import Shop

ReadOn = Mapping[tuple[str, str], Collection[str]]  # gauges that readings name, by characteristic and setup
CHECK_IT = "Check it before anything is done about this."


def shown_in(one: Standing, shop: Shop) -> str:
    """The unit of what a gauge measures; the shop's where it measures things that are shown in several."""
    of = {key for gauge in shop.gauges if gauge.key == one.gauge for key in gauge.measures}
    units = {shop.length_of(key) for key in of if shared.quantity(shop, key) == "length"}
    return units.pop() if len(units) == 1 else shop.shop.length


def says(one: Standing, shop: Shop) -> str:
    """How a gauge stands, in words."""
    if one.drifts and one.bias is not None:
        way = "high" if one.bias > 0 else "low"
        off = numbers.mm(abs(one.bias), shown=shown_in(one, shop))
        return f"drifts: its last five checks read {off} {way}{_interval(one, shop)}"
    if one.due:
        return "check overdue" if one.last_at else "never checked"
    return f"in order{_interval(one, shop)}"


def _interval(one: Standing, shop: Shop) -> str:
    """Where the mean of the last five checks lies beside the master piece: `, beside its master piece by -0.02 to
    +0.05 mm`.
    """
    if one.low is None or one.high is None:
        return ""
    low, high = (numbers.mm(end, shown=shown_in(one, shop), sign=True) for end in (one.low, one.high))
    return f", {low.partition(numbers.NBSP)[0]} to {high} beside its master piece"


def beside(out: Sequence[Standing], shop: Shop, characteristic: str, named: Collection[str] = ()) -> str:
    """The note of a verdict on a characteristic; '' where its gauges are in order.

    out : gauges that are not in order.  named : the gauges that its readings name; none: all declared for it.
    """
    of = {gauge.key for gauge in shop.gauges if characteristic in gauge.measures}
    mine = [one for one in out if one.gauge in of and (not named or one.gauge in named)]
    return f"{' '.join(_sentence(one, shop) for one in mine)} {CHECK_IT}" if mine else ""


def every(out: Sequence[Standing], shop: Shop) -> str:
    """What rests on gauges that are not in order, for a page of many verdicts; '' where all are."""
    late = [one for one in out if not one.drifts]
    told = [_overdue(late, shop)] if len(late) > 1 else []
    for one in out if len(late) <= 1 else (one for one in out if one.drifts):
        measures = [key for gauge in shop.gauges if gauge.key == one.gauge for key in gauge.measures]
        what = " and ".join(shop.characteristic_name(key).lower() for key in measures)
        alone = all(
            sum(key in gauge.measures for gauge in shop.gauges) == 1 for key in measures
        )  # no other gauge reads it
        how = f"All that is said of {what}" if alone else f"What is said of {what} by its readings"
        told.append(f"{_sentence(one, shop)} {how} rests on it.")
    return " ".join(told)


def _overdue(out: Sequence[Standing], shop: Shop) -> str:
    """Several gauges whose check is overdue, in one sentence."""
    each = [
        f"{one.name} for {_measured(one, shop)} ({f'last {_day(one, shop)}' if one.last_at else 'never'})"
        for one in out
    ]
    return f"Overdue on the master piece: {numbers.listed(each)}. What is said by their readings rests on them."


def _measured(one: Standing, shop: Shop) -> str:
    keys = [key for gauge in shop.gauges if gauge.key == one.gauge for key in gauge.measures]
    return numbers.listed([shop.characteristic_name(key).lower() for key in keys])


def notes(found: Review, out: Sequence[Standing], shop: Shop, read_on: ReadOn) -> dict[str, str]:
    """The note of each matter of a week that rests on gauges not in order, by the matter's key. read_on : the gauges
    that readings name, by characteristic and setup.
    """
    told = {}
    for one in (*found.matters, *found.known):
        matter = one.matter
        models = matter.models or [str(matter.main["model"])]
        each = []
        for key in matter.characteristics:
            named = {gauge for model in models for gauge in read_on.get((key, model), ())}
            each.append(beside(out, shop, key, named))
        if note := " ".join(dict.fromkeys(filter(None, each))):
            told[matter.key] = note
    return told


def with_notes(told: Sequence[Sentence], of: Mapping[str, str]) -> list[Sentence]:
    """Findings of a week, those of matters with their note. of : `notes`."""
    return [replace(one, why=f"{one.why} {of.get(one.key, '')}".strip()) for one in told]


def _sentence(one: Standing, shop: Shop) -> str:
    name = f"{one.name[:1].upper()}{one.name[1:]}"
    if one.drifts and one.bias is not None:
        way = "high" if one.bias > 0 else "low"
        return f"{name} reads {numbers.mm(abs(one.bias), shown=shown_in(one, shop))} {way} on its master piece."
    if one.last_at is None:
        return f"{name} was never checked on its master piece."
    return f"{name}: its check on the master piece is overdue, the last was {_day(one, shop)}."


def _day(one: Standing, shop: Shop) -> str:
    return numbers.day(shared.local(shop, one.last_at)) if one.last_at else ""
