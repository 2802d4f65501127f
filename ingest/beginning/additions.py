"""What a shop file lacks to read a sheet it has not met: only tables to add, and for a sheet of a known kind only words
and headings.
"""

from fnmatch import fnmatch

from ingest.beginning.answers import LogSaid
from ingest.beginning.first_shop import Draft, Entry, LogDraft
from ingest.beginning.gauges_seen import coarser
from ingest.beginning.new_text import log_lines, table_lines
from ingest.beginning.raw_tables import RawTable
from ingest.beginning.stage_words import guess_stage
from ingest.beginning.starting_values import STAGES
from ingest.reading.headings import NOT_SAID, Headings, missing, plain
from ingest.reading.words import Words
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.terms.questions import FileProblem, quoted

BY_ROLE = {"receiving": "receiving", "test": "play_test", "final": "final_inspection", "packing": "packing"}
CARRIED_ON = (
    "replaces",
    "serials",
    "night_until",
    "only_rows",
    "not_rows",
    "same_as_above",
)  # of a known kind, as they stand
HEAD = (
    "# Additions to shop.toml, proposed from the logs: put what is right into shop.toml; a [[log]] belongs before "
    "one whose `files` is wider."
)


def known_log(name: str, table: RawTable, shop: Shop | None) -> Log | None:
    """The [[log]] that reads a table of this file and tab already, whatever else it may lack; None where none does, or
    where it would not find what a row must say, so that the table is of another kind.
    """
    if shop is None or not shop.logs:
        return None
    tab = table.tab.strip().casefold()
    mine = [
        log
        for log in shop.logs
        if fnmatch(name.casefold(), log.files.casefold()) and (not log.tab or fnmatch(tab, log.tab.strip().casefold()))
    ]
    if not mine:
        return None
    try:
        lacks = missing(Headings(shop, mine[0]).table(table.headings, name), mine[0])
    except FileProblem:
        return None
    return None if lacks else mine[0]


def under(said: LogSaid, known: Log, table: RawTable, shop: Shop) -> LogSaid:
    """What somebody said of a sheet of a known kind, and beneath it what the [[log]] that reads it says already."""
    told = {key: value for key, value in known.headings.items() if value != NOT_SAID}
    headings = {**told, **said.headings}
    read = Headings(shop, known)
    for heading in table.headings:
        column = read.read(heading)
        if column.field not in ("other", "ignore") and heading not in headings:
            unit = f"({column.unit})" if column.unit and column.field == "reading" else ""
            headings[heading] = f"{column.meaning} {unit}".strip()
    fields = {**known.words, **said.words}
    return LogSaid(
        name=known.name,
        files=known.files,
        tab=known.tab,
        shape=said.shape or known.shape,
        stage=said.stage or known.stage,
        date_order=said.date_order or known.date_order,
        decimal=said.decimal or known.decimal,
        empty_outcome=said.empty_outcome or known.empty_outcome,
        headings=headings,
        ignore=(*known.ignore, *(each for each in said.ignore if each not in known.ignore)),
        units={**known.units, **said.units},
        words={field: {**known.words.get(field, {}), **said.words.get(field, {})} for field in fields},
        rest={key: held for key in CARRIED_ON if (held := getattr(known, key))} | dict(said.rest),
        mark=said.mark,
    )


def keep(log: LogDraft, known: Log) -> None:
    """Put into the draft of a known kind what its [[log]] says of columns and words that this sheet does not hold."""
    here = {column.heading for column in log.survey.columns}
    log.kept = {heading: target for heading, target in known.headings.items() if heading not in here}
    log.ignore += [heading for heading in known.ignore if heading not in log.ignore]
    for field, words in known.words.items():
        log.words[field] = {**words, **log.words.get(field, {})}
        log.said |= {f"{field} {word}" for word in words}


def known_words(field: str, shop: Shop | None, log: Log | None) -> dict[str, str]:
    """What the words of a field mean already, by the word in plain letters."""
    return Words(shop, log or Log()).by_field.get(field, {}) if shop else {}


