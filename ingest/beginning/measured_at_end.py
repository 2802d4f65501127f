"""Of a row an instrument under one day: were its readings taken at the end, or at the bench left of each?

A row that has a day of each station tells of each visit of its own, and what stands right of its day was read then.
A row of one day is written when the instrument is done: what it says is how the instrument leaves, whoever's name
stands left of it, and limits, capability and what was set are held against readings of the end. Nobody can see which it
is, so it is asked.
"""

from collections.abc import Sequence
from dataclasses import replace

from ingest.beginning.among_others import AT_LEFT
from ingest.beginning.answers import measure_of
from ingest.beginning.asking import Asker
from ingest.beginning.first_shop import Draft
from ingest.beginning.guesses import Guess, guess_heading, own_stage
from ingest.beginning.starting_values import MEASURES
from ingest.beginning.stations import UNDER
from ingest.beginning.strings_by_note import OTHER_STRING
from ingest.beginning.survey import DATES, Survey
from ingest.terms.questions import listed

END, LEFT = "at the end", "at the bench left of each"
AT_END = "its row has one day: measured at the end"
AT_PITCH = {item.key for item in MEASURES if item.at_pitch}


def measured_at_end(draft: Draft, seen: Survey, asker: Asker) -> Survey:
    """The survey with the stage of each measurement that names none: the last of the row, or the one left of it."""
    if seen.shape != "instrument" or seen.said.stage:
        return seen
    guesses = _said_at_left([column.guess for column in seen.columns])
    end = next((guess.stage for guess in guesses if guess.taken and _is_end(draft, guess.stage)), "")
    places = _perhaps_at_end(guesses, end) if end and one_day(seen) else []
    if places:
        headings = [guesses[place].heading for place in places]
        name = str(draft.stages.get(draft.stage_key(end), {}).get("name") or end).replace("_", " ").lower()
        question = (
            f"{seen.title}: a row has one day, and nothing says where {listed(headings, 4)} "
            f"{'was' if len(places) == 1 else 'were'} measured: at the end ({name}), or at the bench left of each?"
        )
        key = f"measured where in {seen.title}"
        if asker.ask(key, question, (END, LEFT), END) == END:
            for place in places:
                string = guesses[place].why.partition(OTHER_STRING)
                why = "; ".join([AT_END, *(["".join(string[1:])] if string[1] else [])])
                guesses[place] = replace(guesses[place], stage=end, why=why)
    columns = [replace(column, guess=guess) for column, guess in zip(seen.columns, guesses, strict=True)]
    return replace(seen, columns=columns)


def one_day(seen: Survey) -> bool:
    """Has no station of the row a day or time of its own?"""
    return not any(column.guess.field in DATES and column.guess.taken and column.guess.stage for column in seen.columns)


def _said_at_left(guesses: Sequence[Guess]) -> list[Guess]:
    """Each measurement that somebody named without a stage at the stage named left of it, as others stand."""
    out, held = list(guesses), ""
    for place, guess in enumerate(guesses):
        if guess.stage and guess.taken and not guess.why.startswith(AT_LEFT):
            held = guess.stage
        elif guess.field == "reading" and guess.level == "said" and "@" not in guess.said and held:
            out[place] = replace(guess, stage=held)
    return out


def _is_end(draft: Draft, stage: str) -> bool:
    said = draft.stages.get(draft.stage_key(stage), {}).get("role")
    return stage == "final_inspection" or said == "final"


def _names_its_stage(guess: Guess) -> bool:
    """Does a measurement's heading, or what somebody said of it, name its stage? 'Nut A' names the thing, no bench."""
    if guess.level == "said":
        return "@" in guess.said
    under = guess.why.startswith(UNDER) and own_stage(guess.measure) != guess.stage
    return bool(guess_heading(guess.heading).stage) or under


def _perhaps_at_end(guesses: Sequence[Guess], end: str) -> list[int]:
    """Where the measurements stand that may have been read at the end: at pitch, of a stage by their place alone, whose
    station says neither gauge nor what was left; none that would then have two readings.
    """
    benches = {guess.stage for guess in guesses if guess.taken and guess.field == "gauge"} - {"", end}
    found = [
        place
        for place, guess in enumerate(guesses)
        if guess.field == "reading"
        and not _names_its_stage(guess)
        and guess.stage not in ("", end, "receiving", *benches)
        and guess.taken
        and not guess.moment
        and (measure_of(guess.measure) or guess.measure) in AT_PITCH
    ]
    every = [
        (guess.measure, guess.position)
        for place, guess in enumerate(guesses)
        if guess.field == "reading" and guess.taken and (place in found or guess.stage == end)
    ]
    return [place for place in found if every.count((guesses[place].measure, guesses[place].position)) == 1]
