"""A way in: from a shop's own sheets to a first shop.toml and specs.csv, every guess marked, what is unsure asked.

`propose` looks at files and says what it would write; `answers` to its questions, and what somebody `said` as tables
of shop.toml, make the next proposal surer; `write` puts it into a folder and never overwrites. With a shop already
there it proposes additions only.
"""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ingest.beginning.additions import additions_text, keep, known_log, under
from ingest.beginning.answers import LogSaid, Said, checked_answers, said_of, slip, unheard
from ingest.beginning.as_needed import mark_repairs
from ingest.beginning.asking import COLUMN, LEAVE, Ask, Asker, no_zone, unfit
from ingest.beginning.days_of_others import with_orders, zone_of
from ingest.beginning.families import FAMILIES, family_of
from ingest.beginning.file_names import pattern_of
from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.gauges_seen import gauges
from ingest.beginning.legend import legend_of
from ingest.beginning.measured_at_end import measured_at_end
from ingest.beginning.model_names import add_models
from ingest.beginning.new_text import shop_text
from ingest.beginning.of_one_kind import is_kind_of, together, with_more
from ingest.beginning.parts_of_shop import add_measure, begin, finish_measures, place_stage, shown_in
from ingest.beginning.raw_tables import LOOKED_AT, RawTable, raw_tables
from ingest.beginning.rows_meant import answered_rows, meant_table
from ingest.beginning.serials_typed import serials_typed
from ingest.beginning.sheets_of_shop import add_log, column_key
from ingest.beginning.sisters import join_sisters
from ingest.beginning.starting_limits import specs_text
from ingest.beginning.station_questions import answered_stations, ask_stations
from ingest.beginning.steps_seen import steps_seen
from ingest.beginning.survey import Survey, survey_of
from ingest.beginning.tunings_seen import columns_of, tunings
from ingest.beginning.where_set import set_nowhere
from ingest.beginning.worth_asking import not_told, with_asked
from ingest.reading.headings import plain
from ingest.reading.on_disk import Data
from ingest.reading.workbook import first_rows
from ingest.shopfiles.shop import Shop, ShopProblem, checked_shop
from ingest.terms.questions import FileProblem

__all__ = ["Ask", "Proposal", "column_key", "propose", "unfit", "write"]


@dataclass(frozen=True)
class Proposal:
    """What would be written, what it was made of, and what is asked."""

    shop_toml: str  # the whole file; with a shop already there only the tables to add, '' where it lacks nothing
    specs_csv: str
    asks: tuple[Ask, ...]
    surveys: tuple[Survey, ...]
    additions: bool
    left: tuple[str, ...] = ()  # tabs that are no log, each with why
    unread: tuple[str, ...] = ()  # what stays unread until somebody says what it is
    logs: tuple[LogDraft, ...] = field(default=(), repr=False)


def propose(
    files: Sequence[tuple[str, Data]],
    *,
    shop: Shop | None = None,
    answers: Mapping[str, str] | None = None,
    said: Said | None = None,
) -> Proposal:
    """Look at sheets (name, bytes) and propose the shop files that would read them.

    shop : the shop already there; then only what it lacks is proposed.  answers : by Ask.key.  said : tables of
    shop.toml that a person gave; they go before every guess.
    Raises FileProblem where a file cannot be read at all, ShopProblem where what was said cannot stand, ValueError
    where an answer is none of its options.
    """
    given = dict(answers or {})
    told = _with_columns(said or Said(), given)
    asker = Asker(given)
    surveys, left = look(files, told, shop)
    if strings := columns_of(surveys, given.get("family", "")):
        told = said_columns(strings, told)
        surveys, left = look(files, told, shop)
    _check_said(told, surveys)
    draft = Draft()
    begin(draft, told, shop)
    if shop is None:
        _about(draft, told, surveys, asker)
    for seen in surveys:
        ask_stations(seen, asker)
    surveys = [measured_at_end(draft, seen, asker) for seen in surveys]
    unread: list[str] = []
    for seen in surveys:
        unread += add_log(draft, seen, asker, shop, seen.known)
        if seen.known is not None:
            keep(draft.logs[-1], seen.known)
    shown_in(draft, shop)
    add_models(draft, surveys, asker, shop)
    unread += [*_without_limits(draft), *tunings(draft, asker, shop)]
    _mark_roles(draft, asker, shop)
    if shop is None:
        mark_repairs(draft, _measured_at(draft))
    finish_measures(draft, shop)
    unread += [*set_nowhere(draft), *not_told(draft.logs)] if shop is None else []
    steps = steps_seen(draft)
    draft.rest["gauge"] = [*draft.rest.get("gauge", []), *gauges(draft, steps)]
    join_sisters(draft)
    return Proposal(
        _shop_text(draft, told) if shop is None else additions_text(draft, shop),
        specs_text(draft, steps) if shop is None else "",
        tuple(asker.asks),
        tuple(surveys),
        shop is not None,
        tuple(left),
        tuple(unread),
        tuple(draft.logs),
    )


