"""Settings for every test: hypothesis repeats itself exactly and minds no deadline; the demo shop is made once,
whatever the number of workers.
"""

import os
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: see dashboard/commands/cli.py
if "PYTEST_XDIST_WORKER" in os.environ:
    os.environ.setdefault(
        "POLARS_MAX_THREADS", "1"
    )  # before polars: a worker has one core, and threads that wait for one another spin

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from dashboard import faults
from dashboard.desk.desk import Desk, use
from demo_data.generator import write_shop
from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot
from ingest.verbs.load import load

settings.register_profile(
    "truerun", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("truerun")
faults.loud = True  # a fault fails its test; tests of what a person sees of one say otherwise


def pytest_xdist_auto_num_workers() -> int:
    """One worker more than there are cores: tests that wait for a browser leave theirs to others."""
    return (os.cpu_count() or 1) + 1


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
