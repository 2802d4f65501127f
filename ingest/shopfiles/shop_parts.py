"""The lists of shop.toml, a type each: stages, characteristics, gauges, models, faults, techs, plans, logs."""

import re
from datetime import date
from functools import cached_property
from itertools import pairwise
from statistics import median
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from ingest.terms.units import CANONICAL, amount

Role = Literal["receiving", "bench", "rest", "test", "final", "packing", "repair"]
Quantity = Literal["length", "pitch", "angle", "count", "class", "plain"]
Key = Annotated[str, Field(min_length=1)]
EVEN = 1e-9  # gaps between leaves that differ by less are alike


class Part(BaseModel):
    """One table of shop.toml; an unknown key is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True, ignored_types=(cached_property,))


class Stage(Part):
    """A [[stage]]: one bench step."""

    key: Key
    name: str = ""
    role: Role = "bench"
    minutes: Annotated[float, Field(ge=0)] | dict[str, Annotated[float, Field(ge=0)]] = 0.0
    families: tuple[str, ...] = ()

    def planned_minutes(self, family: str) -> float:
        """Planned minutes of one visit of an instrument of that family."""
        if isinstance(self.minutes, dict):
            return float(self.minutes.get(family, self.minutes.get("other", 0.0)))
        return float(self.minutes)

    def holds_for(self, family: str) -> bool:
        """Does an instrument of that family pass this stage?"""
        return not self.families or family in self.families


class Characteristic(Part):
    """A [[characteristic]]: what is measured, and where it is set."""

    key: Key
    name: str = ""
    quantity: Quantity = "length"
    length: Literal["mm", "in", "64ths", "thou"] | None = None  # the unit it is shown in; None: the shop's
    set_at: str | dict[str, str] = ""  # by family: { banjo = "neck_angle", other = "bridge_fitting" }
    at_pitch_from: str = ""
    positions: tuple[str, ...] = ()
    plausible: tuple[str, str] | None = None
    even_within: str = ""  # of several positions (points round a rim): how far apart they may read
    values: tuple[Key, ...] = ()  # class: the words that are written
    good: tuple[Key, ...] = ()  # class: those of them that are as they should be

    @cached_property
    def set_stages(self) -> tuple[str, ...]:
        """Every stage at which it is set, of any family; () where it is set nowhere."""
        named = self.set_at.values() if isinstance(self.set_at, dict) else (self.set_at,)
        return tuple(dict.fromkeys(stage for stage in named if stage))

    def set_stage(self, family: str) -> str:
        """The stage that sets it on an instrument of that family; '' where none does."""
        return self.set_at.get(family, self.set_at.get("other", "")) if isinstance(self.set_at, dict) else self.set_at

    @cached_property
    def plausible_range(self) -> tuple[float, float] | None:
        """Lowest and highest plausible value in canonical units; None where nothing is said."""
        if self.plausible is None:
            return None
        kind = self.quantity if self.quantity in CANONICAL else "plain"
        return amount(self.plausible[0], kind), amount(self.plausible[1], kind)

    @cached_property
    def most_apart(self) -> float | None:
        """How far apart the readings of its positions may lie in one visit, canonical units; None where nothing is
        said.
        """
        return (
            amount(self.even_within, self.quantity if self.quantity in CANONICAL else "plain")
            if self.even_within
            else None
        )

    @property
    def canonical_unit(self) -> str:
        """The unit its values are kept in, '' for a count, a class or a gauge without a unit."""
        return CANONICAL.get(self.quantity, "")

    @model_validator(mode="after")
    def _is_plausible(self) -> Self:
        bounds = self.plausible_range
        if bounds and bounds[0] >= bounds[1]:
            low, high = self.plausible or ("", "")
            raise ValueError(f"plausible goes from {low} to {high}, which is not rising; wanted the lowest first")
        if len(set(self.positions)) < len(self.positions):
            raise ValueError(f"positions {list(self.positions)} name one twice")
        if self.most_apart is not None and (len(self.positions) < 2 or self.most_apart <= 0):
            raise ValueError(f'even_within = "{self.even_within}": wanted an amount above 0, and two positions or more')
        if self.length is not None and self.quantity != "length":
            raise ValueError(
                f'length = "{self.length}" is no unit of {self.quantity}; wanted with quantity = "length" only'
            )
        if (self.values or self.good) and self.quantity != "class":
            raise ValueError('values and good are words of a check; wanted them with quantity = "class" only')
        if strange := [word for word in self.good if word not in self.values]:
            raise ValueError(f"good names {strange} which values does not; wanted words of values")
        return self


class Gauge(Part):
    """A [[gauge]]: what it measures and in which steps."""

    key: Key
    name: str = ""
    measures: tuple[str, ...] = ()
    resolution: str = ""
    leaves: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    check_days: Annotated[int, Field(ge=1)] | None = None  # days between two checks on its master piece
    master: str = ""  # what the master piece is: "6/64 in", "0.254 mm"

    @cached_property
    def master_value(self) -> float | None:
        """The master piece in canonical units; None where there is none."""
        return amount(self.master) if self.master else None

    @cached_property
    def step(self) -> float | None:
        """Smallest difference the gauge can show, in canonical units: its resolution, or the middle step between its
        leaves; None: not said.
        """
        if self.resolution:
            return amount(self.resolution)
        sizes = sorted({amount(leaf) for leaf in self.leaves})
        return median(high - low for low, high in pairwise(sizes)) if len(sizes) > 1 else None

    @cached_property
    def uneven_marks(self) -> tuple[float, ...]:
        """Its leaves in canonical units, rising, where they are not evenly spaced; else ()."""
        sizes = sorted({amount(leaf) for leaf in self.leaves})
        gaps = [high - low for low, high in pairwise(sizes)]
        return tuple(sizes) if gaps and max(gaps) - min(gaps) > EVEN else ()

    @model_validator(mode="after")
    def _has_a_step(self) -> Self:
        if self.resolution and self.leaves:
            raise ValueError("resolution and leaves are both given; wanted one of them")
        if self.check_days and not self.master:
            raise ValueError('check_days needs a master piece; wanted master = "0.254 mm" or such')
        if self.master:
            amount(self.master)
        if self.resolution and amount(self.resolution) <= 0:
            raise ValueError(f"resolution {self.resolution!r} is not above 0")
        if self.leaves and (
            len({amount(leaf) for leaf in self.leaves}) < 2 or min(amount(leaf) for leaf in self.leaves) <= 0
        ):
            raise ValueError(f"leaves {list(self.leaves)}: wanted two or more different sizes above 0")
        return self


class ShortString(Part):
    """The banjo's short string: which one, and where it starts."""

    string: int
    starts_at: int