def additions_text(draft: Draft, shop: Shop) -> str:
    """Only what a shop file lacks; '' where nothing."""
    techs, faults = known_words("tech", shop, None), known_words("fault", shop, None)
    parts = [
        f"# {_place(key, shop)}\n{table_lines('stage', entry, draft)}"
        for key, entry in draft.stages.items()
        if key not in shop.by_stage
    ]
    new: list[tuple[str, Entry]] = [
        *(("characteristic", entry) for key, entry in draft.measures.items() if key not in shop.by_characteristic),
        *(("model", entry) for key, entry in draft.models.items() if key not in shop.by_model),
        *(("fault", entry) for key, entry in draft.faults.items() if plain(key) not in faults),
        *(("tech", entry) for key, entry in draft.techs.items() if plain(key) not in techs),
    ]
    measures = [entry["key"] for kind, entry in new if kind == "characteristic"]
    gauges = {plain(word) for gauge in shop.gauges for word in (gauge.key, gauge.name, *gauge.words)}
    new += [
        ("gauge", entry)
        for entry in draft.rest.get("gauge", [])
        if plain(str(entry["key"])) not in gauges
        and ("name" not in entry or set(entry.get("measures", ())) & {*measures})  # a column's word has no name
    ]
    new += [("gauge", entry) for entry in coarser(draft, shop) if plain(str(entry["key"])) not in gauges]
    parts += [table_lines(kind, entry, draft) for kind, entry in new]
    for log in draft.logs:
        known = log.survey.known
        parts += _completed(log, known, draft, shop) if known else [log_lines(log, draft)]
    return "\n\n".join([HEAD, *parts]) + "\n" if parts else ""


def _place(key: str, shop: Shop) -> str:
    """Where along the bench a new stage belongs: [[stage]] tables stand in bench order."""
    usual = {stage.key: place for place, stage in enumerate(STAGES)}
    trade = {
        stage.key: guess_stage(stage.key) or guess_stage(stage.name) or BY_ROLE.get(stage.role, stage.key)
        for stage in shop.stages
    }
    mine = usual.get(key, len(usual))
    before = [stage.key for stage in shop.stages if usual.get(trade[stage.key], len(usual)) < mine]
    if not before and mine >= usual["final_inspection"]:
        before = [stage.key for stage in shop.stages]
    where = f"behind {before[-1]!r}" if before else f"before {shop.stages[0].key!r}"
    return f"[[stage]] tables stand in bench order: this one belongs {where}" + (
        "" if key in usual else ", by your own knowledge of the bench"
    )


def _completed(log: LogDraft, known: Log, draft: Draft, shop: Shop) -> list[str]:
    """The [[log]] that reads a sheet with what it lacks put in, to stand in the place of the one there; nothing where
    it lacks nothing.
    """
    headings = Headings(shop, known)
    said = {column.heading for column in log.survey.columns if column.guess.level == "said"}
    lines = [
        f"{quoted(heading)} = {quoted(target)}"
        for heading, target in log.headings.items()
        if (
            headings.read(heading).meaning != headings.meant(target)
            if target not in ("other", NOT_SAID)
            else target == "other" and heading in said and not headings.read(heading).meant
        )
    ]
    told = [f"#   headings: {', '.join(lines)}"] if lines else []
    for field, words in log.words.items():
        own = known_words(field, shop, known)
        lines = [f"{quoted(word)} = {quoted(key)}" for word, key in words.items() if own.get(plain(word)) != key]
        told += [f"#   words.{field}: {', '.join(lines)}"] if lines else []
    units = [f"{quoted(key)} = {quoted(unit)}" for key, unit in log.units.items() if known.units.get(key) != unit]
    told += [f"#   units: {', '.join(units)}"] if units else []
    new = [heading for heading in log.ignore if heading not in known.ignore]
    told += [f"#   ignore: {', '.join(map(quoted, new))}"] if new else []
    if not told:
        return []
    head = f"# This takes the place of the [[log]] {known.name!r}, which reads {log.survey.name} but lacks:"
    return ["\n".join([head, *told, log_lines(log, draft)])]
