"""Several shops at a target, as a page and a paper ask for them: read anew only when one of them has published."""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from threading import RLock

import polars as pl

from ingest.store.target import Target
from ingest.verbs.publish import address_of, on_file
from ingest.verbs.shops import NAMES, Several, read_all, read_names

Works = Mapping[str, Callable[[Mapping[str, pl.DataFrame]], pl.DataFrame]]


@dataclass(frozen=True)
class Found:
    """What several shops say, and the lists worked out of it."""

    told: Several
    lists: Mapping[str, pl.DataFrame]
    ours: str  # the name under which the shop that looks on stands there; '' where it does not


class Together:
    """One target, and the map of words beside it."""

    def __init__(self, folder: Path, target: Target, names: Path | None = None) -> None:
        self.folder, self.target = folder, target
        self._names = names
        self._lock = RLock()
        self._key: Hashable = None
        self._found: Found | None = None

    def found(self, works: Works) -> Found:
        """The lists of all shops as they stand. TargetProblem, one line, where there is none to be read."""
        with self._lock:
            key = self._stands()
            if self._found is None or key != self._key:
                names = self._map()
                told = read_all(self.target, read_names(names) if names else None, program=version("truerun"))
                self._found = Found(told, {name: work(told.tables) for name, work in works.items()}, self._ours())
                self._key = key
            return self._found

    def _stands(self) -> Hashable:
        rows = self.target.shops().select("shop", "version", "published_at").rows()
        names = self._map()
        return (*rows, names.stat().st_mtime_ns if names else 0)

    def _map(self) -> Path | None:
        if self._names is not None or self.target.folder is None:
            return self._names
        beside = self.target.folder / NAMES
        return beside if beside.exists() else None

    def _ours(self) -> str:
        place = on_file(self.folder).at(address_of(self.target.address))
        return place.shop if place else ""
