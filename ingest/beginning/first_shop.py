"""The parts of a first shop file before they are put into words, and why a part is only a guess."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ingest.beginning.survey import Survey
from ingest.reading.headings import plain

Entry = dict[str, Any]


@dataclass
class LogDraft:
    """One [[log]] before it is put into words."""

    survey: Survey
    files: str
    tab: str = ""
    name: str = ""
    stage: str = ""
    order: str = "ymd"
    night: str = ""  # `night_until`, where the sheet shows one
    empty_outcome: str = "open"
    headings: dict[str, str] = field(default_factory=dict)
    ignore: list[str] = field(default_factory=list)
    units: dict[str, str] = field(default_factory=dict)
    words: dict[str, dict[str, str]] = field(default_factory=dict)
    said: set[str] = field(default_factory=set)  # 'stage', 'words outcome RTN': parts that somebody said
    not_rows: dict[str, list[str]] = field(default_factory=dict)  # by heading the words of rows that are not meant
    more: list[Survey] = field(default_factory=list)  # of sheets of the same name under other headings
    kept: dict[str, str] = field(default_factory=dict)  # headings that the shop knows and this sheet does not have


@dataclass
class Draft:
    """The tables of a shop file; `guesses` says why a part is only a guess, by 'stage nut_slotting' and the like."""

    about: Entry = field(default_factory=dict)
    rest: dict[str, Any] = field(
        default_factory=dict
    )  # tables that somebody said, kept as they are: calendar, gauge ...
    stages: dict[str, Entry] = field(default_factory=dict)  # by key, in bench order
    measures: dict[str, Entry] = field(default_factory=dict)
    models: dict[str, Entry] = field(default_factory=dict)
    techs: dict[str, Entry] = field(default_factory=dict)
    faults: dict[str, Entry] = field(default_factory=dict)
    logs: list[LogDraft] = field(default_factory=list)
    guesses: dict[str, str] = field(default_factory=dict)
    measure_keys: dict[str, str] = field(default_factory=dict)  # of the trade -> of this shop
    stage_keys: dict[str, str] = field(default_factory=dict)
    said: set[str] = field(default_factory=set)  # 'stage nut_slotting', 'shop timezone': what somebody said

    def measure_key(self, measure: str) -> str:
        """The key of this shop for a measurement of the trade."""
        return self.measure_keys.get(measure, measure)

    def declared(self, name: str) -> str:
        """The key of a measurement that goes by this key or name already, '' where none does."""
        text = plain(name)
        return next(
            (key for key, entry in self.measures.items() if text in (plain(key), plain(str(entry.get("name", ""))))), ""
        )

    def key_of(self, measure: str, *, said: bool) -> str:
        """The key under which a column's measurement stands: as somebody `said` it, else this shop's own."""
        return (self.declared(measure) or measure) if said else self.measure_key(measure)

    def stage_key(self, stage: str) -> str:
        """The key of this shop for a stage of the trade."""
        return self.stage_keys.get(stage, stage)

    def trade_measure(self, key: str) -> str:
        """The trade's measurement behind a key of this shop, the key itself where none is."""
        return next((trade for trade, own in self.measure_keys.items() if own == key), key)

    def families(self) -> list[str]:
        """The families of the models, each once."""
        return list(dict.fromkeys(str(entry["family"]) for entry in self.models.values()))


def with_said(entry: Entry, said: Mapping[str, Any]) -> Entry:
    """A table with what somebody said in the place of what was guessed."""
    return {**entry, **said}
