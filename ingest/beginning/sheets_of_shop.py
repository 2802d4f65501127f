"""One kind of sheet as a [[log]], and the stages, measurements, techs and faults that it brings to a first shop."""

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

from ingest.beginning.additions import known_words
from ingest.beginning.answers import measure_of
from ingest.beginning.asking import COLUMN, LEAVE, Asker
from ingest.beginning.days_of_others import ask_night, ask_order
from ingest.beginning.file_names import pattern_of
from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.guesses import Guess, guess_suspect
from ingest.beginning.measured_at_end import one_day
from ingest.beginning.one_stage import FINAL
from ingest.beginning.parts_of_shop import add_measure, add_people, people, place_stage
from ingest.beginning.results_as_rows import places_behind
from ingest.beginning.rows_meant import PASS_OVER, ROWS, ask_rows, pass_over
from ingest.beginning.sisters import sisters
from ingest.beginning.slips_of_words import short_names, slips_of_words
from ingest.beginning.stage_words import likely_stages, stage_of_word, stage_words
from ingest.beginning.starting_values import STAGES
from ingest.beginning.survey import MEASURE, Survey
from ingest.beginning.words_of_sheets import leave_results, measured, outcomes, sides_of
from ingest.reading.headings import NOT_SAID, Headings, plain
from ingest.reading.words import NOT_STAGES, agreed
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.terms.questions import listed

MOST_FAULTS = 60
RANK = {"said": 0, "sure": 1, "likely": 2}  # who keeps a meaning that two columns have
NOT_KNOWN = "ask"  # instruments come again and again, but no column says to which stage
SEVERAL = 1.5  # rows of an instrument, on the average
OWN = "one of its own"  # a stage that the trade does not name
AIR = ("rh", "temperature")  # of one day, those of all its readings
OF_ROW = ("serial", "model", "supplier", "lot", "date", "job", "string_set", "grade", "hand", "ignore", "other")


def column_key(seen: Survey, heading: str) -> str:
    """The key of the question what a column of a sheet is."""
    return (
        f"{COLUMN}{heading} \x1f {seen.name} \x1f {seen.tab}".rstrip(" \x1f")
        if seen.tab
        else (f"{COLUMN}{heading} \x1f {seen.name}")
    )


def add_log(draft: Draft, seen: Survey, asker: Asker, shop: Shop | None, known: Log | None) -> list[str]:
    """The [[log]] of one kind of sheet, and the stages, measurements, techs and faults it names. Returns what stays
    unread.
    """
    log = LogDraft(seen, seen.said.files or _pattern(seen), seen.said.tab or seen.tab, order=seen.order)
    if any((other.files, other.tab) == (log.files, log.tab) for other in draft.logs):
        log.files = seen.name
    log.name = seen.said.name or seen.title
    if any(other.name == log.name for other in draft.logs):
        log.name = f"{log.name} ({seen.title})"
    ask_order(draft, log, asker)
    ask_night(draft, log, asker)
    unread = [*_ask_columns(log, asker), *ask_rows(log, asker)]
    here = _add_stages(draft, log, asker, _words("stage", log, draft, shop, known))
    if seen.shape == "visit" and not log.stage and seen.column("stage") is None:
        unread.append(f"{seen.title}: no row is read: no column says at which stage, and nobody has said")
    meanings = measured(log, draft, asker) if seen.shape == "measurement" else {}
    read_outcomes = outcomes(log, asker, _words("outcome", log, draft, shop, known))
    if not read_outcomes and (column := seen.column("outcome")):
        unread.append(f"{seen.title}: outcomes are not read: nobody has said what the words of {column.heading!r} mean")
    elif not read_outcomes:
        unread += leave_results(log)
    unread += _add_headings(draft, log, here, read_outcomes=read_outcomes)
    _add_units(draft, log, asker, meanings)
    _empty_outcome(log, asker, read=read_outcomes)
    draft.logs.append(log)
    own = {plain(word) for word in seen.said.words.get("tech", {})}
    typed = seen.words("tech") if seen.column("tech") else Counter({str(seen.said.rest.get("tech", "")): seen.rows})
    asks = short_names(typed) | slips_of_words(typed)  # somebody of that name perhaps: none is listed, and Logs asks
    found = people({w: count for w, count in typed.items() if w and plain(w) not in own and w not in asks})
    mistyped = {w: other for w, other in slips_of_words(seen.words("stage")).items() if w in log.words["stage"]}
    unread += [f"{seen.title}: {word!r} is taken for a slip of {other!r}" for word, other in mistyped.items()]
    unread += [f"{seen.title}: {word!r} is on no list, perhaps {other!r}; Logs asks" for word, other in asks.items()]
    add_people(draft, found, known_words("tech", shop, None))
    for name in ("tech", "model", "fault", "gauge", "supplier", "lot", "sent_back_to", "cause", "characteristic"):
        if words := seen.said.words.get(name):
            log.words[name] = {**log.words.get(name, {}), **words}
            log.said |= {f"{name} {word}" for word in words}
    _add_faults(draft, seen)
    return unread


