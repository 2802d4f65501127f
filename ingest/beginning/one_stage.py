"""Which of several columns of bench names says where a row's work was done, and what a row an instrument says of its
first and last day.
"""

from collections.abc import Sequence
from dataclasses import replace

from ingest.beginning.guesses import Guess
from ingest.beginning.heading_sense import checks_only, names_hands
from ingest.beginning.profiles import Profile
from ingest.beginning.stage_words import guess_stage
from ingest.beginning.starting_values import STAGES
from ingest.terms.clock import Order, read_stamp

FINAL = "final_inspection"
SELDOM = 0.5  # of the rows: a column filled in fewer says no row's bench
LOOKED_AT = 400  # cells
ALONG = {stage.key: place for place, stage in enumerate(STAGES)}


def one_stage(guesses: Sequence[Guess], looks: Sequence[Profile]) -> list[Guess]:
    """Where one column says the bench in most rows, another filled in few, taken for one by its cells alone, is open:
    it may say where work went back to.
    """
    out = list(guesses)
    named = [place for place, guess in enumerate(out) if guess.field == "stage" and guess.taken]
    most = max((looks[place].filled for place in named), default=0)
    for place in named:
        told = out[place].level == "said" or not out[place].why.startswith("its cells")
        if not told and looks[place].filled < SELDOM * most:
            out[place] = Guess(out[place].heading)
    return out


def looked_over(guesses: Sequence[Guess]) -> list[Guess]:
    """Where a row speaks of several stages, whoever looked it over did so at the final inspection, and 'necks by' names
    hands at the bench for necks.
    """
    out = list(guesses)
    for place, guess in enumerate(out) if _of_instrument(out) else ():
        if guess.field == "tech" and not guess.stage and guess.level != "said":
            *words, _ = [*guess.heading.split(), ""] if not names_hands(guess.heading) else guess.heading.split()
            stage = FINAL if checks_only(guess.heading) else guess_stage(" ".join(words))
            out[place] = replace(guess, stage=stage)
    return out


def first_and_last_day(guesses: Sequence[Guess], cells: Sequence[Sequence[str]], order: Order) -> list[Guess]:
    """In a row an instrument, in and out that hold days only are the day of its first stage and of its last: no visit
    lasts from the one to the other.
    """
    out = list(guesses)
    at = {
        guess.field: place
        for place, guess in enumerate(out)
        if guess.field in ("started_at", "finished_at") and guess.taken and not guess.stage and guess.level != "said"
    }
    if len(at) < 2 or not _of_instrument(out) or any(_has_clock(cells[place], order) for place in at.values()):
        return out
    stages = sorted({guess.stage for guess in out if guess.stage and guess.taken}, key=lambda key: ALONG.get(key, 0))
    for field, stage, which in (("started_at", stages[0], "first"), ("finished_at", FINAL, "last")):
        why = f"its words and days: the row's {which} day"
        out[at[field]] = replace(out[at[field]], field="date", stage=stage, level="likely", why=why)
    return out


def _of_instrument(guesses: Sequence[Guess]) -> bool:
    taken = [guess for guess in guesses if guess.taken]
    return not any(guess.field == "stage" for guess in taken) and len({guess.stage for guess in taken} - {""}) > 1


def _has_clock(cells: Sequence[str], order: Order) -> bool:
    filled = [cell for cell in cells if cell.strip()]
    stamps = (read_stamp(cell, order) for cell in filled[:: max(1, len(filled) // LOOKED_AT)])
    return any(stamp is not None and stamp[3] for stamp in stamps)