class Model(Part):
    """A [[model]]: its family, its strings, its scale."""

    key: Key
    name: str = ""
    family: Key
    setup: str = ""
    strings: int | None = None
    tuning: str = ""  # the notes of its strings from the highest number down: "G C E A"; of two alike the thin one "E'"
    scale: str = ""
    short_string: ShortString | None = None
    rod: bool | None = None  # None: not said
    bridge: Literal["fixed", "movable", ""] = ""
    words: tuple[str, ...] = ()

    @cached_property
    def scale_mm(self) -> float | None:
        """Length of the open string in mm; None where it is not said."""
        return amount(self.scale, "length") if self.scale else None

    @model_validator(mode="after")
    def _is_tuned(self) -> Self:
        notes = self.tuning.split()
        if not all(re.fullmatch(r"[A-H][#b]?'?", note) for note in notes) or len(set(notes)) < len(notes):
            raise ValueError(f'tuning {self.tuning!r}: wanted a note a string, such as "G C E A" or "E A D G B E\'"')
        if notes and self.strings is not None and len(notes) != self.strings:
            raise ValueError(f"tuning {self.tuning!r} has {len(notes)} notes and strings is {self.strings}")
        return self


class Fault(Part):
    """A [[fault]]: what goes wrong, and the words for it."""

    key: Key
    words: tuple[str, ...] = ()
    suspect: str = ""


class Tech(Part):
    """A [[tech]]: a code, and the words it goes by."""

    key: Key
    name: str = ""
    words: tuple[str, ...] = ()
    started: date | None = None
    qualified: tuple[str, ...] = ()


class Reaction(Part):
    """What this shop checks first when a characteristic moves, in order."""

    characteristic: Key
    check: tuple[Key, ...]


class Plan(Part):
    """A [[plan]]: what was agreed with suppliers."""

    characteristic: Key
    sample: Annotated[int, Field(ge=1)]
    accept: Annotated[int, Field(ge=0)] | None = None
    k: Annotated[float, Field(gt=0)] | None = None  # by measurement: mean and spread in place of a count
    supplier: str = ""

    @model_validator(mode="after")
    def _is_counted_or_measured(self) -> Self:
        if (self.accept is None) == (self.k is None):
            raise ValueError("a plan needs accept (by counting) or k (by measurement); wanted one of them")
        if self.k is not None and self.sample < 3:
            raise ValueError("a plan by measurement needs a sample of 3 or more")
        return self


AHEAD = r"^-?\d{1,2}:[0-5]\d( since \d{4}-\d\d-\d\d)?( until \d{4}-\d\d-\d\d)?$"  # 3:00 since 2026-10-05


class Log(Part):
    """A [[log]]: one kind of sheet."""

    name: str = "logs"
    files: str = "*"
    tab: str = ""  # the workbook's tab, with * as in `files`; '' = every tab that no other [[log]] names
    shape: Literal["visit", "instrument", "measurement", "study"] = "visit"
    stage: str = ""
    tech: str = ""  # whose rows all are, where the sheet has no column for it: a book of their own
    date_order: Literal["ymd", "dmy", "mdy"] = "ymd"
    night_until: Annotated[str, Field(pattern=r"^(([01]\d|2[0-3]):[0-5]\d)?$")] = (
        ""  # earlier times are of the day after
    )
    clock_ahead: dict[str, Annotated[str, Field(pattern=AHEAD)]] = {}  # by stage: its clock is off, and by how much
    decimal: Literal[".", ","] = "."
    empty_outcome: str = "open"
    replaces: Literal["", "same visits"] = ""
    serials: Literal["", "each day", "each month", "each year"] = ""  # when numbers begin anew
    headings: dict[str, str] = {}
    ignore: tuple[str, ...] = ()
    same_as_above: tuple[str, ...] = ()  # headings whose empty cells say what the last filled one above says
    only_rows: dict[
        str, tuple[str, ...]
    ] = {}  # by heading the words of the rows that are meant; others are passed over
    not_rows: dict[str, tuple[str, ...]] = {}  # by heading the words of the rows that are not
    units: dict[str, str] = {}
    words: dict[str, dict[str, str]] = {}

    @field_validator("stage", "tech", "empty_outcome")
    @classmethod
    def _is_trimmed(cls, value: str) -> str:
        return value.strip()
