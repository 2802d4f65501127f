"""What a column means by its place among the others: the serial, in and out, days and times, strings, two edges."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from ingest.beginning.among_rows import by_rows, earlier_first
from ingest.beginning.families import family_of
from ingest.beginning.guesses import Guess, Level
from ingest.beginning.heading_sense import sense_of
from ingest.beginning.measured_names import named_measures
from ingest.beginning.one_stage import first_and_last_day, looked_over, one_stage
from ingest.beginning.profiles import Profile
from ingest.beginning.strings_by_note import OTHER_STRING, beside_said, by_notes, lone_letters, numbered
from ingest.beginning.two_values import two_values
from ingest.reading.headings import plain
from ingest.terms.clock import Order

DATES = ("date", "started_at", "finished_at")
MOST_MODELS = 60
STRUNG = ("rod_at_pitch", "intonation", "setup", "play_test", "final_inspection")


class Seen(Protocol):
    """A column as the survey has it."""

    @property
    def guess(self) -> Guess:
        """What it means by itself."""

    @property
    def profile(self) -> Profile:
        """What its cells look like."""

    @property
    def cells(self) -> Sequence[str]:
        """What stands in it."""


AT_LEFT = "its place, right of"  # begins why a measurement is of a stage


def among_others(columns: Sequence[Seen], order: Order) -> list[Guess]:
    """The guesses of all columns, mended by what stands beside each."""
    looks = [column.profile for column in columns]
    guesses = one_stage([column.guess for column in columns], looks)
    guesses = looked_over(_in_and_out(guesses))
    guesses = _days(guesses, looks, columns, order)
    guesses = _serial(guesses, looks)
    guesses = outer_strings(beside_said(numbered(by_notes(guesses), looks)))
    guesses = lone_letters(_two_edges(guesses), [column.cells for column in columns])
    guesses = two_values(columns, guesses, looks)
    guesses = by_rows(columns, named_measures(columns, guesses), looks, order)
    guesses = _model(guesses, looks, columns)
    guesses = first_and_last_day(_stage_at_left(guesses), [column.cells for column in columns], order)
    return _numbered_rows(guesses, looks)


def _free(guess: Guess) -> bool:
    return guess.level != "said"


def _in_and_out(guesses: list[Guess]) -> list[Guess]:
    """A bare 'in' is what was found where another column of the same says 'out', else inches."""
    out = list(guesses)
    lefts = {(guess.measure, guess.stage) for guess in guesses if guess.field == "reading" and guess.moment == "left"}
    for place, guess in enumerate(guesses):
        if guess.field != "reading" or not _free(guess) or not sense_of(guess.heading).in_is:
            continue
        if (guess.measure, guess.stage) in lefts and not guess.moment:
            out[place] = replace(guess, moment="found", why="its words, beside another that says out")
        elif not guess.unit:
            out[place] = replace(guess, unit="in")
    return out


def _days(guesses: list[Guess], looks: Sequence[Profile], columns: Sequence[Seen], order: Order) -> list[Guess]:
    """Days and times of day: one of the row, or one of each stage; a day beside its clock times."""
    out = list(guesses)
    staged = [place for place, guess in enumerate(out) if guess.field in DATES and guess.stage]
    plain = [place for place, guess in enumerate(out) if guess.field in DATES and not guess.stage and guess.taken]
    days = [place for place in plain if looks[place].dates > 0.5]
    clocks = [p for p in plain if looks[p].clocks + looks[p].figures > 0.5 and looks[p].dates < 0.5]
    for place in plain:
        guess = out[place]
        if _free(guess) and guess.field == "started_at" and place in days and not _other(out, place, "finished_at"):
            out[place] = replace(guess, field="date")
    if not days and not staged and not clocks:
        for place, guess in enumerate(out):
            if guess.level == "unsure" and guess.field in DATES and looks[place].dates > 0.5:
                out[place] = replace(guess, level="likely")
    told = [place for place in days if out[place].why != "its cells"]
    for place in days if told else ():
        if out[place].why == "its cells" and out[place].field == "date":  # a day beside the one that its words name
            out[place] = Guess(
                out[place].heading, "other", level="likely", why="its cells: days, but another column says when"
            )
    days = told or days
    if clocks and not any(out[place].field == "date" for place in days) and len(days) == 1 and _free(out[days[0]]):
        out[days[0]] = replace(out[days[0]], field="date")
    unsure = [p for p, guess in enumerate(out) if guess.level == "unsure" and guess.field == "started_at"]
    if len(unsure) in (1, 2) and days and not clocks:
        turned = len(unsure) == 2 and earlier_first(columns[unsure[0]].cells, columns[unsure[1]].cells, order) < 0.5
        first, *rest = reversed(unsure) if turned else unsure
        out[first] = replace(out[first], level="likely", why="its cells: clock times beside a day")
        for place in rest:
            out[place] = replace(out[place], field="finished_at", level="likely", why="its cells: later than the other")
    return out


def _other(guesses: Sequence[Guess], place: int, field: str) -> bool:
    return any(guess.field == field and other != place for other, guess in enumerate(guesses))


def _serial(guesses: list[Guess], looks: Sequence[Profile]) -> list[Guess]:
    """The serial: by its words if the cells differ enough, else the column nearest to unique that looks like one."""
    out = list(guesses)
    if any(guess.field in ("serial", "part") and guess.level == "said" for guess in out):
        return out
    named = [place for place, guess in enumerate(out) if guess.field == "serial"]
    good = [
        place for place in named if looks[place].distinct >= 0.02 * looks[place].filled and looks[place].distinct > 1
    ]
    for place in named:
        if place not in good[:1]:
            out[place] = replace(out[place], field="", level="", why="its cells repeat too often for a serial")
    if good:
        return out
    told = any(guess.field in DATES and guess.taken for guess in out)
    free = [
        place
        for place, guess in enumerate(out)
        if looks[place].filled > 0.9 * looks[place].rows
        and looks[place].distinct > 0.05 * looks[place].filled
        and (looks[place].dates < 0.2 or (told and looks[place].whole == 1))  # 51001 is a day of a spreadsheet too
        and looks[place].clocks < 0.2
        and _free(guess)
        and (guess.field in ("", "job", "model", "neck", "tech") or guess.level == "unsure")
        and (looks[place].idents > 0.8 or (looks[place].numbers > 0.8 and looks[place].whole == 1))
        and not (looks[place].numbers > 0.5 and looks[place].whole < 1)  # 0.16 is no name of an instrument
    ]
    if not free:
        return out
    ranked = sorted(
        free,
        key=lambda p: (_serial_words(out[p].heading), looks[p].idents > 0.8, not looks[p].running, looks[p].unique),
    )
    best = ranked[-1]
    alone = len(free) == 1 or _serial_words(out[best].heading) or looks[best].unique > 3 * looks[ranked[-2]].unique
    level: Level = "likely" if alone or looks[best].idents > 0.8 else "unsure"
    why = f"its cells: {looks[best].distinct} different of {looks[best].filled}"
    out[best] = replace(out[best], field="serial", measure="", position="", level=level, why=why)
    return out


def _serial_words(heading: str) -> bool:
    """Do the words speak of a number or name of one piece?"""
    words = sense_of(heading)
    return bool({"serial", "job", "neck"} & {words.whole, *words.fields})


def outer_strings(guesses: list[Guess]) -> list[Guess]:
    """'6th' and '1st' alone are the bass and the treble string; where more strings have columns each is a number.
    'Nut 1st' is over fret 1, and beside 'Nut 6th' the string.
    """
    if any(guess.measure == "nut" and guess.position.isdecimal() and guess.position != "1" for guess in guesses):
        guesses = [
            replace(guess, position="1", why="its words, beside another string")
            if guess.measure == "nut" and not guess.position and _free(guess) and sense_of(guess.heading).over_first
            else guess
            for guess in guesses
        ]
    out = list(guesses)
    groups: dict[tuple[str, str, str], list[int]] = {}
    for place, guess in enumerate(guesses):
        if (
            guess.field == "reading"
            and _free(guess)
            and guess.position.isdecimal()
            and guess.measure in ("action", "nut")
        ):
            groups.setdefault((guess.measure, guess.moment, guess.stage), []).append(place)
    for places in groups.values():
        strings = {guesses[place].position for place in places}
        if strings <= {"1", max(strings, key=int)} and len(places) <= 2:
            for place in places:
                side = "treble" if guesses[place].position == "1" else "bass"
                out[place] = replace(guesses[place], position=side, why="its words: outer string")
    return out


def _model(guesses: list[Guess], looks: Sequence[Profile], columns: Sequence[Seen]) -> list[Guess]:
    """Where no column names the model: one of few words, the same in all rows of an instrument, a third of which name
    a kind of instrument.
    """
    serial = next((place for place, guess in enumerate(guesses) if guess.field == "serial" and guess.taken), None)
    if serial is None or any(guess.field == "model" for guess in guesses):
        return guesses
    out = list(guesses)
    for place, (guess, look) in enumerate(zip(guesses, looks, strict=True)):
        if guess.field not in ("", "other") or not _free(guess) or not _few_words(look):
            continue
        words = {cell.strip() for cell in columns[place].cells if cell.strip()}
        kinds = sum(bool(family_of(word)) for word in words)
        if 3 * kinds >= len(words) and _one_each(columns[serial].cells, columns[place].cells):
            why = f"its cells: kinds of instrument in {kinds} of {len(words)} words, one for each serial"
            out[place] = replace(guess, field="model", measure="", position="", level="likely", why=why)
            return out
    return out


def _few_words(look: Profile) -> bool:
    text = look.numbers < 0.2 and look.dates < 0.2 and look.clocks < 0.2
    return text and look.filled > 0.8 * look.rows and 2 <= look.distinct <= min(MOST_MODELS, look.filled / 5)


def _one_each(serials: Sequence[str], cells: Sequence[str]) -> bool:
    """Do nearly all serials have one word only?"""
    held: dict[str, set[str]] = {}
    for who, what in zip(serials, cells, strict=True):
        if who.strip() and what.strip():
            held.setdefault(who.strip(), set()).add(what.strip())
    return sum(len(words) == 1 for words in held.values()) >= 0.95 * len(held) > 0


def _stage_at_left(guesses: list[Guess]) -> list[Guess]:
    """Where a row speaks of several stages, a measurement that names none belongs to the stage named left of it."""
    taken = [guess for guess in guesses if guess.taken]
    if any(guess.field == "stage" for guess in taken) or len({guess.stage for guess in taken if guess.stage}) < 2:
        return guesses
    out, held, by = list(guesses), "", ""
    for place, guess in enumerate(guesses):
        if guess.stage and guess.taken:
            held, by = guess.stage, guess.heading
        elif guess.field == "reading" and _free(guess) and held and not guess.stage:
            why = f"{AT_LEFT} {by!r}" + (f"; {guess.why}" if guess.why.startswith(OTHER_STRING) else "")
            told = guess if guess.level == "unsure" else replace(guess, level="likely", why=why)
            out[place] = replace(told, stage=held)  # what is asked about stays so: a string is lost in silence else
    return out


def _numbered_rows(guesses: list[Guess], looks: Sequence[Profile]) -> list[Guess]:
    """A column that only counts the rows says nothing of an instrument: kept as typed, and not asked about."""
    serial = any(guess.field in ("serial", "part") and guess.taken for guess in guesses)
    return [
        replace(guess, field="other", level="likely", why="its cells: running numbers")
        if serial and look.running and not guess.field and _free(guess)
        else guess
        for guess, look in zip(guesses, looks, strict=True)
    ]


def as_it_came(guess: Guess, stage: str) -> Guess:
    """A bend of the neck read at receiving may be the bow as it came, without strings, or relief: asked about, unless
    its heading says relief. A bow read with the strings on is relief.
    """
    if guess.measure == "neck_bow" and _free(guess) and not guess.position and (guess.stage or stage) in STRUNG:
        return replace(guess, measure="relief", level="likely", why="its words, with the strings on: relief")
    told = guess.field == "reading" and guess.measure == "relief" and _free(guess)
    if not told or (guess.stage or stage) != "receiving" or "relief" in plain(guess.heading):
        return guess
    return replace(guess, measure="neck_bow", level="unsure", why="its words, at receiving: bow as it came, or relief")


def _two_edges(guesses: list[Guess]) -> list[Guess]:
    """A bend of the neck read along the bass and the treble edge is the bow as it came, not relief at pitch."""
    out = list(guesses)
    edges: dict[str, set[str]] = {}
    for guess in guesses:
        if guess.field == "reading" and guess.measure == "relief" and guess.position in ("bass", "treble"):
            edges.setdefault(guess.stage, set()).add(guess.position)
    for place, guess in enumerate(guesses):
        if guess.measure == "relief" and _free(guess) and len(edges.get(guess.stage, ())) == 2 and guess.position:
            why = "read along both edges: bow, not relief"
            out[place] = replace(guess, measure="neck_bow", level="likely", why=why)
    return out
