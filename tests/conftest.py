"""Settings for every test: hypothesis repeats itself exactly and minds no deadline; the demo shop is made once,
whatever the number of workers; what a worker has worked out of a shop that all read, it works out once.
"""

import gc
import os
import re
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: see dashboard/commands/cli.py
if "PYTEST_XDIST_WORKER" in os.environ:
    os.environ.setdefault(
        "POLARS_MAX_THREADS", "1"
    )  # before polars: a worker has one core, and threads that wait for one another spin

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from xdist.scheduler import LoadScopeScheduling

from dashboard import faults
from dashboard.desk.desk import Desk, use
from demo_data.generator import write_shop
from ingest.store import sqlite_tables
from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot
from ingest.store.store import stands as standing
from ingest.verbs.load import load
from tests.dashboard.pages import moving_shop, people_shop, reworked_shop

gc.disable()  # until the tests are read: that leaves hardly any garbage, and looking for it took two fifths of the time
settings.register_profile(
    "truerun", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("truerun")
sqlite_tables.SYNCHRONOUS = (
    "OFF"  # tests end processes, not the power; what a power cut asks for stands in test_sqlite_tables.py
)
faults.loud = True  # a fault fails its test; tests of what a person sees of one say otherwise


def pytest_xdist_auto_num_workers() -> int:
    """One worker more than there are cores: tests that wait for a browser leave theirs to others."""
    return (os.cpu_count() or 1) + 1


ROOT = Path(__file__).parents[1]
SELDOM = ("promise", "long")  # kinds of test
LONG = (
    "tests/browser/",
    "tests/ingest/test_crash",
    "tests/analysis/studies/story/test_kept",
    "tests/dashboard/cluster/",
    "tests/dashboard/test_",
    "tests/ingest/strangers/",
    "tests/demo/",
)
OF_DEMO = re.compile(r"demo_desk|def \w+\([^)]*\bdemo\b")  # a test that takes its desk, or the shop as a study sees it


@cache
def _together(file: str) -> str:
    """What runs on one worker: a file, but all files that ask of the demo shop, whose answers are dear."""
    return "demo" if OF_DEMO.search((ROOT / file).read_text(encoding="utf-8")) else file


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Where only kinds of test are asked for that few files hold, the others are not read: reading all takes long."""
    asked = set(config.option.markexpr.split())
    if not asked or not asked <= {*SELDOM, "or"} or not collection_path.name.startswith("test_"):
        return None
    text = collection_path.read_text(encoding="utf-8")
    return None if any(f"mark.{kind}" in text for kind in SELDOM) else True


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What takes longest begins first, so that no worker waits for the last one."""

    def place(item: pytest.Item) -> int:
        file = item.nodeid.partition("::")[0]
        if _together(file) == "demo":
            return 0
        return next((k for k, name in enumerate(LONG, 1) if file.startswith(name)), len(LONG) + 1)

    items.sort(key=place)


def pytest_collection_finish() -> None:
    """What was imported stays for good: it is not looked through for garbage again and again."""
    gc.freeze()
    gc.enable()


class Together(LoadScopeScheduling):
    """Hands out what belongs together as one piece, in the order of collection (--no-loadscope-reorder)."""

    def _split_scope(self, nodeid: str) -> str:
        return _together(nodeid.partition("::")[0])


def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> Together:
    """How tests are handed to workers."""
    return Together(config, log)


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shop with all sixteen weeks loaded, made by the first worker that asks; read it, never write into it."""
    base = tmp_path_factory.getbasetemp()
    shared = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "demo"
    folder, done = shared / "shop", shared / "done"
    try:
        shared.mkdir()
    except FileExistsError:
        _wait_for(done)
        return folder
    folder.mkdir()
    load(folder, write_shop(folder), now=datetime(2026, 11, 21, tzinfo=UTC))
    done.touch()
    return folder


def _wait_for(done: Path, seconds: float = 180) -> None:
    until = time.monotonic() + seconds
    while not done.exists():
        if time.monotonic() > until:
            pytest.fail("another worker began to load the demo shop and did not end; its own failure says why")
        time.sleep(0.2)


@pytest.fixture(scope="session")
def kept_demo_desk(demo_folder: Path) -> Desk:
    """What `demo_desk` gives: made once, so that each answer is worked out once."""
    return Desk(demo_folder)


@pytest.fixture
def demo_desk(kept_demo_desk: Desk) -> Desk:
    """The desk of the demo shop, in use: a process has one, and the test before may have opened another."""
    use(kept_demo_desk)
    return kept_demo_desk


@pytest.fixture(scope="session")
def demo(demo_folder: Path) -> Snapshot:
    """The demo shop as a study sees it."""
    return open_snapshot(demo_folder)


def _for_all(make: Callable[[Path], Path], folder: Path) -> Iterator[Desk]:
    """A shop that a worker's tests read and none writes into, with its desk: what was worked out of it is kept."""
    make(folder)
    before = standing(folder)
    yield Desk(folder)
    assert standing(folder) == before, f"a test wrote into {folder.name}, which others read: it wants a copy"


@pytest.fixture(scope="session")
def moving_desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """The desk of `moving_shop`, to be read."""
    yield from _for_all(moving_shop.stands, tmp_path_factory.mktemp("all") / "moving")


@pytest.fixture(scope="session")
def people_desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """The desk of `people_shop`, to be read."""
    yield from _for_all(people_shop.stands, tmp_path_factory.mktemp("all") / "people")


@pytest.fixture(scope="session")
def reworked_desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """The desk of `reworked_shop`, to be read."""
    yield from _for_all(reworked_shop.stands, tmp_path_factory.mktemp("all") / "reworked")
