"""A way in: from a shop's own sheets to a first shop.toml and specs.csv, every guess marked and what cannot be told
asked.

`propose` looks at files and says what it would write; `answers` to its questions make the next proposal surer; `write`
puts it into a folder and never overwrites. With a shop already there it proposes additions only.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import available_timezones

from ingest.beginning.additions import additions_text, known_log, known_words
from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.guesses import guess_family, guess_outcome, guess_suspect
from ingest.beginning.new_text import shop_text, specs_text
from ingest.beginning.starting_values import FAMILIES, OUTCOMES, STAGES
from ingest.beginning.survey import MEASURE, Survey, people, stage_words, survey
from ingest.reading.headings import plain
from ingest.shopfiles.shop import Log, Shop, ShopProblem, checked_shop
from ingest.terms.questions import closest, listed

MOST_ASKED = 10
MOST_FAULTS = 60
UNKNOWN_FAMILY = "not said"


@dataclass(frozen=True)
class Ask:
    """One question that the sheets cannot answer."""

    key: str
    text: str
    options: tuple[str, ...]  # () = any text
    default: str  # what is written, and marked as a guess, without an answer


@dataclass(frozen=True)
class Proposal:
    """What would be written, what it was made of, and what is asked."""

    shop_toml: str  # the whole file; with a shop already there only the tables to add, '' where it lacks nothing
    specs_csv: str
    asks: tuple[Ask, ...]
    surveys: tuple[Survey, ...]
    additions: bool


def propose(
    files: Sequence[tuple[str, bytes]], *, shop: Shop | None = None, answers: Mapping[str, str] | None = None
) -> Proposal:
    """Look at sheets (name, bytes) and propose the shop files that would read them.

    shop : the shop already there; then only what it lacks is proposed.  answers : by Ask.key.
    Raises FileProblem where a file cannot be read at all, ValueError where an answer is none of its options.
    """
    asker = _Asker(dict(answers or {}))
    draft = Draft()
    surveys = [survey(name, data) for name, data in files]
    if shop is None:
        draft.name = asker.ask("name", "What is the shop called?", (), "My setup shop")
        draft.timezone = asker.ask(
            "timezone", "Which time zone does its clock show, such as Europe/Dublin or America/New_York?", (), "UTC"
        )
    for seen in surveys:
        known = known_log(seen.name, shop)
        _add_log(draft, seen, _Asker({}) if known else asker, shop, known)  # a sheet of a known kind is asked nothing
    _add_models(draft, surveys, asker, shop)
    _mark_roles(draft, asker, shop)
    if shop is None:
        text = shop_text(draft)
        if not _no_zone(draft.timezone):
            checked_shop(tomllib.loads(text))  # what is proposed must load
        return Proposal(text, specs_text(draft), tuple(asker.asks), tuple(surveys), False)
    return Proposal(additions_text(draft, shop), "", tuple(asker.asks), tuple(surveys), True)


def unfit(ask: Ask, answer: str) -> str:
    """Why an answer will not do, one line; '' where it will."""
    if ask.options and answer != ask.default and answer not in ask.options:
        return f"{answer!r} is none of {', '.join(ask.options)}."
    if ask.key == "timezone" and _no_zone(answer):
        near = closest(answer, sorted(available_timezones()))
        return f"{answer!r} is no time zone; wanted one such as {near or 'Europe/Dublin'}."
    return ""


def _no_zone(name: str) -> bool:
    return name not in available_timezones()


def write(folder: Path, proposal: Proposal) -> list[Path]:
    """Write a proposal into a folder (made where it is not there) and say which files were written. Never overwrites:
    ShopProblem instead.
    """
    folder.mkdir(parents=True, exist_ok=True)
    texts = (
        {"shop.additions.toml": proposal.shop_toml}
        if proposal.additions
        else {"shop.toml": proposal.shop_toml, "specs.csv": proposal.specs_csv}
    )
    there = [name for name in texts if (folder / name).exists()]
    if there:
        raise ShopProblem(
            f"{folder / there[0]} is already there and is not overwritten; move it away, or start in another folder"
        )
    for name, text in texts.items():
        with (folder / name).open("x", encoding="utf-8") as file:
            file.write(text)
    return [folder / name for name in texts]


class _Asker:
    """Gathers questions, at most MOST_ASKED; past that the default is taken and marked like any guess."""

    def __init__(self, answers: dict[str, str]) -> None:
        self.answers, self.asks = answers, list[Ask]()

    def ask(self, key: str, text: str, options: tuple[str, ...], default: str) -> str:
        """The answer to a question, its default where there is none yet."""
        if len(self.asks) < MOST_ASKED:
            self.asks.append(Ask(key, text, options, default))
        answer = self.answers.get(key, default)
        if options and answer != default and answer not in options:
            raise ValueError(f"{key}: {answer!r} is none of {', '.join(options)}")
        return answer


def _add_log(draft: Draft, seen: Survey, asker: _Asker, shop: Shop | None, known: Log | None) -> None:
    """The [[log]] of one file, and the stages, measurements, techs and faults it names."""
    log = LogDraft(seen, re.sub(r"\d+(?:[-_. ]\d+)*", "*", seen.name))
    if any(other.files == log.files for other in draft.logs):
        log.files = seen.name
    log.order = seen.order
    if not seen.order_sure:
        log.order = asker.ask(
            f"dates of {seen.name}",
            f"{seen.name}: are the dates day-month-year or month-day-year?",
            ("dmy", "mdy", "ymd"),
            seen.order,
        )
        draft.guesses[f"dates of {seen.name}"] = "no date has a part above 12"
    here = _add_stages(draft, log, asker, known_words("stage", shop, known))
    for column in seen.columns:
        guess = column.guess
        if not guess.field:
            continue
        stage = ""
        if seen.shape == "instrument":
            stage = guess.stage or ("" if guess.field in ("serial", "model", "supplier", "lot", "date") else here)
        log.headings[column.heading] = guess.target(stage)
        if guess.field == "reading":
            held = draft.measures.setdefault(guess.measure, [])
            held += [
                place.split(" ")[0] for place in guess.position.split("/") if place and place.split(" ")[0] not in held
            ]
    _add_units(draft, log, asker)
    _add_outcomes(log, asker, known_words("outcome", shop, known))
    draft.logs.append(log)
    draft.techs |= {
        key: words for key, words in people(seen.words("tech").elements()).items() if key not in draft.techs
    }
    faults = [part.strip() for cell in seen.words("fault").elements() for part in cell.split(";")]
    listed_faults = {plain(fault) for fault in draft.faults}
    for fault in dict.fromkeys(faults):
        if (
            fault
            and plain(fault) not in listed_faults
            and len(draft.faults) < MOST_FAULTS
            and plain(fault) not in ("ok", "none", "-")
        ):
            listed_faults.add(plain(fault))
            suspect = guess_suspect(fault)
            draft.faults[fault] = suspect if suspect in draft.stages or suspect == "supplier" else ""


def _add_stages(draft: Draft, log: LogDraft, asker: _Asker, own: Mapping[str, str]) -> str:
    """The stages a sheet names, in bench order; the stage of what names none. own : words that the shop knows
    already.
    """
    seen = log.survey
    words = seen.stage_order()
    meant = stage_words(words) | {word: own[plain(word)] for word in words if plain(word) in own}
    log.words["stage"] = {word: key for word, key in meant.items() if plain(word) != plain(key)}
    for word in words:
        _place(draft, meant[word], [meant[other] for other in words])
        if meant[word] not in {stage.key for stage in STAGES}:
            draft.guesses[f"stage {meant[word]}"] = (
                f"made of the word {word!r}; its place is where instruments meet it on the average"
            )
    for column in seen.columns:
        if seen.shape == "instrument" and column.guess.stage:
            _place(draft, column.guess.stage, [])
    stage = ""
    if not words:
        homeless = [
            column.heading for column in seen.columns if column.guess.field == "reading" and not column.guess.stage
        ]
        if homeless or seen.shape == "visit":
            what = f"were {listed(homeless, 4)} measured" if homeless else "does it tell of"
            options = tuple(stage.key for stage in STAGES)
            stage = asker.ask(
                f"stage of {seen.name}", f"{seen.name}: at which stage {what}?", options, "final_inspection"
            )
            _place(draft, stage, [])
            draft.guesses[f"stage of {seen.name}"] = "the sheet does not say"
        log.stage = stage if seen.shape == "visit" else ""
        stage = stage or "final_inspection"
        _place(draft, stage, [])
    return stage


def _place(draft: Draft, key: str, route: list[str]) -> None:
    """Put a stage at its place along the bench: the trade's order, and behind its forerunner on the route for a stage
    the trade does not name.
    """
    if key in draft.stages:
        return
    usual = {stage.key: place for place, stage in enumerate(STAGES)}
    keys = list(draft.stages)
    if key in usual:
        at = next((place for place, other in enumerate(keys) if usual.get(other, -1) > usual[key]), len(keys))
    else:
        before = [other for other in route[: route.index(key)] if other in keys] if key in route else []
        at = keys.index(before[-1]) + 1 if before else len(keys)
    roles = {stage.key: stage.role for stage in STAGES}
    draft.stages = {name: draft.stages.get(name) or roles.get(name, "bench") for name in [*keys[:at], key, *keys[at:]]}


def _add_units(draft: Draft, log: LogDraft, asker: _Asker) -> None:
    for measure in dict.fromkeys(column.guess.measure for column in log.survey.measures()):
        unit, needed, samples = log.survey.usual_unit(measure)
        if not needed:
            continue
        options = tuple(name for name, _, _ in MEASURE[measure].units) or ("mm",)
        told = (
            f"{log.survey.name}: numbers without a unit under {MEASURE[measure].name} ({', '.join(samples)}): "
            "which unit?"
        )
        unit = asker.ask(f"unit of {measure} in {log.survey.name}", told, (*options, "ask"), unit or "ask")
        if unit != "ask":
            log.units[measure] = unit
            draft.guesses[f"unit of {measure} in {log.survey.name}"] = f"from the size of {', '.join(samples[:3])}"


def _add_outcomes(log: LogDraft, asker: _Asker, known: Mapping[str, str]) -> None:
    column = log.survey.column("outcome")
    if column is None:
        return
    own: dict[str, str] = {}
    for word in log.survey.words("outcome"):
        meant = known.get(plain(word)) or guess_outcome(word)
        if not meant:
            meant = asker.ask(
                f"outcome {word}", f"{log.survey.name}: what does the result {word!r} mean?", (*OUTCOMES, "ask"), "ask"
            )
        if meant not in ("ask", plain(word)):
            own[word] = meant
    log.words["outcome"] = own
    empty = log.survey.rows - column.filled
    if empty > 0.2 * log.survey.rows:
        told = f"{log.survey.name}: {empty} of {log.survey.rows} rows have no result; what does an empty one mean?"
        log.empty_outcome = asker.ask(f"empty result in {log.survey.name}", told, ("open", "pass"), "open")


def _add_models(draft: Draft, surveys: list[Survey], asker: _Asker, shop: Shop | None) -> None:
    known = known_words("model", shop, None)
    names = {plain(name): name for seen in surveys for name in seen.words("model") if plain(name) not in known}
    for name in names.values():
        family = guess_family(name)
        if not family:
            family = asker.ask(
                f"family of {name}",
                f"What kind of instrument is the model {name!r}?",
                (*FAMILIES, UNKNOWN_FAMILY),
                UNKNOWN_FAMILY,
            )
        draft.models[name] = family
        draft.guesses[f"model {name}"] = "from its name" if guess_family(name) else "not said"
    if not names and not known:
        draft.models["all models"] = asker.ask(
            "family",
            "The sheets name no model: what kind of instrument are they?",
            (*FAMILIES, UNKNOWN_FAMILY),
            UNKNOWN_FAMILY,
        )
        draft.guesses["model all models"] = "the sheets name no model"


def _mark_roles(draft: Draft, asker: _Asker, shop: Shop | None) -> None:
    """A shop needs to know its final inspection: yields and the week hang on it."""
    if shop is None and "final" not in draft.stages.values() and draft.stages:
        told = "At which stage is an instrument judged for the last time?"
        final = asker.ask("final stage", told, tuple(draft.stages), list(draft.stages)[-1])
        draft.stages[final] = "final"
        draft.guesses[f"stage {final}"] = "taken as the final inspection"
