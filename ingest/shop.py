"""shop.toml: the shop as its manager wrote it down. Unknown keys are refused; an error names file, key, value and what is allowed."""

import hashlib
import tomllib
from datetime import date, time
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, model_validator

Role = Literal["receiving", "bench", "rest", "test", "final", "packing", "repair"]
Quantity = Literal["length", "pitch", "angle", "count", "class", "plain"]
Key = Annotated[str, Field(min_length=1)]
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


class ShopProblem(ValueError):
    """A shop file that cannot be used: one line with file, key, what was found and what is wanted."""


class Part(BaseModel):
    """One table of shop.toml; an unknown key is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True, ignored_types=(cached_property,))


class About(Part):
    name: Key
    timezone: Key
    length: Literal["mm", "in"] = "mm"
    temperature: Literal["C", "F"] = "C"
    currency: str = "EUR"
    labour_per_hour: Annotated[float, Field(ge=0)] = 0.0
    week_starts: Literal["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"] = "Monday"


class Calendar(Part):
    """Paid hours; minutes of a visit outside them are not labour. Days are open unless closed."""

    open: str = ""
    breaks: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()  # "2026-12-24" or "2026-12-24/2027-01-01", both ends included


class Judging(Part):
    baseline_readings: Annotated[int, Field(ge=2)] = 100
    least_readings: Annotated[int, Field(ge=2)] = 25
    false_signals_per_week: Annotated[float, Field(gt=0)] | None = None  # None with `width` None: 1.0
    width: Annotated[float, Field(gt=0)] | None = None
    rules: tuple[str, ...] = ("beyond",)
    ewma_weight: Annotated[float, Field(gt=0, le=1)] = 0.1

    @property
    def budget(self) -> float | None:
        """False signals a week the shop allows; None where it asks for classical charts of a `width`."""
        if self.width is not None:
            return None
        return 1.0 if self.false_signals_per_week is None else self.false_signals_per_week


class People(Part):
    show: Literal["none", "codes", "names"] = "codes"
    purpose: str = ""
    keep_months: Annotated[int, Field(ge=1)] = 24


class Stage(Part):
    key: Key
    name: str = ""
    role: Role = "bench"
    minutes: float | dict[str, float] = 0.0
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
    key: Key
    name: str = ""
    quantity: Quantity = "length"
    set_at: str = ""
    at_pitch_from: str = ""
    positions: tuple[str, ...] = ()
    plausible: tuple[str, str] | None = None


class Gauge(Part):
    key: Key
    name: str = ""
    measures: tuple[str, ...] = ()
    resolution: str = ""
    leaves: tuple[str, ...] = ()
    words: tuple[str, ...] = ()


class ShortString(Part):
    string: int
    starts_at: int


class Model(Part):
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


class Fault(Part):
    key: Key
    words: tuple[str, ...] = ()
    suspect: str = ""


class Tech(Part):
    key: Key
    name: str = ""
    words: tuple[str, ...] = ()
    started: date | None = None
    qualified: tuple[str, ...] = ()


class Plan(Part):
    characteristic: Key
    sample: Annotated[int, Field(ge=1)]
    accept: Annotated[int, Field(ge=0)]
    supplier: str = ""


class Log(Part):
    name: str = "logs"
    files: str = "*"
    shape: Literal["visit", "instrument", "study"] = "visit"
    stage: str = ""
    date_order: Literal["ymd", "dmy", "mdy"] = "ymd"
    decimal: Literal[".", ","] = "."
    empty_outcome: str = "open"
    replaces: Literal["", "same visits"] = ""
    headings: dict[str, str] = {}
    ignore: tuple[str, ...] = ()
    units: dict[str, str] = {}
    words: dict[str, dict[str, str]] = {}


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
    plans: tuple[Plan, ...] = Field(alias="plan", default=())
    logs: tuple[Log, ...] = Field(alias="log", default=())

    @cached_property
    def zone(self) -> ZoneInfo:
        """The clock on the wall."""
        return ZoneInfo(self.shop.timezone)

    @cached_property
    def bench_order(self) -> dict[str, int]:
        """Place of each stage along the bench, from 0; a repair stage has its place in the file but stands outside the bench order."""
        return {stage.key: place for place, stage in enumerate(self.stages)}

    @cached_property
    def roles(self) -> dict[str, Role]:
        return {stage.key: stage.role for stage in self.stages}

    @cached_property
    def by_stage(self) -> dict[str, Stage]:
        return {stage.key: stage for stage in self.stages}

    @cached_property
    def by_model(self) -> dict[str, Model]:
        return {model.key: model for model in self.models}

    @cached_property
    def by_characteristic(self) -> dict[str, Characteristic]:
        return {item.key: item for item in self.characteristics}

    @cached_property
    def setups(self) -> dict[str, str]:
        """The stream name of each model: its `setup`, else the model itself."""
        return {model.key: model.setup or model.key for model in self.models}

    @cached_property
    def families(self) -> dict[str, str]:
        """Family of each model."""
        return {model.key: model.family for model in self.models}

    def stage_name(self, key: str) -> str:
        stage = self.by_stage.get(key)
        return (stage.name or key.replace("_", " ").capitalize()) if stage else key

    def characteristic_name(self, key: str) -> str:
        item = self.by_characteristic.get(key)
        return (item.name or key.replace("_", " ").capitalize()) if item else key

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Self:
        return self  # cross checks: see checked_shop


def read_shop(path: Path) -> Shop:
    """The shop of a shop.toml, or ShopProblem with one line per fault."""
    try:
        table: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise ShopProblem("No shop here. Start with `truerun demo`.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise ShopProblem(f"{path.name}: not readable as TOML: {fault}") from None
    return Shop.model_validate(table)


def fingerprint(folder: Path) -> str:
    """SHA-256 over the shop files as they are now: shop.toml, specs.csv, lots.csv, changes.csv, climate.csv."""
    digest = hashlib.sha256()
    for name in ("shop.toml", "specs.csv", "lots.csv", "changes.csv", "climate.csv"):
        path = folder / name
        digest.update(name.encode() + b"\0" + (path.read_bytes() if path.exists() else b"\0"))
    return digest.hexdigest()
