"""The demo shop's folder: made once, known by its marker, used again; a folder of anybody else is never touched."""

from datetime import datetime, timedelta
from pathlib import Path

from ingest.reading.sheet import Progress
from ingest.store.problems import StoreProblem

MARKER = ".truerun-demo"
_MAKING, _MADE = "being made by `truerun demo`\n", "made by `truerun demo`; it may be deleted\n"


def make(folder: Path, *, progress: Progress | None, now: datetime) -> bool:
    """Make the demo shop in `folder`, or go on with one that `demo` made there; was it made now?

    Raises StoreProblem where the folder is somebody else's.
    """
    marker = folder / MARKER
    if folder.exists() and not marker.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StoreProblem(
            f"{folder} is there already and is no demo shop; nothing was touched. Name another folder: truerun demo "
            "--shop DIR"
        )
    if marker.exists() and marker.read_text() == _MADE:
        return False
    from demo_data.generator import write_shop
    from ingest.verbs.load import load

    folder.mkdir(parents=True, exist_ok=True)
    marker.write_text(_MAKING)
    if progress:
        progress(0.0, "inventing sixteen weeks of a setup shop")
    logs = write_shop(folder)
    load(folder, logs, progress=progress, now=max(now, _after(folder)))
    marker.write_text(_MADE)
    return True


def _after(folder: Path) -> datetime:
    """A moment after everything that the demo's logs tell of, whatever the clock of this machine says."""
    from demo_data import scenario
    from ingest.shopfiles.shop import read_shop

    last = scenario.working_days(1)[-1].astype(object)
    zone = read_shop(folder / "shop.toml").zone
    return datetime(last.year, last.month, last.day, tzinfo=zone) + timedelta(days=1)
