"""What a column of a few words means by where its words stand: benches, results, faults, lots; in any language."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Protocol

from ingest.beginning.guesses import Guess, guess_outcome
from ingest.beginning.profiles import Profile
from ingest.reading.headings import plain
from ingest.reading.notation import no_reading

DATES = ("date", "started_at", "finished_at")
ALWAYS, MOSTLY, SELDOM = 0.95, 0.9, 0.5
FEWEST, MOST = 3, 30  # benches of a shop
RESULTS = 8
IN_ORDER = 0.9  # of the steps of all instruments go the way most go
ALONG = 0.8  # of the rows of an instrument, on the average, are at a bench that it has not met before
ONCE = 0.6  # of the rows have a day at most, where it is written once for all rows of the day
A_LOT = 5  # instruments, at least, on the average


class Seen(Protocol):
    """A column as the survey has it."""

    @property
    def guess(self) -> Guess:
        """What it means by itself."""

    @property
    def cells(self) -> Sequence[str]:
        """What stands in it."""


def by_routes(columns: Sequence[Seen], guesses: Sequence[Guess], looks: Sequence[Profile]) -> list[Guess]:
    """A column whose few words instruments meet one after the other, in one order, holds the benches."""
    out = list(guesses)
    taken = {guess.field: place for place, guess in enumerate(out) if guess.taken}
    if "stage" in taken or "serial" not in taken or any(guess.stage and guess.taken for guess in out):
        return out
    serials = [plain(cell) for cell in columns[taken["serial"]].cells]
    when = [columns[place].cells for place, guess in enumerate(out) if guess.field in DATES and guess.taken]
    stamps = list(zip(*when, strict=True)) if when else [()] * len(serials)
    fit = []
    for place, guess in enumerate(out):
        look = looks[place]
        words = FEWEST <= look.distinct <= MOST and look.filled > MOSTLY * look.rows and look.dates + look.clocks < 0.1
        if (
            _open(guess)
            and words
            and _is_route(
                dict.fromkeys(
                    zip(serials, map(plain, columns[place].cells), stamps, strict=True)
                )  # exports repeat rows
            )
        ):
            fit.append(place)
    if len(fit) == 1:
        why = "its cells: instruments meet its words one after the other"
        out[fit[0]] = Guess(out[fit[0]].heading, "stage", level="likely", why=why)
    return out


def _is_route(visits: Iterable[tuple[str, str, tuple[str, ...]]]) -> bool:
    """Does an instrument meet each word once, mostly, and do all meet them in one order?"""
    routes: dict[str, list[str]] = {}
    for serial, word, _ in visits:
        route = routes.setdefault(serial, [])
        if serial and word and route[-1:] != [word]:
            route.append(word)
    long = [route for route in routes.values() if len(route) > 1]
    if len(long) < 5 or sum(map(len, long)) < 2.5 * len(long):
        return False
    new = sum(len(set(route)) for route in long) / sum(map(len, long))
    places: dict[str, list[float]] = {}
    for route in long:
        for at, word in enumerate(dict.fromkeys(route)):
            places.setdefault(word, []).append(at)
    order = {word: sum(held) / len(held) for word, held in places.items()}
    steps = [order[a] < order[b] for route in long for a, b in pairwise(dict.fromkeys(route))]
    return new >= ALONG and sum(steps) >= IN_ORDER * len(steps)


def by_send_backs(columns: Sequence[Seen], guesses: Sequence[Guess], looks: Sequence[Profile]) -> list[Guess]:
    """Results are told by the word that stands where instruments went back, faults by standing nowhere else; lots are
    words that many instruments in a row share. Faults are likely, results and lots are asked about.
    """
    out = list(guesses)
    rows = _went_back(columns, out)
    if rows is not None and not _known(out, "outcome"):
        fit = [p for p, guess in enumerate(out) if _open(guess) and _splits(columns[p].cells, looks[p], rows)]
        if len(fit) == 1:
            why = "its cells: one word where an instrument went back, others elsewhere"
            out[fit[0]] = Guess(out[fit[0]].heading, "outcome", level="likely", why=why)
    elif not _known(out, "outcome"):
        fit = [p for p, guess in enumerate(out) if _open(guess) and _results(columns[p].cells)]
        if len(fit) == 1:
            why = "its cells: few words, one of them a result"
            out[fit[0]] = Guess(out[fit[0]].heading, "outcome", level="unsure", why=why)
    if rows is None:
        rows = _said_back(columns, out)
    if rows and not _known(out, "fault"):
        fit = [p for p, guess in enumerate(out) if _open(guess) and _only_there(columns[p].cells, looks[p], rows)]
        if len(fit) == 1:
            why = "its cells: filled where an instrument went back, and nowhere else"
            out[fit[0]] = Guess(out[fit[0]].heading, "fault", level="likely", why=why)
    return _lots(columns, out, looks)


def _open(guess: Guess) -> bool:
    """Is nothing known of the column, or nothing for sure?"""
    return guess.level not in ("said", "sure") and (guess.level == "unsure" or not guess.field)


def _known(guesses: Sequence[Guess], field: str) -> bool:
    return any(guess.field == field and guess.taken for guess in guesses)


def _went_back(columns: Sequence[Seen], guesses: Sequence[Guess]) -> set[int] | None:
    """The rows that say where an instrument went back to; None where no column does."""
    back = next((place for place, guess in enumerate(guesses) if guess.field == "sent_back_to" and guess.taken), None)
    if back is None:
        return None
    return {row for row, cell in enumerate(columns[back].cells) if cell.strip()}


def _said_back(columns: Sequence[Seen], guesses: Sequence[Guess]) -> set[int]:
    """The rows whose result the trade knows as sent back."""
    outcome = next((place for place, guess in enumerate(guesses) if guess.field == "outcome" and guess.taken), None)
    if outcome is None:
        return set()
    words = {cell for cell in set(columns[outcome].cells) if guess_outcome(cell.strip()) == "send back"}
    return {row for row, cell in enumerate(columns[outcome].cells) if cell in words}


def _splits(cells: Sequence[str], look: Profile, rows: set[int]) -> bool:
    """Is one of few words that of the rows that went back, and hardly of any other?"""
    if not 1 < look.distinct <= RESULTS or look.filled < SELDOM * look.rows or len(rows) < FEWEST:
        return False
    inside = Counter(plain(cells[row]) for row in rows)
    word, count = inside.most_common(1)[0]
    everywhere = sum(plain(cell) == word for cell in cells)
    return bool(word) and count >= MOSTLY * len(rows) and count >= MOSTLY * everywhere


def _results(cells: Sequence[str]) -> bool:
    """A few words in nearly every row, one of which the trade knows as a result?"""
    words = Counter(plain(cell) for cell in cells)
    empty = words.pop("", 0)
    few = 1 < len(words) <= RESULTS and empty < (1 - MOSTLY) * len(cells)
    return few and any(guess_outcome(word) for word in words) and not any(word.isdecimal() for word in words)


def _only_there(cells: Sequence[str], look: Profile, rows: set[int]) -> bool:
    """Filled in most of these rows and hardly elsewhere, with words that come again?"""
    if look.distinct > max(2, SELDOM * look.filled):
        return False
    filled = {row for row, cell in enumerate(cells) if cell.strip()}
    both = len(filled & rows)
    return len(filled) >= FEWEST and both >= ALWAYS * len(filled) and both >= SELDOM * len(rows)


def _lots(columns: Sequence[Seen], guesses: list[Guess], looks: Sequence[Profile]) -> list[Guess]:
    """A word an instrument keeps, shared by many that come one after the other: asked about as their lot."""
    taken = {guess.field: place for place, guess in enumerate(guesses) if guess.taken}
    if "lot" in taken or "serial" not in taken:
        return guesses
    serials = [plain(cell) for cell in columns[taken["serial"]].cells]
    fit = []
    for place, guess in enumerate(guesses):
        look = looks[place]
        if _open(guess) and look.distinct > 1 and look.dates + look.clocks < 0.1 and look.measured < MOSTLY:
            words = (plain(cell) for cell in columns[place].cells)
            held = _one_each(serials, ["" if no_reading(word) else word for word in words])
            many = len(held) >= max(A_LOT * look.distinct, SELDOM * len({*serials} - {""}))  # a remark stands seldom
            if held and many and _in_blocks(list(held.values()), look.distinct):
                fit.append(place)
    if len(fit) == 1:
        why = "its cells: shared by instruments that come one after the other"
        guesses[fit[0]] = Guess(guesses[fit[0]].heading, "lot", level="unsure", why=why)
    return guesses


def _one_each(serials: Sequence[str], words: Sequence[str]) -> Mapping[str, str]:
    """The word of each instrument in the order they come; empty where many have two."""
    held: dict[str, str] = {}
    two = 0
    for serial, word in zip(serials, words, strict=True):
        if serial and word:
            two += held.setdefault(serial, word) != word
    return held if two <= 0.02 * len(held) else {}


def _in_blocks(words: Sequence[str], distinct: int) -> bool:
    """Do equal words stand together, for the most part?"""
    changes = sum(a != b for a, b in pairwise(words))
    return changes <= max(4 * distinct, 0.15 * len(words))


def written_once(columns: Sequence[Seen]) -> tuple[str, ...]:
    """The heading of the column of days, where the first row has its day and most rows below leave it out; in a sheet
    of a row a measurement those of all that is written once for the rows of a visit.
    """
    taken = [column for column in columns if column.guess.taken]
    if visit := _once_a_visit(taken):
        return visit
    serial = next((column for column in taken if column.guess.field == "serial"), None)
    days = [column for column in taken if column.guess.field in DATES]
    if serial is None or len(days) != 1 or days[0].guess.stage:
        return ()
    rows = [place for place, cell in enumerate(serial.cells) if cell.strip()]
    if len(rows) < FEWEST or not days[0].cells[rows[0]].strip():
        return ()
    told = sum(1 for place in rows if days[0].cells[place].strip())
    return (days[0].guess.heading,) if 1 < told < ONCE * len(rows) else ()


def _once_a_visit(taken: Sequence[Seen]) -> tuple[str, ...]:
    """The headings of the serial and of what is filled in its rows alone, where each serial stands over rows that
    measure something else each; none where rows without a serial measure a thing again.
    """
    by = {column.guess.field: column for column in taken if column.guess.field in ("serial", "what")}
    if len(by) < 2:
        return ()
    serial, what = by["serial"].cells, [plain(cell) for cell in by["what"].cells]
    rows = [place for place, cell in enumerate(what) if cell]
    filled = [bool(serial[place].strip()) for place in rows]
    if len(rows) < FEWEST or not filled[0] or not 1 < sum(filled) < ONCE * len(rows):
        return ()
    met: set[str] = set()
    again = 0
    for place, begins in zip(rows, filled, strict=True):
        met = {what[place]} if begins else met
        again += not begins and what[place] in met
        met.add(what[place])
    if again:
        return ()
    without = [place for place, begins in zip(rows, filled, strict=True) if not begins]
    return tuple(
        column.guess.heading
        for column in taken
        if column.guess.field not in ("what", "value", "unit", "position", "moment", "outcome", "fault", "note")
        and not any(column.cells[place].strip() for place in without)
        and any(column.cells[place].strip() for place in rows)
    )
