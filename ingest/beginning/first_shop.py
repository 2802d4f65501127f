"""The parts of a first shop file before they are put into words."""

from dataclasses import dataclass, field

from ingest.beginning.survey import Survey


@dataclass
class Draft:
    """The parts of a shop file before they are put into words; `guesses` says of a part why it is only a guess."""

    name: str = "My setup shop"
    timezone: str = "UTC"
    stages: dict[str, str] = field(default_factory=dict)  # key -> role, in bench order
    measures: dict[str, list[str]] = field(default_factory=dict)  # key -> positions
    models: dict[str, str] = field(default_factory=dict)  # key -> family
    techs: dict[str, list[str]] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)  # key -> suspect
    logs: list["LogDraft"] = field(default_factory=list)
    guesses: dict[str, str] = field(default_factory=dict)  # 'stage nut_slotting' -> why


@dataclass
class LogDraft:
    """One [[log]] before it is put into words."""

    survey: Survey
    files: str
    stage: str = ""
    order: str = "ymd"
    empty_outcome: str = "open"
    headings: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    words: dict[str, dict[str, str]] = field(default_factory=dict)