def _words(field: str, log: LogDraft, draft: Draft, shop: Shop | None, known: Log | None) -> dict[str, str]:
    """What the words of a column mean already: in this sheet's own [[log]], in those of like heading, in the shop."""
    column = log.survey.column(field)
    like = Log(headings={column.heading: field}) if column else Log()
    others = [other for other in draft.logs if column and other.headings.get(column.heading) == field]
    sisters = agreed({plain(word): meant for word, meant in other.words.get(field, {}).items()} for other in others)
    return sisters | known_words(field, shop, known or like)


def _pattern(seen: Survey) -> str:
    """The names of its files with their numbers left open."""
    patterns = {pattern_of(name) for name in seen.files}
    return patterns.pop() if len(patterns) == 1 else seen.name


def _ask_columns(log: LogDraft, asker: Asker) -> list[str]:
    """Ask about each column whose meaning is not sure; what stays unread without an answer, a line each."""
    seen = log.survey
    unread = []
    for column in seen.columns:
        guess, looks = column.guess, column.profile
        doubtful = guess.level == "unsure"
        numbers = not guess.field and looks.measured > 0.8 and looks.filled > 5 and not looks.running
        if guess.taken or not (doubtful or (numbers and not guess.why.startswith("its meaning"))):
            continue
        told = f"{seen.title}: what is the column {column.heading!r} ({', '.join(column.samples[:4])})"
        near = f"; perhaps {guess.target()} by {guess.why}?" if doubtful else ", such as action bass (mm)?"
        asker.ask(column_key(seen, column.heading), told + near, (), LEAVE)
        unread.append(
            f"{seen.title}: {column.heading!r} is not read ({column.filled} cells): nobody has said what it is"
            + (f"; perhaps {guess.target()}" if doubtful else "")
        )
    return unread


def _add_headings(draft: Draft, log: LogDraft, here: str, *, read_outcomes: bool) -> list[str]:
    """What each heading means, the stage where a row speaks of several, and the measurements among them. Returns what
    stays unread since another column means the same, the surer one being read.
    """
    seen = log.survey
    taken: dict[str, str] = {}  # meaning without its unit -> heading
    unread: list[str] = []
    for column in sorted(seen.columns, key=lambda column: RANK.get(column.guess.level, len(RANK))):
        guess = column.guess
        if guess.field == ROWS:
            log.headings[column.heading] = "other"
            continue
        if guess.field == "ignore":
            log.ignore.append(column.heading)
            continue
        if not guess.taken or (guess.field == "outcome" and not read_outcomes):
            if guess.taken or _read_by_name(column.heading, seen.shape):
                log.headings[column.heading] = NOT_SAID
            continue
        stage = _stage_of_column(draft, seen, guess, here)
        if guess.field == "reading":
            trade = measure_of(guess.measure) or guess.measure
            key = draft.key_of(guess.measure, said=bool(guess.said))
            many = column.profile.several if not guess.position else 1
            places = sides_of(guess.position) or [str(place) for place in range(1, many + 1) if many > 1]
            add_measure(draft, key, trade, places, guess.unit or seen.said.units.get(key, ""))
            guess = guess if guess.said else replace(guess, measure=key)
        meaning = guess.target(stage)
        key = re.sub(r"\s*\([^)]*\)", "", meaning)
        if key in taken and guess.level != "said" and guess.field != "other":
            log.headings[column.heading] = NOT_SAID
            told = f"{column.heading!r} is not read ({column.filled} cells): {taken[key]!r} means {key} too"
            unread.append(f"{seen.title}: {told}")
            continue
        taken[key] = column.heading
        log.headings[column.heading] = meaning
    return unread


def _stage_of_column(draft: Draft, seen: Survey, guess: Guess, here: str) -> str:
    """Where a row speaks of several stages that of one column: its own, else that of the sheet, none for what holds for
    the whole row or was said with its stage.
    """
    if seen.shape != "instrument" or (guess.said and (guess.field != "reading" or "@" in guess.said)):
        return ""
    if guess.stage:
        return draft.stage_key(guess.stage)
    of_row = guess.field in OF_ROW or (guess.field in AIR and one_day(seen)) or (guess.said and seen.said.stage)
    return "" if of_row else here


