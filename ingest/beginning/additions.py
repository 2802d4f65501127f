"""What a shop file lacks to read a sheet it has not met: only tables to add, and for a sheet of a known kind only words
and headings.
"""

from ingest.beginning.first_shop import Draft, Entry, LogDraft
from ingest.beginning.new_text import log_lines, table_lines
from ingest.beginning.starting_values import STAGES
from ingest.reading.headings import Headings, plain
from ingest.reading.reader import log_for
from ingest.reading.words import Words
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.terms.questions import FileProblem, quoted

HEAD = (
    "# Additions to shop.toml, proposed from the logs: put what is right into shop.toml; a [[log]] belongs before "
    "one whose `files` is wider."
)


def known_log(name: str, shop: Shop | None) -> Log | None:
    """The [[log]] that reads files of this name already; None where there is none, or no [[log]] at all."""
    if shop is None or not shop.logs:
        return None
    try:
        return log_for(name, shop)
    except FileProblem:
        return None


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
    parts += [table_lines(kind, entry, draft) for kind, entry in new]
    for log in draft.logs:
        known = known_log(log.survey.name, shop)
        parts += _lacking(log, known, shop) if known else [log_lines(log, draft)]
    return "\n\n".join([HEAD, *parts]) + "\n" if parts else ""


def _place(key: str, shop: Shop) -> str:
    """Where along the bench a new stage belongs: [[stage]] tables stand in bench order."""
    usual = {stage.key: place for place, stage in enumerate(STAGES)}
    before = [
        stage.key
        for stage in shop.stages
        if usual.get(stage.key, -1) < usual.get(key, len(usual)) and stage.key in usual
    ]
    where = f"behind {before[-1]!r}" if before else f"before {shop.stages[0].key!r}"
    return f"[[stage]] tables stand in bench order: this one belongs {where}" + (
        "" if key in usual else ", by your own knowledge of the bench"
    )


def _lacking(log: LogDraft, known: Log, shop: Shop) -> list[str]:
    """What the [[log]] that reads a sheet lacks, as comments: its headings and words belong into tables that are there
    already.
    """
    headings = Headings(shop, known)
    unread = [
        column.heading
        for column in log.survey.columns
        if headings.read(column.heading).field == "other" and column.heading not in known.headings
    ]
    lines = [f"{quoted(heading)} = {quoted(log.headings[heading])}" for heading in unread if heading in log.headings]
    told = [f"#   its headings lack: {', '.join(lines)}"] if lines else []
    for field, words in log.words.items():
        own = known_words(field, shop, known)
        lines = [f"{quoted(word)} = {quoted(key)}" for word, key in words.items() if plain(word) not in own]
        told += [f"#   its words.{field} lacks: {', '.join(lines)}"] if lines else []
    return ["\n".join([f"# {log.survey.name} is read by the [[log]] {known.name!r}:", *told])] if told else []
