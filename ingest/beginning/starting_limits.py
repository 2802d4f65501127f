"""specs.csv to start from: the trade's limits of each family for what was found, in the shop's unit of length."""

from collections.abc import Iterator, Mapping

from ingest.beginning.families import FAMILIES, Family, Limits
from ingest.beginning.first_shop import Draft
from ingest.beginning.steps_seen import POWERS, Step
from ingest.shopfiles.specs import STARTING_VALUE

HEADER = "characteristic,position,family,model,stage,supplier,target,lower,upper,unit,from_date,agreed_on,note"
BOW: Limits = (0, -0.1, 0.25)  # incoming, in mm: hump, hollow


def specs_text(draft: Draft, steps: Mapping[str, Step] | None = None) -> str:
    """specs.csv with a starting limit for each family and measurement; every one marked as not the shop's own.

    steps : the steps seen of measurements, by key: their limits stand on these marks, in the unit that is typed.
    """
    inches = draft.about.get("length") == "in"
    wanted = [
        (family, *one) for family in draft.families() if family in FAMILIES for one in _of(FAMILIES[family], draft)
    ]
    if draft.measure_key("neck_bow") in draft.measures:
        wanted.append(("", "neck_bow", "", BOW, "mm"))
    lines = [HEADER]
    for family, measure, position, limits, unit in wanted:
        key = draft.measure_key(measure)
        step = (steps or {}).get(key)
        on = _on_marks(limits, step) if step and unit == "mm" and step.quantity == "length" else None
        lines.append(_row(key, position, family, *(on or (limits, unit)), inches=inches))
    return "\n".join(lines) + "\n"


def _of(family: Family, draft: Draft) -> Iterator[tuple[str, str, Limits, str]]:
    held = {draft.trade_measure(key): list(entry.get("positions", [])) for key, entry in draft.measures.items()}
    if "relief" in held and family.relief:
        yield "relief", "", family.relief, "mm"
    for measure, sides in (("action", family.action), ("nut", family.nut)):
        if measure in held and sides:
            for position, limits in by_position(held[measure], *sides):
                yield measure, position, limits, "mm"
    if "intonation" in held and family.cents:
        yield "intonation", "", (0, -family.cents, family.cents), "cents"
    if "head" in held and family.head:
        yield "head", "", family.head, ""


def by_position(positions: list[str], bass: Limits, treble: Limits) -> Iterator[tuple[str, Limits]]:
    """Limits for each position: of its side, between them for a string by its number, of both where none is named."""
    if not positions:
        yield "", ((bass[0] + treble[0]) / 2, min(bass[1], treble[1]), max(bass[2], treble[2]))
    numbers = [int(position) for position in positions if position.isdecimal()]
    for position in positions:
        if position in ("bass", "treble"):
            yield position, bass if position == "bass" else treble
        elif position.isdecimal() and max(numbers) > 1:
            share = (int(position) - 1) / (max(numbers) - 1)
            low, high = treble, bass
            yield (
                position,
                (
                    round(low[0] + share * (high[0] - low[0]), 2),
                    round(low[1] + share * (high[1] - low[1]), 2),
                    round(low[2] + share * (high[2] - low[2]), 2),
                ),
            )


def _on_marks(limits: Limits, step: Step) -> tuple[Limits, str]:
    """The nearest marks of the gauge, in the unit its readings are typed in, a mark at least from the target."""
    target, low, high = (round(value / step.canonical) for value in limits)
    unit, size = step.unit, float(step.size)
    if unit == "in" and step.size.denominator in POWERS:
        unit, size = "64ths", 64 * size
    elif unit not in ("in", "thou", "64ths"):  # hundredths of a mm, a cm
        unit, size = "mm", step.canonical
    marks = target, min(low, target - 1) if limits[1] else low, max(high, target + 1)
    on_target, on_low, on_high = (round(mark * size, 6) for mark in marks)
    return (on_target, on_low, on_high), unit


def _row(key: str, position: str, family: str, limits: Limits, unit: str, *, inches: bool) -> str:
    factor = 25.4 if inches and unit == "mm" else 1.0
    target, low, high = (f"{round(value / factor, 4):g}" for value in limits)
    written = "in" if inches and unit == "mm" else unit
    return f'{key},{position},{family},,,,{target},{low},{high},{written},,,"{STARTING_VALUE}"'
