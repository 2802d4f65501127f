"""Settings for every test: hypothesis repeats itself exactly and minds no deadline; the demo shop is made once."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: see dashboard/cli.py

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from demo_data.generator import write_shop
from ingest.load import load
from ingest.snapshot import Snapshot
from ingest.store import open_snapshot

settings.register_profile("truerun", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("truerun")


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shop with all sixteen weeks loaded, made once for the whole run; read it, never write into it."""
    folder = tmp_path_factory.mktemp("demo") / "shop"
    folder.mkdir()
    logs = write_shop(folder)
    load(folder, logs, now=datetime(2026, 11, 21, tzinfo=UTC))
    return folder


@pytest.fixture(scope="session")
def demo(demo_folder: Path) -> Snapshot:
    """The demo shop as a study sees it."""
    return open_snapshot(demo_folder)
