"""The words that stand in a sheet's columns and what each means: stages, outcomes, what was measured, and where."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

from ingest.beginning.among_others import outer_strings
from ingest.beginning.answers import meaning_of, measure_of
from ingest.beginning.asking import WHAT, Asker
from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.guesses import Guess, guess_column, guess_outcome
from ingest.beginning.heading_sense import sense_of
from ingest.beginning.legend import outcome_in
from ingest.beginning.parts_of_shop import add_measure
from ingest.beginning.results_as_rows import head_of
from ingest.beginning.sent_back import head_and_place
from ingest.beginning.strings_by_note import by_notes, lone_letters
from ingest.beginning.survey import Survey
from ingest.beginning.trade_words import DOUBTFUL_OUTCOMES, OUTCOME_WORDS
from ingest.reading.headings import NOT_SAID, plain, position_of
from ingest.reading.strings_by_tuning import note_in
from ingest.reading.words import OUTCOMES

PAIRS = (("y", "n"), ("yes", "no"), ("ja", "nein"), ("p", "f"), ("pass", "f"), ("ok", "n"), ("true", "false"))


def outcomes(log: LogDraft, asker: Asker, known: dict[str, str]) -> bool:
    """Give each word of the outcome column its meaning; False where one stays unknown, so that the column is not read.

    known : what words mean already, by the word in plain letters.
    """
    seen = log.survey
    said = {plain(word): meant for word, meant in seen.said.words.get("outcome", {}).items()}
    words = seen.words("outcome")
    typed = {plain(word) for word in words}
    own: dict[str, str] = {}
    open_ = 0
    heads = {text for text, meant in (said | known).items() if meant == "send back"}
    places = {plain(place) for place in (*log.words.get("stage", {}), *log.words.get("stage", {}).values())}
    for word, count in words.items():
        head, _ = head_and_place(word, heads, places)
        if head and plain(head) not in OUTCOMES:
            own[head] = "send back"  # and so before a place that comes later
            log.said |= {f"outcome {head}"} if plain(head) in said else set()
        told = f"{seen.title}: what does the result {word!r} mean ({count} rows)?"
        meant = said.get(plain(word)) or known.get(plain(word)) or ""
        by_itself = _paired(plain(word), typed) or _by_place(word, seen) or ("send back" if head else "")
        if not meant and plain(word) in seen.legend and plain(word) not in OUTCOMES:
            meant = _as_explained(word, by_itself, told, seen, asker)
        meant = meant or by_itself
        if plain(word) in said or f"outcome {word}" in asker.answers or outcome_in(seen.legend.get(plain(word), "")):
            log.said.add(f"outcome {word}")
        if not meant:
            guess = guess_outcome(word)
            every, each = f"{seen.title}: what does each result mean?", f"{word} ({count} rows)"
            meant = asker.ask(f"outcome {word}", told, (*OUTCOME_WORDS, "ask"), "ask", of=every, word=each)
            if meant != "ask":
                log.said.add(f"outcome {word}")
            elif guess and plain(word) not in DOUBTFUL_OUTCOMES:
                meant = guess
        if meant == "ask":
            open_ += count
        elif meant != plain(word):
            own[word] = meant
    log.words["outcome"] = own
    return open_ == 0 or bool(said) or open_ < 0.02 * seen.rows


def _as_explained(word: str, by_itself: str, told: str, seen: Survey, asker: Asker) -> str:
    """What a result means by the workbook's own legend; asked where the legend does not say it plainly and the word
    means something by itself, that being what is taken meanwhile.
    """
    told_by = seen.legend[plain(word)]
    meant = outcome_in(told_by)
    if meant or not by_itself or guess_outcome(told_by) == by_itself:
        return meant
    return asker.ask(
        f"outcome {word}", f"{told} The book explains it as {told_by!r}.", (*OUTCOME_WORDS, "ask"), by_itself
    )


def _paired(word: str, typed: set[str]) -> str:
    """What a plain word means, or one such as 'n' whose counterpart stands in the column too; '' otherwise."""
    if word in OUTCOMES:
        return word
    if word not in DOUBTFUL_OUTCOMES and word not in ("f", "n"):
        return guess_outcome(word) or ("send back" if guess_outcome(head_of(word)) == "send back" else "")
    for good, bad in PAIRS:
        if {good, bad} <= typed and word in (good, bad):
            return "pass" if word == good else "send back"
    return ""


def _by_place(word: str, seen: Survey) -> str:
    """'send back' where its rows, and hardly others, say to which stage the instrument went back; '' otherwise."""
    outcome, back = seen.column("outcome"), seen.column("sent_back_to")
    if outcome is None or back is None:
        return ""
    mine = [bool(to.strip()) for said, to in zip(outcome.cells, back.cells, strict=True) if said.strip() == word]
    others = [bool(to.strip()) for said, to in zip(outcome.cells, back.cells, strict=True) if said.strip() != word]
    if len(mine) >= 3 and sum(mine) >= 0.9 * len(mine) and sum(others) <= 0.02 * len(others):
        return "send back"
    return "pass" if mine and not any(mine) and sum(others) >= 3 and guess_outcome(word) == "pass" else ""


def measured(log: LogDraft, draft: Draft, asker: Asker) -> dict[str, str]:
    """In a sheet of a row a measurement: the measurement of each name, put among the log's words and the draft; names
    that are not known are asked about. Returns the trade's measurement of each name.
    """
    seen = log.survey
    said = {plain(word): target for word, target in seen.said.words.get("what", {}).items()}
    out: dict[str, str] = {}
    own: dict[str, str] = {}
    names = seen.words("what")
    results = {word: field for word, field, _ in seen.results()}
    guesses = _bent(log, draft, _strings([_named(word, said) for word in names], seen))
    for (word, count), guess in zip(names.items(), guesses, strict=True):
        if plain(word) in said:
            log.said.add(f"what {word}")
        if word in results:
            own[word] = results[word]
            continue
        if guess.field != "reading":
            such = f"; perhaps {guess.why}?" if guess.level == "unsure" else ", such as action bass or relief?"
            told = f"{seen.title}: what is measured as {word!r} ({count} rows){such}"
            every, each = f"{seen.title}: what is measured as each of these?", f"{word} ({count} rows)"
            answer = said.get(plain(word)) or asker.ask(f"{WHAT}{word}", told, (), "ask", of=every, word=each)
            guess = meaning_of(answer, word) if answer not in ("ask", "") else guess
            if answer not in ("ask", ""):
                own[word] = answer
                log.said.add(f"what {word}")
        if guess.field != "reading":
            continue
        trade = measure_of(guess.measure) if guess.level == "said" else guess.measure
        key = guess.measure if guess.level == "said" and guess.measure else draft.measure_key(guess.measure)
        key = draft.measure_key(trade) if trade in draft.measure_keys else key
        out[word] = trade or key
        own[word] = guess.said or " ".join(part for part in (key, guess.position, guess.moment) if part)
        add_measure(draft, key, trade or key, sides_of(guess.position))
    log.words["what"] = {word: target for word, target in own.items() if plain(word) != plain(target)}
    _places(log, draft, out)
    return out


def leave_results(log: LogDraft) -> list[str]:
    """Leave the rows that say an outcome whose words nobody has explained; a line for each name of theirs."""
    names = list(dict.fromkeys(name for name, field, _ in log.survey.results() if field == "outcome"))
    log.words["what"] = log.words.get("what", {}) | dict.fromkeys(names, NOT_SAID)
    return [
        f"{log.survey.title}: outcomes are not read: nobody has said what the words of {name!r} mean" for name in names
    ]


def _named(word: str, said: Mapping[str, str]) -> Guess:
    """What a name of a measurement means: as somebody said it, else by its words."""
    target = said.get(plain(word))
    return meaning_of(target, word) if target else guess_column(word, None)


def _strings(guesses: list[Guess], seen: Survey) -> list[Guess]:
    """Names that end in a note or a lone letter, told as strings and sides; what is not sure is asked about."""
    cells = [cell for value in seen.values() for cell in value.cells]
    told = lone_letters(outer_strings(by_notes(guesses)), [cells] * len(guesses))
    return [replace(each, field="", why=each.target()) if each.level == "unsure" else each for each in told]


def _bent(log: LogDraft, draft: Draft, guesses: list[Guess]) -> list[Guess]:
    """A bend of the neck read along both edges is the bow as it came, not relief at pitch; one that is read at
    receiving alone may be either and is asked about, unless its name says relief. guesses : one a name, its `heading`.
    """
    seen, out = log.survey, list(guesses)
    what, stage, place = (seen.column(field) for field in ("what", "stage", "position"))
    if what is None:
        return out
    receiving = draft.stage_key("receiving")
    arrivals = {word for word in seen.words("stage") if log.words.get("stage", {}).get(word, plain(word)) == receiving}
    for at, guess in enumerate(guesses):
        if guess.measure != "relief" or guess.level == "said" or "relief" in plain(guess.heading):
            continue
        rows = [row for row, cell in enumerate(what.cells) if cell.strip() == guess.heading]
        sides = {sense_of(place.cells[row].strip()).position for row in rows} if place else set()
        if {"bass", "treble"} <= sides:
            out[at] = replace(guess, measure="neck_bow", level="likely", why="read along both edges: bow, not relief")
        elif (log.stage == receiving) if stage is None else all(stage.cells[row].strip() in arrivals for row in rows):
            why = "neck_bow, as it came, or relief"
            out[at] = replace(guess, field="", measure="", level="unsure", why=why)
    return out


def _places(log: LogDraft, draft: Draft, meanings: dict[str, str]) -> None:
    """Words of the columns for position and moment."""
    seen = log.survey
    what, place = seen.column("what"), seen.column("position")
    own = dict(seen.said.words.get("position", {}))
    log.said |= {f"position {word}" for word in own}
    notes = {note for cell in seen.words("position") if (note := note_in(cell))} - {"B", "D"}
    if place is not None and what is not None:
        pairs = Counter((name.strip(), cell.strip()) for name, cell in zip(what.cells, place.cells, strict=True))
        for name, cell in pairs:
            if not cell or name not in meanings:
                continue
            meant = own.get(cell) or position_of(cell)
            if meant is None and not (notes and note_in(cell)):  # tunings_seen; B and D alone are sides
                sense = sense_of(cell)
                meant = sense.position or sense.ordinal or None
                if meant:
                    own[cell] = meant
            if meant:
                trade = meanings[name]
                add_measure(draft, draft.measure_key(trade), trade, sides_of(meant))
    log.words["position"] = own
    moments = dict(seen.said.words.get("moment", {}))
    for word in seen.words("moment"):
        sense = sense_of(word)
        meant = sense.moments[-1] if sense.moments else "found" if sense.in_is else ""
        if meant and word not in moments:
            moments[word] = meant
    log.words["moment"] = moments


def sides_of(position: str) -> list[str]:
    """The declared positions that a place such as 'bass/treble' or '3 fret 7' belongs to."""
    return [place.split(" ")[0] for place in position.split("/") if place]
