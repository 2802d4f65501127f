"""shop.toml: the shop as its manager wrote it down. Unknown keys are refused; an error names file, key, value and what
is allowed.
"""

import hashlib
import re
import tomllib
from datetime import date, time
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from ingest.shopfiles.contradictions import disagreements
from ingest.shopfiles.shop_faults import told
from ingest.terms.problems import Problem
from ingest.terms.units import CANONICAL, amount

Role = Literal["receiving", "bench", "rest", "test", "final", "packing", "repair"]
Quantity = Literal["length", "pitch", "angle", "count", "class", "plain"]
Key = Annotated[str, Field(min_length=1)]
RunRule = Literal["beyond", "one side", "climb", "sawtooth", "two of three", "four of five", "hugging", "avoiding"]
EVEN = 1e-9  # gaps between leaves that differ by less are alike
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


class ShopProblem(Problem):
    """A shop file that cannot be used: one line with file, key, what was found and what is wanted."""


class Part(BaseModel):
    """One table of shop.toml; an unknown key is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True, ignored_types=(cached_property,))


def span(text: str) -> tuple[time, time]:
    """Begin and end of '07:30-17:00'; ValueError where it is none or ends before it begins."""
    found = re.fullmatch(r"\s*(\d{1,2}):(\d{2})\s*-\s*(\d{1,2}):(\d{2})\s*", text)
    try:
        if not found:
            raise ValueError
        begin, end = time(int(found[1]), int(found[2])), time(int(found[3]), int(found[4]))
    except ValueError:
        raise ValueError(f"{text!r} is no span of time; wanted one such as '07:30-17:00'") from None
    if end <= begin:
        raise ValueError(f"{text!r} ends before it begins; wanted a span within one day")
    return begin, end


def days(text: str) -> tuple[date, date]:
    """First and last day of '2026-12-24' or '2026-12-24/2027-01-01'; ValueError where it is neither."""
    first, slash, last = text.partition("/")
    try:
        begin = date.fromisoformat(first.strip())
        end = date.fromisoformat(last.strip()) if slash else begin
    except ValueError:
        raise ValueError(f"{text!r} is no day; wanted '2026-12-24' or '2026-12-24/2027-01-01'") from None
    if end < begin:
        raise ValueError(f"{text!r} ends before it begins")
    return begin, end


class About(Part):
    """[shop]: its name, its clock, its units and money."""

    name: Key
    timezone: Key
    length: Literal["mm", "in"] = "mm"
    temperature: Literal["C", "F"] = "C"
    currency: str = "EUR"
    labour_per_hour: Annotated[float, Field(ge=0)] = 0.0
    week_starts: Literal["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"] = "Monday"

    @field_validator("timezone")
    @classmethod
    def _is_a_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError("not a known time zone; wanted one such as 'Europe/Dublin' or 'UTC'") from None
        return value


class Calendar(Part):
    """Paid hours; minutes of a visit outside them are not labour. Days are open unless closed."""

    open: str = ""
    breaks: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()  # "2026-12-24" or "2026-12-24/2027-01-01", both ends included

    @field_validator("open")
    @classmethod
    def _opens(cls, value: str) -> str:
        if value:
            span(value)
        return value

    @field_validator("breaks")
    @classmethod
    def _breaks_end(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        spans = sorted(span(entry) for entry in value)
        if any(later[0] < earlier[1] for earlier, later in pairwise(spans)):
            raise ValueError("two breaks overlap; wanted breaks one after the other")
        return value

    @field_validator("closed")
    @classmethod
    def _are_days(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for entry in value:
            days(entry)
        return value


class Judging(Part):
    """[judging]: baselines and the budget of false signals."""

    baseline_readings: Annotated[int, Field(ge=2)] = 100
    least_readings: Annotated[int, Field(ge=2)] = 25
    false_signals_per_week: Annotated[float, Field(gt=0)] | None = None  # None with `width` None: 1.0
    width: Annotated[float, Field(gt=0)] | None = None
    rules: tuple[RunRule, ...] = ("beyond",)
    ewma_weight: Annotated[float, Field(gt=0, le=1)] = 0.1

    @model_validator(mode="after")
    def _is_one_or_the_other(self) -> Self:
        if self.width is not None and self.false_signals_per_week is not None:
            raise ValueError("false_signals_per_week and width are both given; wanted one of them")
        return self

    @property
    def budget(self) -> float | None:
        """False signals a week the shop allows; None where it asks for classical charts of a `width`."""
        if self.width is not None:
            return None
        return 1.0 if self.false_signals_per_week is None else self.false_signals_per_week


class People(Part):
    """[people]: what is shown of persons, for what, for how long."""

    show: Literal["none", "codes", "names"] = "codes"
    purpose: str = ""
    keep_months: Annotated[int, Field(ge=1)] = 24

    @model_validator(mode="after")
    def _names_have_a_purpose(self) -> Self:
        if self.show == "names" and not self.purpose.strip():
            raise ValueError('show = "names" needs a purpose; wanted purpose = "what the figures are for"')
        return self


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
    set_at: str | dict[str, str] = ""  # by family: { banjo = "neck_angle", other = "bridge_fitting" }
    at_pitch_from: str = ""
    positions: tuple[str, ...] = ()
    plausible: tuple[str, str] | None = None

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

    @property
    def canonical_unit(self) -> str:
        """The unit its values are kept in, '' for a count, a class or a gauge without a unit."""
        return CANONICAL.get(self.quantity, "")

    @model_validator(mode="after")
    def _is_plausible(self) -> Self:
        bounds = self.plausible_range
        if bounds and bounds[0] >= bounds[1]:
            raise ValueError(f"plausible goes from {self.plausible} which is not rising; wanted the lowest first")
        if len(set(self.positions)) < len(self.positions):
            raise ValueError(f"positions {list(self.positions)} name one twice")
        return self


class Gauge(Part):
    """A [[gauge]]: what it measures and in which steps."""

    key: Key
    name: str = ""
    measures: tuple[str, ...] = ()
    resolution: str = ""
    leaves: tuple[str, ...] = ()
    words: tuple[str, ...] = ()

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
    scale: str = ""
    short_string: ShortString | None = None
    rod: bool | None = None  # None: not said
    bridge: Literal["fixed", "movable", ""] = ""
    words: tuple[str, ...] = ()

    @cached_property
    def scale_mm(self) -> float | None:
        """Length of the open string in mm; None where it is not said."""
        return amount(self.scale, "length") if self.scale else None


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


class Log(Part):
    """A [[log]]: one kind of sheet."""

    name: str = "logs"
    files: str = "*"
    tab: str = ""  # the workbook's tab, with * as in `files`; '' = every tab that no other [[log]] names
    shape: Literal["visit", "instrument", "measurement", "study"] = "visit"
    stage: str = ""
    date_order: Literal["ymd", "dmy", "mdy"] = "ymd"
    decimal: Literal[".", ","] = "."
    empty_outcome: str = "open"
    replaces: Literal["", "same visits"] = ""
    headings: dict[str, str] = {}
    ignore: tuple[str, ...] = ()
    units: dict[str, str] = {}
    words: dict[str, dict[str, str]] = {}

    @field_validator("stage", "empty_outcome")
    @classmethod
    def _is_trimmed(cls, value: str) -> str:
        return value.strip()


class Shop(Part):
    """All of shop.toml."""

    shop: About
    calendar: Calendar = Calendar()
    judging: Judging = Judging()
    people: People = People()
    stages: tuple[Stage, ...] = Field(alias="stage", min_length=1)
    characteristics: tuple[Characteristic, ...] = Field(alias="characteristic", min_length=1)
    gauges: tuple[Gauge, ...] = Field(alias="gauge", default=())
    models: tuple[Model, ...] = Field(alias="model", min_length=1)
    faults: tuple[Fault, ...] = Field(alias="fault", default=())
    techs: tuple[Tech, ...] = Field(alias="tech", default=())
    reactions: tuple[Reaction, ...] = Field(alias="reaction", default=())
    plans: tuple[Plan, ...] = Field(alias="plan", default=())
    logs: tuple[Log, ...] = Field(alias="log", default=())

    @cached_property
    def zone(self) -> ZoneInfo:
        """The clock on the wall."""
        return ZoneInfo(self.shop.timezone)

    @cached_property
    def bench_order(self) -> dict[str, int]:
        """Place of each stage along the bench, from 0; a repair stage has its place in the file but stands outside the
        bench order.
        """
        return {stage.key: place for place, stage in enumerate(self.stages)}

    @cached_property
    def roles(self) -> dict[str, Role]:
        """Role of each stage."""
        return {stage.key: stage.role for stage in self.stages}

    @cached_property
    def by_stage(self) -> dict[str, Stage]:
        """Stages by key."""
        return {stage.key: stage for stage in self.stages}

    @cached_property
    def by_model(self) -> dict[str, Model]:
        """Models by key."""
        return {model.key: model for model in self.models}

    @cached_property
    def by_characteristic(self) -> dict[str, Characteristic]:
        """Characteristics by key."""
        return {item.key: item for item in self.characteristics}

    @cached_property
    def setups(self) -> dict[str, str]:
        """The stream name of each model: its `setup`, else the model itself."""
        return {model.key: model.setup or model.key for model in self.models}

    @cached_property
    def families(self) -> dict[str, str]:
        """Family of each model."""
        return {model.key: model.family for model in self.models}

    def rod_stages(self, characteristic: str) -> list[str]:
        """The stages that set a characteristic on models with a truss rod, or of which none is said to be without."""
        item = self.by_characteristic.get(characteristic)
        with_rod = [model.family for model in self.models if model.rod is not False]
        if item is None or not isinstance(item.set_at, dict):
            return list(item.set_stages) if item else []
        return list(dict.fromkeys(stage for family in with_rod if (stage := item.set_stage(family))))

    def set_stage(self, characteristic: str, model: str) -> str:
        """The stage that sets a characteristic on a model, or on the models of a setup; '' where none does."""
        item = self.by_characteristic.get(characteristic)
        family = self.families.get(model) or next((m.family for m in self.models if m.setup == model), "")
        return item.set_stage(family) if item else ""

    @cached_property
    def set_here(self) -> frozenset[tuple[str, str, str]]:
        """(characteristic, family, stage) wherever a characteristic is set on instruments of a family."""
        families = set(self.families.values())
        return frozenset(
            (item.key, family, item.set_stage(family))
            for item in self.characteristics
            for family in families
            if item.set_stage(family)
        )

    def stage_name(self, key: str) -> str:
        """A stage's name; its key where it is not listed."""
        stage = self.by_stage.get(key)
        return (stage.name or key.replace("_", " ").capitalize()) if stage else key

    def characteristic_name(self, key: str) -> str:
        """A characteristic's name; its key where it is not listed."""
        item = self.by_characteristic.get(key)
        return (item.name or key.replace("_", " ").capitalize()) if item else key

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Self:
        faults = list(disagreements(self))
        if faults:
            raise ValueError("\n".join(faults))
        return self


