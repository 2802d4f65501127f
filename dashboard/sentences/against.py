"""One group of readings against another in words: how far apart, how sure, over what, and what lay outside."""

from datetime import date, timedelta

from analysis.studies.drift.against import Against, Seen, Side
from dashboard import numbers
from dashboard.sentences import shared
from ingest.shopfiles.shop import Shop

FEW = 30
HOW = (
    "Choose on the first line what you ask about: a model, a person, a lot, a gauge or days. On the second what to "
    "hold it against; left open, that is all else."
)
COACHING = (
    "Figures of one person's work are for coaching: readings differ by instrument, day and gauge as well, and local "
    "agreements decide their use."
)


def name(side: Side, *, other: bool = False) -> str:
    """`HERON-D, set by T05, 1 to 31 Oct`; everything, or of the second side everything else."""
    parts = [
        side.model,
        f"set by {side.tech}" if side.tech else "",
        f"lot {side.lot}" if side.lot else "",
        f"gauge {side.gauge}" if side.gauge else "",
        days(side.first, side.last),
    ]
    told = ", ".join(part for part in parts if part)
    if other:
        return f"all else of {told}" if told else "all else"
    return told or "everything"


def examples(model: str, since: date | None) -> list[tuple[str, dict[str, str]]]:
    """What may be asked to begin with, with the choices that ask it. since : the first day of its last four weeks."""
    if not model or since is None:
        return []
    day = since.isoformat()
    before = {"a_model": model, "a_from": day, "b_model": model, "b_to": (since - timedelta(days=1)).isoformat()}
    return [
        (f"{model}, {days(since, None)}, against before", before),
        (f"{model} against all else", {"a_model": model}),
    ]


def days(first: date | None, last: date | None) -> str:
    """`1 to 31 Oct`, `since 1 Oct`, `up to 31 Oct`."""
    if first and last:
        return numbers.days(first, last)
    return f"since {numbers.day(first)}" if first else f"up to {numbers.day(last)}" if last else ""


def headline(found: Against, shop: Shop, key: str, names: tuple[str, str]) -> str:
    """The finding in one sentence: which lies higher, by how much, and whether that is more than chance."""
    said = _finding(found, shop, key, names)
    return said[:1].upper() + said[1:]


def _finding(found: Against, shop: Shop, key: str, names: tuple[str, str]) -> str:
    a, b = names
    if not found.a.n:
        return f"No reading of {a}."
    if not found.b.n:
        return f"{a}: {_mean(found.a, shop, key)}; nothing to hold it against."
    apart = found.apart
    if found.other_targets and not found.from_target:
        return f"{a} and {b} cannot be compared: models are made to different targets, and not all of them are on file."
    if apart is None:
        return "Too few readings on one side to say how far apart they lie."
    size = shared.amount(shop, key, abs(apart.difference), mean=True)
    if apart.dof != apart.dof:
        return f"{a} and {b} differ by {size}; no reading differs from another, so nothing says how sure that is."
    each = ", each from its own target" if found.from_target else ""
    if not apart.sure:
        low, high = (shared.amount(shop, key, end, sign=True, mean=True) for end in (apart.low, apart.high))
        may = f"it may lie anywhere from {low} to {high}"
        if not any(numbers.is_some(text) for text in (low, high)):  # both are smaller than what is shown
            may = f"it is less than {numbers.least(shared.quantity(shop, key), shown=shop.length_of(key))} either way"
        return f"No difference is shown between {a} and {b}{each}: {may}."
    way = "higher" if apart.difference > 0 else "lower"
    ends = sorted((abs(apart.low), abs(apart.high)))
    first, last = (shared.amount(shop, key, end, mean=True) for end in ends)
    return f"{a} lies {size} {way} than {b}{each} ({first.partition(numbers.NBSP)[0]} to {last})."


def _mean(seen: Seen, shop: Shop, key: str) -> str:
    told = shared.amount(shop, key, seen.mean, mean=True)
    if seen.low is None or seen.high is None:
        return told
    low, high = (shared.amount(shop, key, end, mean=True) for end in (seen.low, seen.high))
    return f"{told} on average ({low.partition(numbers.NBSP)[0]} to {high})"


def key(*, from_target: bool = False) -> str:
    """What the marks of the chart are."""
    if from_target:
        return "dots in the order read, each from its own target; line: mean, on its 95 %"
    return "dots in the order read; line: mean, on its 95 %; board: what was asked"


def unlisted(names: list[str]) -> str:
    """That work stands under names that no list has: none of it is counted with the person who was meant."""
    if not names:
        return ""
    some = ", ".join(names[:3]) + (", ..." if len(names) > 3 else "")
    return f"Names that no list has stand apart ({some}); Logs asks who they are."


def facts(seen: Seen, shop: Shop, key: str, *, from_target: bool = False) -> list[tuple[str, str]]:
    """Figures of one side, each with its words."""
    whose = "mean, from its target" if from_target else "mean"
    many = "reading" if seen.n == 1 else "readings"
    few = ", few" if seen.n < FEW else ""
    less = ""
    if seen.carries is not None and seen.n - seen.carries > 1:
        less = f", that carry as much as {numbers.count(max(int(seen.carries), 1))} independent ones"
    said = [(numbers.count(seen.n), f"{many}{few}{less}")]
    if seen.mean is not None:
        low, high = (shared.amount(shop, key, end, mean=True, sign=from_target) for end in (seen.low, seen.high))
        span = f"{whose} ({low.partition(numbers.NBSP)[0]} to {high})" if seen.low is not None else whose
        said.append((shared.amount(shop, key, seen.mean, mean=True, sign=from_target), span))
    if seen.sd is not None:
        said.append((shared.amount(shop, key, seen.sd, mean=True), "spread (sd)"))
    if seen.limited:
        span = numbers.share_range(seen.outside_low, seen.outside_high, seen.limited)
        on = f"; {numbers.count(seen.on_limit)} on the limit" if seen.on_limit else ""
        said.append((numbers.of(seen.outside, seen.limited), f"outside ({span}){on}"))
    return said


def under(found: Against, *, all_else: bool = False) -> list[str]:
    """What the comparison rests on: models, targets, what was left out, what fitted both. all_else : the second side is
    whatever the first is not.
    """
    said = []
    if found.from_target:
        said.append("Models are made to different targets, so each reading is taken from its own.")
    if len(found.models) > 1:
        said.append(f"Compared model by model, at the same mix of {numbers.in_words(len(found.models))} models.")
    if found.left_out:
        few = ", ".join(found.left_out[:3]) + (
            f" and {numbers.in_words(len(found.left_out) - 3)} more" if len(found.left_out) > 3 else ""
        )
        said.append(f"On one side only, or with too few readings, and so left out of the difference: {few}.")
    if found.both and not all_else:
        fits = "reading fits both sides; it counts" if found.both == 1 else "readings fit both sides; they count"
        said.append(f"{numbers.count(found.both)} {fits} with the first.")
    if found.apart is not None and found.apart.dof == found.apart.dof:
        said.append("The range is a 95 % interval; lots and days that differ are allowed for.")
    return said
