"""shop.toml: the shop as its manager wrote it down. Unknown keys are refused; an error names file, key, value and what
is allowed.
"""

import hashlib
import time
import tomllib
from functools import cached_property
from pathlib import Path
from typing import Any, Self
from zoneinfo import ZoneInfo

from pydantic import Field, ValidationError, model_validator

from ingest.shopfiles.book_keepers import with_keepers
from ingest.shopfiles.contradictions import disagreements
from ingest.shopfiles.guess_marks import without_lost_families
from ingest.shopfiles.house_rules import About, Calendar, Judging, People
from ingest.shopfiles.shop_faults import told
from ingest.shopfiles.shop_parts import (
    Characteristic,
    Fault,
    Gauge,
    Log,
    Model,
    Part,
    Plan,
    Reaction,
    Role,
    Stage,
    Tech,
)
from ingest.terms.problems import Problem

SHOP_FILES = ("shop.toml", "specs.csv", "lots.csv", "changes.csv", "climate.csv")
AT_REST = 2.0  # seconds: the coarsest clock that a file system is known to keep times by
_FINGERPRINTS: dict[Path, tuple[tuple[object, ...], str]] = {}  # by folder: how its files stood, and the digest


class ShopProblem(Problem):
    """A shop file that cannot be used: one line with file, key, what was found and what is wanted."""


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

    @model_validator(mode="before")
    @classmethod
    def _lists_who_keeps_a_book(cls, table: Any) -> Any:
        return with_keepers(table)

    @cached_property
    def zone(self) -> ZoneInfo:
        """The clock on the wall."""
        return ZoneInfo(self.shop.timezone)

    @cached_property
    def date_order(self) -> str:
        """In which order days are written here, `ymd`, `dmy` or `mdy`: as in most of the shop's logs."""
        orders = [log.date_order for log in self.logs]
        return max(orders, key=orders.count, default="ymd")

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

    def length_of(self, characteristic: str) -> str:
        """The unit its lengths are shown in: its own `length`, else the shop's."""
        item = self.by_characteristic.get(characteristic)
        return (item.length if item else None) or self.shop.length

    def rod_stages(self, characteristic: str) -> list[str]:
        """The stages that set a characteristic on models with a truss rod, or of which none is said to be without."""
        item = self.by_characteristic.get(characteristic)
        with_rod = [model.family for model in self.models if model.rod is not False]
        if item is None or not isinstance(item.set_at, dict):
            return list(item.set_stages) if item else []
        return list(dict.fromkeys(stage for family in with_rod if (stage := item.set_stage(family))))

    @cached_property
    def straightening(self) -> list[str]:
        """The stages that straighten necks: that set relief on models with a rod; where relief is not set anywhere, the
        one of that name.
        """
        named = [stage.key for stage in self.stages if "straighten" in f"{stage.key} {stage.name}".lower()]
        return self.rod_stages("relief") or named

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
        text = path.read_text(encoding="utf-8-sig")
        table: dict[str, Any] = without_lost_families(text, tomllib.loads(text))
    except FileNotFoundError:
        name = path.absolute().parent.name
        here = f"No shop.toml in {name!r}." if path.parent.is_dir() else f"There is no folder {name!r}."
        raise ShopProblem(
            f"{here} Begin with a sheet of your own, `truerun new FILE`, or with `truerun demo`."
        ) from None
    except OSError as fault:
        raise ShopProblem(f"{path.name}: cannot be opened: {fault.strerror}") from None
    except RecursionError:
        raise ShopProblem(f"{path.name}: brackets nested deeper than in any shop file") from None
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
    """SHA-256 over the shop files as they are now: shop.toml, specs.csv, lots.csv, changes.csv, climate.csv.

    Every page asks for it many times: files are read again only where one of them has changed by its own account, or
    has been left alone too short for that to tell.
    """
    stands = _stand(folder)
    seen, found = _FINGERPRINTS.get(folder, ((), ""))
    if stands is not None and seen == stands:
        return found
    found = _digest(folder)
    if stands is not None and _stand(folder) == stands:
        _FINGERPRINTS[folder] = stands, found
    return found


def _stand(folder: Path) -> tuple[object, ...] | None:
    """How the shop files stand by the file system's account; None where one changed just now: twice within one tick of
    its clock looks like once.
    """
    stands: list[object] = []
    for name in SHOP_FILES:
        try:
            told = (folder / name).stat()
        except OSError as fault:
            stands.append(type(fault).__name__)
            continue
        if abs(time.time() - max(told.st_mtime, told.st_ctime)) < AT_REST:
            return None
        stands.append((told.st_dev, told.st_ino, told.st_mode, told.st_size, told.st_mtime_ns, told.st_ctime_ns))
    return tuple(stands)


def _digest(folder: Path) -> str:
    digest = hashlib.sha256()
    for name in SHOP_FILES:
        try:
            held = (folder / name).read_bytes()
        except FileNotFoundError:
            held = b"\0"
        except OSError as fault:  # a folder, no leave to read it: whoever reads it says so
            held = f"\0{type(fault).__name__}".encode()
        digest.update(name.encode() + b"\0" + held)
    return digest.hexdigest()
