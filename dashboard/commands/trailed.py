"""What the command line adds to the trail of a shop that several people sign in to: it was done at the machine."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from dashboard.commands.terminal import now, say, without_shop
from ingest.access import file, trail
from ingest.terms.problems import Problem

DID = {
    "load": "loaded",
    "again": "tried questions again",
    "unload": "unloaded",
    "correct": "corrected",
    "limits": "put limits on file",
    "restore": "restored a backup",
    "backup": "took a backup",
    "publish": "published",
    "necks": "took away a neck packet",
    "sheet": "took away sheets",
}
ALL_TECHS = {"figures": "all figures", "week": "the weekly review"}  # what it tells of them all side by side
SILENT = {"forget": "took a name out"}  # not whose


def note(shop: Path, arguments: Sequence[str]) -> None:
    """One line on a command that has done its work, where people sign in to this shop."""
    command, *rest = arguments or ("",)
    if "--help" in rest:
        return
    if command in ALL_TECHS:
        looked(shop, trail.EVERYBODY, ALL_TECHS[command])
    elif command in SILENT:
        _written(shop, SILENT[command])
    elif command in DID:
        _written(shop, DID[command], " ".join(Path(word).name if "/" in word else word for word in without_shop(rest)))


def looked(shop: Path, tech: str, where: str) -> None:
    """A line where somebody was shown figures of a tech, or of trail.EVERYBODY, if people sign in to this shop."""
    if (shop / file.FILE).exists():
        with _work_is_done():
            trail.note_reading(shop, trail.AT_THE_MACHINE, "", tech, where, now=now())


def _written(shop: Path, what: str, about: str = "") -> None:
    if (shop / file.FILE).exists():
        with _work_is_done():
            trail.note(shop, trail.AT_THE_MACHINE, "", what, about, now=now())


@contextmanager
def _work_is_done() -> Iterator[None]:
    """That it stands in no trail is said beside the work, which is done."""
    try:
        yield
    except Problem as fault:
        say(f"Not in the trail: {fault}")
