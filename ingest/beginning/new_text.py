"""A proposal in words: shop.toml with every guess marked."""

import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from ingest.beginning.file_names import pattern_of
from ingest.beginning.first_shop import Draft, Entry, LogDraft
from ingest.beginning.rows_meant import NOT, ONLY, rules
from ingest.beginning.starting_values import STAGES
from ingest.reading.headings import NOT_SAID
from ingest.shopfiles.specs import STARTING_VALUE
from ingest.terms.questions import quoted, short

HEAD = """# A first shop file, proposed from the logs. Every line marked `guess` is one: look at it, put it right, take
# the mark away. Minutes, plausible ranges and suspects are starting values of the trade (common practice), not yours.
"""
STARTING = {"stage": ("minutes",), "characteristic": ("plausible",)}  # keys that hold starting values
GUESSED = {"characteristic": {"set_at": "where it is usually set"}, "fault": {"suspect": "the usual first suspect"}}


def shop_text(draft: Draft) -> str:
    """The whole of a first shop.toml."""
    zone = "" if "shop timezone" in draft.said else "guess: the clock on the wall"
    marks = {"timezone": zone, "name": "" if "shop name" in draft.said else "guess"}
    marks["serials"] = "" if "shop serials" in draft.said else "guess: serials differ by how they are typed alone"
    parts = [
        HEAD,
        "\n".join(["[shop]", *(_line(key, value, marks.get(key, "")) for key, value in draft.about.items())]),
    ]
    for kind in ("calendar", "judging", "people"):
        if kind in draft.rest:
            parts.append("\n".join([f"[{kind}]", *(_line(key, value) for key, value in draft.rest[kind].items())]))
    parts += [table_lines("stage", entry, draft) for entry in draft.stages.values()]
    parts += [table_lines("characteristic", entry, draft) for entry in draft.measures.values()]
    parts += [table_lines("gauge", entry, draft) for entry in draft.rest.get("gauge", [])]
    parts += [table_lines("model", entry, draft) for entry in draft.models.values()]
    parts += [table_lines("fault", entry, draft) for entry in draft.faults.values()]
    parts += [table_lines("tech", entry, draft) for entry in draft.techs.values()]
    for kind, entries in draft.rest.items():
        if isinstance(entries, list) and kind != "gauge":
            parts += [table_lines(kind, entry, draft) for entry in entries]
    parts += [log_lines(log, draft) for log in draft.logs]
    return "\n\n".join(parts) + "\n"


def table_lines(kind: str, entry: Entry, draft: Draft) -> str:
    """One [[table]] with its guesses marked."""
    name = f"{kind} {entry.get('key', '')}"
    whole = name in draft.said
    lines = [f"[[{kind}]]"]
    for key, value in entry.items():
        mark = ""
        if f"{name} {key}" in draft.said:
            mark = ""
        elif key == "key" and not whole and name in draft.guesses:
            mark = f"guess: {draft.guesses[name]}"
        elif key in ("family", "tuning") and f"{name} {key}" in draft.guesses:
            mark = f"guess: {draft.guesses[f'{name} {key}']}"
        elif key in STARTING.get(kind, ()):
            mark = STARTING_VALUE
        elif key in GUESSED.get(kind, {}):
            mark = f"guess: {draft.guesses.get(f'{name} {key}', GUESSED[kind][key])}"
        lines.append(_line(key, value, mark))
    return "\n".join(lines)


def _line(key: str, value: Any, mark: str = "") -> str:
    return f"{_key(key)} = {toml(value)}" + (f"  # {mark}" if mark else "")


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else quoted(key)


def toml(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:g}" if isinstance(value, float) else str(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(str(key))} = {toml(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml(each) for each in value) + "]"
    return quoted(str(value))


def log_lines(log: LogDraft, draft: Draft) -> str:
    """One [[log]]: what was said as it was said, every guess marked, every column with some of its cells."""
    seen = log.survey
    why = draft.guesses.get
    told_so = seen.said.files not in ("", pattern_of(seen.name))
    mark = "" if told_so else "guess: the name with its numbers left open"
    lines = ["[[log]]", _line("name", log.name or seen.title), _line("files", log.files, mark)]
    if log.tab:
        lines.append(_line("tab", log.tab))
    lines.append(_line("shape", seen.shape, "" if seen.said.shape else "guess"))
    if log.stage:
        lines.append(_line("stage", log.stage, _guess(why(f"stage of {seen.title}", ""))))
    lines.append(_line("date_order", log.order, _guess(why(f"dates of {seen.title}", ""))))
    if log.night:
        lines.append(_line("night_until", log.night, _guess(why(f"night of {seen.title}", ""))))
    lines.append(_line("decimal", seen.decimal))
    if log.empty_outcome != "open" or seen.said.empty_outcome:
        lines.append(_line("empty_outcome", log.empty_outcome))
    meant = rules(log)
    lines += [_line(key, value) for key, value in seen.said.rest.items() if key not in (ONLY, NOT)]
    lines += [_line(key, value) for key, value in meant.items()]
    if seen.once:
        lines.append(_line("same_as_above", seen.once, "guess: filled in few rows, the first among them"))
    if log.ignore:
        lines.append(_line("ignore", log.ignore))
    lines += ["", "[log.headings]"]
    columns = {
        column.heading: (column, sheet.rows) for sheet in reversed([seen, *log.more]) for column in sheet.columns
    }
    for column, rows in columns.values():
        told = f"{column.filled} of {rows} filled: {', '.join(short(sample)[:20] for sample in column.samples)}"
        told = re.sub(r"[\x00-\x1f\x7f]", " ", told)
        target = log.headings.get(column.heading)
        sure = {"said": "said; ", "sure": ""}.get(column.guess.level, f"guess by {column.guess.why}; ")
        sure = re.sub(r"[\x00-\x1f\x7f]", " ", sure)
        if column.heading in log.ignore:
            lines.append(f"# left out, as said: {quoted(column.heading)}: {told}")
        elif target and target not in ("other", NOT_SAID):
            lines.append(f"{quoted(column.heading)} = {quoted(target)}  # {sure}{told}")
        elif target == "other":
            lines.append(f'{quoted(column.heading)} = "other"  # {sure}kept as text; {told}')
        else:
            lines.append(f"# not known, kept as typed: {quoted(column.heading)}: {told}")
            lines += [f"{quoted(column.heading)} = {quoted(NOT_SAID)}"] if target else []
    lines += [f"{quoted(heading)} = {quoted(target)}" for heading, target in log.kept.items()]
    if log.units:
        lines += ["", "[log.units]"]
        lines += [
            _line(measure, unit, _guess(why(f"unit of {measure} in {seen.title}", "")))
            for measure, unit in log.units.items()
        ]
    for field, words in log.words.items():
        if words:
            lines += ["", f"[log.words.{field}]"]
            lines += [
                f"{quoted(word)} = {quoted(key)}" + ("" if f"{field} {word}" in log.said else "  # guess")
                for word, key in words.items()
            ]
    return "\n".join(lines)


def _guess(why: str) -> str:
    return f"guess: {why}" if why else ""


def starting_stage(key: str, trade: str, role: str) -> Entry:
    """A [[stage]] with the trade's name and minutes for it."""
    usual = next((stage for stage in STAGES if stage.key == trade), None)
    entry: Entry = {"key": key}
    if usual:
        entry["name"] = usual.name
    entry["role"] = role
    if usual and usual.minutes:
        entry["minutes"] = usual.minutes
    return entry
