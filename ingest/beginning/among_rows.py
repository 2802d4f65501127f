"""What a column means by what stands beside its cells in the same rows: begin and end, where it went back to, hands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import permutations

from ingest.beginning.among_words import Seen, by_routes, by_send_backs
from ingest.beginning.guesses import Guess, Level
from ingest.beginning.profiles import Profile
from ingest.reading.headings import plain
from ingest.terms.clock import Order, read_stamp

LOOKED_AT = 400  # rows whose stamps are read, spread over the sheet
A_VISIT = timedelta(hours=12)  # no visit to a bench lasts longer than a working day
ALWAYS, MOSTLY, SELDOM = 0.98, 0.9, 0.5
MOST_HANDS = 40
OTHER_DAYS = "its cells: days, but another column says when"
SHARED = 0.02  # of the rows: a stamp that so few differ in is of an export, not of a visit
TIED = 0.7  # of all names, met at one stage on the average


def by_rows(columns: Sequence[Seen], guesses: Sequence[Guess], looks: Sequence[Profile], order: Order) -> list[Guess]:
    """The guesses of all columns, mended by what stands in the same rows."""
    out = _begin_and_end(columns, guesses, looks, order)
    out = by_routes(columns, out, looks)
    out = _sent_back(columns, out, looks)
    out = _hands(columns, out, looks)
    return by_send_backs(columns, out, looks)


def _open(guess: Guess) -> bool:
    """Is nothing known of the column, or nothing for sure?"""
    return guess.level == "unsure" or not guess.field


def earlier_first(one: Sequence[str], other: Sequence[str], order: Order) -> float:
    """Of the rows that hold both stamps, the share in which `one` is not after `other`; 0 where no row holds both."""
    pairs = _both(one, other, order)
    return sum(a <= b for a, b in pairs) / len(pairs) if pairs else 0.0


def _both(one: Sequence[str], other: Sequence[str], order: Order) -> list[tuple[datetime, datetime]]:
    step = max(1, len(one) // LOOKED_AT)
    read = [(_read(a, order), _read(b, order)) for a, b in zip(one[::step], other[::step], strict=True)]
    return [(a, b) for a, b in read if a is not None and b is not None]


def _read(cell: str, order: Order) -> datetime | None:
    stamp = read_stamp(cell, order) if cell.strip() else None
    if stamp is None or not stamp[3]:
        return None
    return stamp[0] or stamp[1]


def _begin_and_end(
    columns: Sequence[Seen], guesses: Sequence[Guess], looks: Sequence[Profile], order: Order
) -> list[Guess]:
    """Two columns of day and time of which one is a little later in every row: when it was begun and when it ended."""
    out = list(guesses)
    if any(guess.field == "finished_at" and guess.taken for guess in out):
        return out
    stamped = [
        place
        for place, guess in enumerate(out)
        if looks[place].dates > MOSTLY
        and looks[place].distinct > max(5, SHARED * looks[place].filled)
        and guess.level != "said"
        and not guess.stage
        and (guess.field in ("", "date", "started_at") or guess.level == "unsure" or guess.why == OTHER_DAYS)
    ]
    found = []
    for first, last in permutations(stamped, 2):
        pairs = _both(columns[first].cells, columns[last].cells, order)
        if len(pairs) < 5:
            continue
        short = sum(timedelta(0) <= b - a <= A_VISIT for a, b in pairs) / len(pairs)
        if short >= ALWAYS and any(a != b for a, b in pairs):
            found.append((first, last))
    if len(found) == 1:
        why = "its cells: a little before the other in every row"
        first, last = found[0]
        out[first] = replace(out[first], field="started_at", level="likely", why=why)
        out[last] = replace(out[last], field="finished_at", level="likely", why=why.replace("before", "after"))
        for place in stamped:
            if place not in (first, last) and out[place].field == "date" and out[place].why == "its cells":
                out[place] = Guess(
                    out[place].heading, "other", level="likely", why="its cells: days, but other columns say when"
                )
    return out


def _sent_back(columns: Sequence[Seen], guesses: Sequence[Guess], looks: Sequence[Profile]) -> list[Guess]:
    """A column filled in few rows, with words of the stage column only: where an instrument was sent back to."""
    out = list(guesses)
    stage = next((place for place, guess in enumerate(out) if guess.field == "stage" and guess.taken), None)
    if stage is None or any(guess.field == "sent_back_to" and guess.taken for guess in out):
        return out
    words = {plain(cell) for cell in columns[stage].cells} - {""}
    fit = []
    for place, guess in enumerate(out):
        if not _open(guess) or not 0 < looks[place].filled < SELDOM * looks[place].rows:
            continue
        cells = [plain(cell) for cell in columns[place].cells if cell.strip()]
        if sum(cell in words for cell in cells) >= MOSTLY * len(cells) and len(words) > 1:
            fit.append(place)
    for place in fit:
        why = f"its cells: words of {out[stage].heading!r} in {looks[place].filled} rows"
        level: Level = "likely" if len(fit) == 1 else "unsure"
        out[place] = replace(out[place], field="sent_back_to", level=level, why=why)
    return out


def _hands(columns: Sequence[Seen], guesses: Sequence[Guess], looks: Sequence[Profile]) -> list[Guess]:
    """Few short names that change along an instrument's way and go with the stage are the people at the benches."""
    out = list(guesses)
    taken = {guess.field: place for place, guess in enumerate(out) if guess.taken}
    if "tech" in taken or "serial" not in taken or "stage" not in taken:
        return out
    serials = [plain(cell) for cell in columns[taken["serial"]].cells]
    stages = [plain(cell) for cell in columns[taken["stage"]].cells]
    fit = []
    for place, guess in enumerate(out):
        look = looks[place]
        if not _open(guess) or guess.why.startswith("its meaning") or not _names(look):
            continue
        names = [plain(cell) for cell in columns[place].cells]
        if _changes(names, serials) and _tied(names, stages):
            fit.append(place)
    for place in fit:
        why = "its cells: few, they change along an instrument's way and go with the stage"
        level: Level = "likely" if len(fit) == 1 else "unsure"
        out[place] = replace(out[place], field="tech", measure="", position="", level=level, why=why)
    return out


def _names(look: Profile) -> bool:
    """Could these cells be short names, or the numbers of people, in nearly every row?"""
    if look.filled < MOSTLY * look.rows or look.dates + look.clocks > 0.1:
        return False
    if not 2 <= look.distinct <= MOST_HANDS or look.length > 20:
        return False
    lengths = {len(word) for word, _ in look.words}
    return look.numbers < 0.1 or (look.whole == 1 and len(lengths) == 1 and min(lengths) > 1)


def _changes(names: Sequence[str], serials: Sequence[str]) -> bool:
    """Has most of what has several rows several names?"""
    by: dict[str, list[str]] = {}
    for serial, name in zip(serials, names, strict=True):
        by.setdefault(serial, []).append(name)
    several = [set(held) for serial, held in by.items() if serial and len(held) > 1]
    return sum(len(held) > 1 for held in several) > 0.5 * len(several)


def _tied(names: Sequence[str], stages: Sequence[str]) -> bool:
    """Is each name met at some stages only, and no name a stage's alone?"""
    by: dict[str, set[str]] = {}
    for stage, name in zip(stages, names, strict=True):
        if stage and name:
            by.setdefault(stage, set()).add(name)
    every = set().union(*by.values()) if by else set()
    return len(by) > 2 and sum(map(len, by.values())) / len(by) <= TIED * len(every)