def _read_by_name(heading: str, shape: str) -> bool:
    """Would the reader take a heading for a field by its name alone?"""
    bare = Shop.model_construct(stages=(), characteristics=(), models=())
    column = Headings(bare, Log(shape="measurement" if shape == "measurement" else "visit")).read(heading)
    return column.field not in ("other", "ignore")


def _add_stages(draft: Draft, log: LogDraft, asker: Asker, own: Mapping[str, str]) -> str:
    """The stages a sheet names, in bench order; the stage of what names none. own : words the shop knows already."""
    seen = log.survey
    words = seen.stage_order()
    own_column = bool(words)
    said = {plain(word): key for word, key in seen.said.words.get("stage", {}).items()}
    behind = places_behind(list(seen.words("outcome")), seen.said.words.get("outcome", {}), {*said, *own})
    for word in (*seen.words("sent_back_to"), *behind):
        if plain(word) not in {plain(each) for each in words} | set(NOT_STAGES) and word not in words:
            words.append(word)
    own_words = seen.words("stage")
    slips = {word: other for word, other in slips_of_words(own_words).items() if plain(word) not in {*said, *own}}
    words = [word for word in words if word not in slips]
    known = {plain(key): key for key in draft.stages} | {
        plain(str(entry["name"])): key for key, entry in draft.stages.items() if entry.get("name")
    }
    made = stage_words(words)
    unknown = [w for w in own_words if not (stage_of_word(w) or plain(w) in {*said, *own, *known})]
    likely = likely_stages(unknown, [stage_of_word(word) for word in words])
    others = agreed({plain(word): key for word, key in one.words.get("stage", {}).items()} for one in draft.logs)
    here_too = {plain(word) for word in own_words}  # where work went back to stands in the words of another sheet
    own = {word: key for word, key in others.items() if word not in here_too} | dict(own)
    meant: dict[str, str] = {}
    for word in words:
        text = plain(word)
        trade = stage_of_word(word)
        if not (trade or text in said or text in own or text in known):
            here = word in own_words
            question = f"{seen.title}: which stage is {word!r}" + ("?" if here else ", to which instruments went back?")
            options = (OWN, *(stage.key for stage in STAGES), PASS_OVER if here else LEAVE)
            every = f"{seen.title}: which bench is each of these?"
            default = likely.get(word, OWN) if here else LEAVE
            asked = f"stage {next(each for each in words if plain(each) == text)}"  # 'Frets' and 'frets' are one
            answer = asker.ask(asked, question, options, default, of=every, word=word)
            if answer == LEAVE:
                continue
            if answer == PASS_OVER:
                pass_over(log, column.heading if (column := seen.column("stage")) else "", word)
                continue
            trade = "" if answer == OWN else answer
            log.said |= {f"stage {word}"} if trade and asked in asker.answers else set()
        meant[word] = said.get(text) or own.get(text) or known.get(text) or draft.stage_key(trade or made[word])
        if text in said:
            log.said.add(f"stage {word}")
    meant |= {word: meant[other] for word, other in slips.items() if other in meant}
    log.words["stage"] = {word: key for word, key in meant.items() if plain(word) != plain(key)}
    words = [word for word in words if word in meant and word not in slips]
    for word in words:
        trade = next((trade for trade, key in draft.stage_keys.items() if key == meant[word]), meant[word])
        key = place_stage(draft, trade, [meant[other] for other in words])
        if (
            trade not in {stage.key for stage in STAGES}
            and f"stage {key}" not in draft.said
            and plain(word) not in said
        ):
            draft.guesses[f"stage {key}"] = (
                f"made of the word {word!r}; its place is where instruments meet it on the average"
            )
    for column in seen.columns:
        if seen.shape == "instrument" and column.guess.taken and column.guess.stage:
            place_stage(draft, column.guess.stage)
    if own_column:
        return ""
    return _stage_of_sheet(draft, log, asker)