def look(files: Sequence[tuple[str, Data]], told: Said, shop: Shop | None = None) -> tuple[list[Survey], list[str]]:
    """The surveys of all sheets, those of one kind as one; and the tabs that are no log, each with why. A file too
    short to tell what its columns are is one of its kind where another under the same headings tells it.
    """
    found: list[Survey] = []
    left: list[str] = []
    short: list[tuple[str, RawTable, FileProblem]] = []
    for name, data in files:
        tables, others = raw_tables(name, data)
        left += [f"{name}: tab {tab!r} is no log and is left: {why}" for tab, why in others.items()]
        mine = []
        faults: list[tuple[str, RawTable, FileProblem]] = []
        for table in tables:
            try:
                mine.append(_seen(name, table, said_of(told, name, table.tab), shop))
            except FileProblem as fault:
                faults.append((name, table, fault))
        if mine:
            left += [f"{name}: tab {table.tab!r} is no log and is left: {_why(each)}" for _, table, each in faults]
        else:
            short += faults
        one = len(tables) + len(others) == 1
        no_logs = [tab for tab in (*others, *(table.tab for _, table, _ in faults)) if tab]
        legend = legend_of(row for tab in no_logs for row in first_rows(data, tab, LOOKED_AT))
        found += [replace(seen, tab="" if one and not seen.said.tab else seen.tab, legend=legend) for seen in mine]
    found = together(found)
    for name, table, lacks in short:
        kind = next((seen for seen in found if is_kind_of(seen, name, table)), None)
        if kind is None:
            raise lacks
        found[found.index(kind)] = with_more(kind, name, table)
    return with_orders(found), left


def _why(fault: FileProblem) -> str:
    return str(fault).partition(": ")[2]


def _seen(name: str, table: RawTable, said: LogSaid, shop: Shop | None) -> Survey:
    """One table looked at; of a kind that the shop knows, with what its [[log]] says already."""
    known = known_log(name, table, shop)
    if shop is None or known is None or (said.files and said.files not in (known.files, name)):
        return with_asked(survey_of(name, meant_table(table, said), said))
    said = under(said, known, table, shop)
    found = survey_of(name, meant_table(table, said), said)
    found.known = known
    return found


def _with_columns(said: Said, answers: Mapping[str, str]) -> Said:
    """What somebody said, with the answers to questions about columns as headings of the sheets they were asked of, and
    the rows that are not meant.
    """
    logs: list[dict[str, Any]] = []
    for key, answer in answers.items():
        if key.startswith(COLUMN) and answer not in (LEAVE, ""):
            heading, _, place = key.removeprefix(COLUMN).partition(" \x1f ")
            name, _, tab = place.partition(" \x1f ")
            logs.append({"files": pattern_of(name), "headings": {heading: answer}} | ({"tab": tab} if tab else {}))
    logs += answered_stations(answers)
    logs += [{"not_rows": {heading: words}} for heading, words in answered_rows(answers).items()]
    return Said({**said.table, "log": [*said.logs(), *logs]}, said.name) if logs else said


def _check_said(told: Said, surveys: Sequence[Survey]) -> None:
    """ShopProblem, a line each, where what was said fits no sheet or names no column."""
    sheets = [(seen.name, seen.tab, [column.heading for column in seen.columns]) for seen in surveys]
    lines = unheard(told, sheets)
    declared = [
        str(entry.get(key)) for entry in told.tables("characteristic") for key in ("key", "name") if key in entry
    ]
    for place, entry in enumerate(told.logs(), 1):
        targets = [*entry.get("headings", {}).items(), *entry.get("words", {}).get("what", {}).items()]
        for heading, target in targets:
            if near := slip(target, declared):
                where = f"{told.name}: log {entry.get('name') or place}"
                lines.append(f"{where}: {heading!r} is said to be {target!r}, which names no column; {near!r}?")
    if lines:
        raise ShopProblem("\n".join(dict.fromkeys(lines)))