def read_shop(path: Path) -> Shop:
    """The shop of a shop.toml, or ShopProblem with one line per fault."""
    try:
        table: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise ShopProblem("No shop here. Start with `truerun demo`.") from None
    except OSError as fault:
        raise ShopProblem(f"{path.name}: cannot be opened: {fault.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise ShopProblem(f"{path.name}: not readable as TOML: {fault}") from None
    return checked_shop(table, path.name)


def checked_shop(table: dict[str, Any], name: str = "shop.toml") -> Shop:
    """The shop of a table as TOML gives it. ShopProblem, a line per fault: file, key, what was found, what is
    allowed.
    """
    try:
        return Shop.model_validate(table)
    except ValidationError as problem:
        faults = [
            fault
            for fault in problem.errors()
            if not (fault["type"] == "dict_type" and "constrained-float" in str(fault["loc"]))
        ]
        lines = [f"{name}: {line}" for fault in faults or problem.errors() for line in told(fault, table, Shop)]
        raise ShopProblem("\n".join(dict.fromkeys(lines))) from None


def fingerprint(folder: Path) -> str:
    """SHA-256 over the shop files as they are now: shop.toml, specs.csv, lots.csv, changes.csv, climate.csv."""
    digest = hashlib.sha256()
    for name in ("shop.toml", "specs.csv", "lots.csv", "changes.csv", "climate.csv"):
        path = folder / name
        digest.update(name.encode() + b"\0" + (path.read_bytes() if path.exists() else b"\0"))
    return digest.hexdigest()