def _stage_of_sheet(draft: Draft, log: LogDraft, asker: Asker) -> str:
    """The stage of a sheet that has no column for it: as said, as its tab or file is named, else asked."""
    seen = log.survey
    homeless = [column.heading for column in seen.measures() if not column.guess.stage and "@" not in column.guess.said]
    if not homeless and seen.shape == "instrument":
        bare = [one.guess for one in seen.columns if one.guess.taken and not (one.guess.stage or one.guess.said)]
        beside = any(_stage_of_column(draft, seen, guess, FINAL) for guess in bare)
        return place_stage(draft, FINAL) if beside else ""
    if seen.said.stage:
        trade = next((trade for trade, key in draft.stage_keys.items() if key == seen.said.stage), seen.said.stage)
        stage = place_stage(draft, trade)
    elif seen.stage and seen.shape != "instrument":
        stage = place_stage(draft, seen.stage)
        draft.guesses[f"stage of {seen.title}"] = "from the name of its tab or file"
    elif seen.shape != "instrument" and (like := next((log.stage for log in sisters(draft, seen) if log.stage), "")):
        stage = like
        draft.guesses[f"stage of {seen.title}"] = "as other sheets of this name"
    else:
        what = f"were {listed(homeless, 4)} measured" if homeless else "does it tell of"
        options = tuple(dict.fromkeys([*draft.stages, *(stage.key for stage in STAGES)]))
        key = f"stage of {seen.title}"
        default = NOT_KNOWN if seen.shape == "visit" and seen.rows_a_serial() > SEVERAL else "final_inspection"
        answer = asker.ask(key, f"{seen.title}: at which stage {what}?", options, default)
        draft.guesses[key] = "" if key in asker.answers else "the sheet does not say"
        if answer == NOT_KNOWN:
            return ""
        stage = place_stage(draft, answer)
    log.stage = stage if seen.shape != "instrument" else ""
    if seen.shape == "instrument" and seen.said.stage:
        log.stage = stage
    return stage


def _add_units(draft: Draft, log: LogDraft, asker: Asker, meanings: Mapping[str, str]) -> None:
    seen = log.survey
    for name, unit in seen.said.units.items():
        trade = "" if name in log.headings else measure_of(name)
        log.units[draft.measure_key(trade) if trade else name] = unit
    found: dict[str, str] = {}  # the trade's measurement -> this shop's key
    for column in seen.measures():
        guess = column.guess
        trade = measure_of(guess.measure) or guess.measure
        found[trade] = guess.measure if guess.said else draft.measure_key(guess.measure)
    for trade in meanings.values():
        found.setdefault(trade, draft.measure_key(trade))
    for trade, key in found.items():
        unit, needed, samples = seen.usual_unit(trade, meanings)
        like = next((other.units[key] for other in sisters(draft, seen) if key in other.units), "")
        if needed and like and key not in log.units:
            log.units[key] = like
        if not needed or key in log.units or any(name.startswith(f"{key} ") for name in log.units):
            continue
        options = tuple(name for name, _, _ in MEASURE[trade].units) or ("mm",)
        name = MEASURE[trade].name
        told = f"{seen.title}: numbers without a unit under {name} ({', '.join(samples)}): which unit?"
        asked = f"unit of {trade} in {seen.title}"
        unit = asker.ask(asked, told, (*options, "ask"), unit or "ask")
        if unit != "ask":
            log.units[key] = unit
            said = asked in asker.answers
            draft.guesses[f"unit of {key} in {seen.title}"] = (
                "" if said else f"from the size of {', '.join(samples[:3])}"
            )


def _empty_outcome(log: LogDraft, asker: Asker, *, read: bool) -> None:
    """What an empty result means, where there are many."""
    seen = log.survey
    column = seen.column("outcome")
    log.empty_outcome = seen.said.empty_outcome or "open"
    if column is None or not read or seen.said.empty_outcome:
        return
    empty = seen.rows - column.filled
    if empty > 0.2 * seen.rows:
        told = f"{seen.title}: {empty} of {seen.rows} rows have no result; what does an empty one mean?"
        log.empty_outcome = asker.ask(f"empty result in {seen.title}", told, ("open", "pass"), "open")


def _add_faults(draft: Draft, seen: Survey) -> None:
    """Faults that nobody has listed, with their usual first suspect."""
    listed_faults = {plain(word) for key, entry in draft.faults.items() for word in (key, *entry.get("words", ()))}
    listed_faults |= {plain(word) for word in seen.said.words.get("fault", {})}
    faults = [part.strip() for cell in seen.words("fault") for part in cell.split(";")]
    for fault in dict.fromkeys(faults):
        if (
            fault
            and plain(fault) not in listed_faults
            and len(draft.faults) < MOST_FAULTS
            and plain(fault) not in ("ok", "none", "-")
        ):
            listed_faults.add(plain(fault))
            suspect = guess_suspect(fault)
            key = suspect if suspect == "supplier" else draft.stage_key(suspect)
            entry = {"key": fault}
            if key in draft.stages or key == "supplier":
                entry["suspect"] = key
            draft.faults[fault] = entry