def _shop_text(draft: Draft, told: Said) -> str:
    text = shop_text(draft)
    if not no_zone(str(draft.about["timezone"])) or "timezone" in told.table.get("shop", {}):
        checked_shop(tomllib.loads(text))  # what is proposed must load
    return text


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


def _about(draft: Draft, told: Said, surveys: Sequence[Survey], asker: Asker) -> None:
    """The [shop] table: as said, else asked."""
    said = dict(told.table.get("shop", {}))
    draft.said |= {f"shop {key}" for key in said}
    about: dict[str, Any] = {}
    if "name" not in said:
        about["name"] = asker.ask("name", "What is the shop called?", (), "My setup shop")
        draft.said |= {"shop name"} if "name" in asker.answers else set()
    else:
        about["name"] = said["name"]
    if "timezone" not in said:
        question = "Which time zone does its clock show, such as Europe/Dublin or America/New_York?"
        likely = zone_of(surveys)
        about["timezone"] = asker.ask("timezone", question, (), likely)
        draft.said |= {"shop timezone"} if asker.answers.get("timezone", likely) != likely else set()
    about["length"] = ""  # known once the sheets' units are
    if "serials" not in said and (typed := serials_typed(surveys, asker))[0]:
        about["serials"] = typed[0]
        draft.said |= {"shop serials"} if typed[1] else set()
    draft.about = {**about, **said}


def _without_limits(draft: Draft) -> list[str]:
    """Models whose family, as somebody said it, has no starting limits though another word for it has: a line each."""
    return [
        f"model {name!r}: nothing is known of the family {entry['family']!r}, so that it gets no starting limits; "
        f"perhaps {near!r}"
        for name, entry in draft.models.items()
        if entry["family"] not in FAMILIES and (near := family_of(str(entry["family"])))
    ]


def _mark_roles(draft: Draft, asker: Asker, shop: Shop | None) -> None:
    """A shop needs to know its final inspection: yields and the week hang on it."""
    if shop is None and not draft.stages:
        place_stage(draft, "final_inspection")  # a shop file needs one
    roles = {str(entry.get("role", "bench")) for entry in draft.stages.values()}
    if shop is None and "final" not in roles and draft.stages:
        told = "At which stage is an instrument judged for the last time?"
        read = _measured_at(draft)
        last = [stage for stage in draft.stages if stage in read] or list(draft.stages)
        likely = next(reversed(draft.stages)) if _tests_at_last(draft) else last[-1]
        final = asker.ask("final stage", told, tuple(draft.stages), likely)
        if f"stage {final} role" not in draft.said:
            draft.stages[final]["role"] = "final"
            draft.guesses[f"stage {final}"] = "taken as the final inspection"
    if shop is None and not draft.measures:
        add_measure(draft, "relief", "relief", [])


def _tests_at_last(draft: Draft) -> bool:
    """Is the last stage of all a test that sends back, by the results that its rows have?"""
    key = next(reversed(draft.stages))
    if draft.stages[key].get("role") != "test":
        return False
    for log in draft.logs:
        where, result = log.survey.column("stage"), log.survey.column("outcome")
        if where is not None and result is not None:
            words = {plain(word) for word, stage in log.words["stage"].items() if stage == key} | {plain(key)}
            back = {plain(word) for word, outcome in log.words["outcome"].items() if outcome == "send back"}
            rows = zip(where.cells, result.cells, strict=True)
            if any(plain(stage) in words and plain(cell) in back for stage, cell in rows):
                return True
    return False


def _measured_at(draft: Draft) -> set[str]:
    """The stages at which a sheet holds a reading."""
    found: set[str] = set()
    for log in draft.logs:
        where = log.survey.column("stage")
        if where is None:
            found |= {log.stage} if log.stage and log.survey.measures() else set()
            continue
        words = {plain(key): key for key in draft.stages} | {
            plain(word): key for word, key in log.words["stage"].items()
        }
        for column in log.survey.measures():
            found |= {
                words.get(plain(stage), "")
                for stage, cell in zip(where.cells, column.cells, strict=True)
                if cell.strip()
            }
    return found


def said_columns(picks: Mapping[tuple[str, str, str], str], said: Said | None = None) -> Said:
    """What somebody said, with what they picked for columns: by file, tab and heading."""
    logs = [
        {"files": pattern_of(name), "headings": {heading: target}} | ({"tab": tab} if tab else {})
        for (name, tab, heading), target in picks.items()
    ]
    before = said or Said()
    return checked_answers({**before.table, "log": [*logs, *before.logs()]}, before.name)
