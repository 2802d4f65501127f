"""What the command line adds to the trail of a shop that several people sign in to: it was done at the machine."""

from collections.abc import Sequence
from pathlib import Path

from dashboard.commands.terminal import now, say
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
OF_ONE = {"bench": "the target card"}  # of the tech whose code stands first
SILENT = {"forget": "took a name out"}  # not whose


def note(shop: Path, arguments: Sequence[str]) -> None:
    """One line on a command that has done its work; none where nobody signs in to this shop."""
    command, *rest = arguments or ("",)
    if not (shop / file.FILE).exists() or "--help" in rest:
        return
    about = " ".join(Path(word).name if "/" in word else word for word in _but_the_shop(rest))
    try:
        if command in ALL_TECHS:
            trail.note_reading(shop, trail.AT_THE_MACHINE, "", trail.EVERYBODY, ALL_TECHS[command], now=now())
        elif command in OF_ONE and rest:
            trail.note_reading(shop, trail.AT_THE_MACHINE, "", rest[0], OF_ONE[command], now=now())
        elif command in DID or command in SILENT:
            told = (DID[command], about) if command in DID else (SILENT[command], "")
            trail.note(shop, trail.AT_THE_MACHINE, "", *told, now=now())
    except Problem as fault:  # the work is done: that it stands in no trail is said beside it
        say(f"Not in the trail: {fault}")


def _but_the_shop(words: Sequence[str]) -> list[str]:
    kept = [word for word in words if not word.startswith("--shop=")]
    if "--shop" in kept:
        place = kept.index("--shop")
        del kept[place : place + 2]
    return kept
