"""`check`: everything in the shop's folder read back - shop files, originals, book, ledger, tables - and what is whole,
what is damaged, what to type.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import polars as pl

from ingest.access import file as access
from ingest.access import people
from ingest.shopfiles.shop import Shop, ShopProblem, read_shop
from ingest.shopfiles.side_files import read_changes, read_climate, read_lots
from ingest.shopfiles.specs import read_specs
from ingest.store import book, index, ledger, originals, whole
from ingest.store.problems import StoreProblem
from ingest.store.seals import Wrong
from ingest.store.store import open_snapshot
from ingest.verbs import backup, forget, restore

AGAIN = "truerun again --all"
FILES = {"specs.csv": read_specs, "lots.csv": read_lots, "changes.csv": read_changes, "climate.csv": read_climate}


@dataclass(frozen=True)
class Finding:
    """One part of the folder: is it whole, what is wrong with it, what to do."""

    part: str  # shop.toml, originals/..., book.sqlite, store/...
    whole: bool
    what: str  # one line
    do: str = ""  # what to type, or to do by hand; '' where it is whole


def check(folder: Path, *, now: datetime) -> list[Finding]:
    """Read everything back and say how it stands, part by part; changes nothing.

    Raises ShopProblem where there is no shop at all, StoreProblem where somebody writes and does not end.
    """
    found = list(_under_way(folder))
    shop, of_files = _shop_files(folder)
    wrong = whole.wrong_in(folder, thorough=True)
    found += of_files
    found += _book(folder, wrong)
    found += _originals(folder, shop)
    found += _store(folder, wrong, shop)
    found += _access(folder)
    found += _backups(folder)
    found += _clock(folder, now)
    return found


def _under_way(folder: Path) -> Iterator[Finding]:
    """What was cut short and not ended."""
    for name, is_so in (("restore", restore.under_way(folder)), ("forget", forget.under_way(folder))):
        if is_so:
            yield Finding(f"truerun {name}", False, "was cut short", "any truerun command goes on where it stood")


def _shop_files(folder: Path) -> tuple[Shop | None, list[Finding]]:
    """Each file of the shop as its own reader finds it."""
    if not (folder / "shop.toml").exists() and not whole.logs_known_without_the_book(folder):
        raise ShopProblem(f"No shop in {folder}. Start with `truerun demo`, or `truerun new LOG`.")
    if not (folder / "shop.toml").exists():
        return None, [Finding("shop.toml", False, "missing", "put it back, or truerun restore FILE")]
    try:
        shop = read_shop(folder / "shop.toml")
    except ShopProblem as problem:
        return None, [Finding("shop.toml", False, line, "mend the file by hand") for line in _lines(problem)]
    found = [Finding("shop.toml", True, f"{shop.shop.name}: {len(shop.stages)} stages, {len(shop.models)} models")]
    for name, read in FILES.items():
        path = folder / name
        if not path.exists():
            continue
        try:
            read(path if name == "specs.csv" else folder, shop)
        except ShopProblem as problem:
            found += [Finding(name, False, line, "mend the file by hand") for line in _lines(problem)]
        else:
            found.append(Finding(name, True, "every line can be read"))
    return shop, found


def _lines(problem: ShopProblem) -> list[str]:
    return [line for line in str(problem).splitlines() if line.strip()]


def _book(folder: Path, wrong: list[Wrong]) -> Iterator[Finding]:
    how = [each.how for each in wrong if each.path == whole.BOOK]
    if how:
        yield Finding(book.FILE, False, how[0], _mends(folder, "brings the logs back and says what only the book knew"))
        return
    if not (folder / book.FILE).exists():
        yield Finding(book.FILE, True, "none yet: nothing was loaded or decided")
        return
    said = book.read(folder)
    counts = {name: book_lines.height for name, book_lines in said.items() if book_lines.height and name != "loads"}
    told = ", ".join(f"{count} {_word(name, count)}" for name, count in counts.items())
    logs = book.active_logs(said["loads"]).height
    yield Finding(book.FILE, True, f"{logs} {_plural(logs)} loaded{'; ' + told if told else ''}")


_WORDS = {
    "limits_on_file": ("line of limits on file", "lines of limits on file"),
    "bench_book": ("entry", "entries"),
    "corrections": ("correction", "corrections"),
    "settled": ("answer to a question", "answers to questions"),
    "weeks_reviewed": ("line of weeks reviewed", "lines of weeks reviewed"),
}


def _word(name: str, count: int) -> str:
    one, many = _WORDS.get(name, (name.replace("_", " "), name.replace("_", " ")))
    return one if count == 1 else many


def _mends(folder: Path, does: str) -> str:
    """What to type, a backup first where one stands."""
    newest = backup.automatic(folder)[:1]
    before = f"truerun restore {newest[0].relative_to(folder)} (the newest backup), or " if newest else ""
    return f"{before}{AGAIN} ({does})"


def _originals(folder: Path, shop: Shop | None) -> Iterator[Finding]:
    """Every original against its hash, and what stands beside it against the book."""
    noted = {each.sha256: each for each in index.all_notes(folder)}
    try:
        loads = book.loads(folder)
    except StoreProblem:
        loads = pl.DataFrame(schema=book.LOADS)
    names = {sha: each.name for sha, each in noted.items()} | dict(loads.select("sha256", "name").iter_rows())
    counting = dict(book.active_logs(loads).select("sha256", "log_id").iter_rows())
    kept = {path.name for path in (folder / originals.FOLDER).glob("*") if re.fullmatch(r"[0-9a-f]{64}", path.name)}
    sound = 0
    for sha in sorted(kept | set(counting), key=lambda sha: (names.get(sha, ""), sha)):
        name, where = names.get(sha, "a log nobody knows the name of"), f"{originals.FOLDER}/{sha[:12]}..."
        again = f"truerun load {names[sha]} (the same file) puts it back" if sha in names else "put the right file back"
        if sha not in kept:
            yield Finding(where, False, f"the original of {name} is missing", again)
        elif not originals.is_there(folder, sha):
            yield Finding(where, False, f"the original of {name} is not as it came (its SHA-256 differs)", again)
        elif sha not in names:
            yield Finding(
                where,
                False,
                "nobody knows its name: no line of the book and no note beside it",
                "load it again under its name",
            )
        else:
            sound += 1
    yield Finding(originals.FOLDER, True, f"{sound} {'file' if sound == 1 else 'files'} as they came")
    late = [each for each in index.wanted(loads, shop) if _differs(noted.get(each.sha256), each)]
    if late:
        yield Finding(
            originals.FOLDER, False, f"the notes beside {len(late)} originals do not say what the book says", AGAIN
        )


def _differs(one: index.Noted | None, other: index.Noted) -> bool:
    return one is None or replace(one, kind="") != replace(other, kind="")


def _store(folder: Path, wrong: list[Wrong], shop: Shop | None) -> Iterator[Finding]:
    damaged = [each for each in wrong if each.path.startswith("store/")]
    for each in damaged:
        yield Finding(each.path, False, each.how, _mends(folder, "makes the store anew from the originals"))
    if damaged or shop is None:
        return
    if not ledger.path_of(folder).exists():
        yield Finding("store", True, "not made yet; whoever opens the shop makes it from the originals")
        return
    if any(each.path == whole.BOOK for each in wrong):
        return
    try:
        snapshot = open_snapshot(folder)
        rows = {name: snapshot.table(name).height for name in ("visits", "readings", "faults", "set_aside", "logs")}
    except ShopProblem:
        return
    except StoreProblem as problem:
        yield Finding("store", False, str(problem), _mends(folder, "makes the store anew from the originals"))
        return
    told = f"version {snapshot.version}: {rows['visits']} visits, {rows['readings']} readings, {rows['faults']} faults"
    yield Finding("store", True, f"{told}, {rows['set_aside']} questions; of {rows['logs']} {_plural(rows['logs'])}")


def _plural(logs: int) -> str:
    return "log" if logs == 1 else "logs"


def _access(folder: Path) -> Iterator[Finding]:
    """Who may sign in on the network, where there is such a list."""
    how = access.wrong(folder)
    if how:
        mend = (
            "any `truerun people` command mends that"
            if "others" in how
            else "take the file away, then say `truerun people add` for everybody who may sign in"
        )
        yield Finding(access.FILE, False, how, mend)
    elif (folder / access.FILE).exists():
        count = len(people.everybody(folder))
        yield Finding(access.FILE, True, f"{count} {'person' if count == 1 else 'people'} may sign in")


def _backups(folder: Path) -> Iterator[Finding]:
    standing = backup.standing(folder)
    for path in standing:
        try:
            restore.looked_at(path)
        except StoreProblem as problem:
            yield Finding(path.relative_to(folder).as_posix(), False, str(problem), "take the file away")
    if standing:
        newest = max(standing, key=lambda path: path.stat().st_mtime_ns).relative_to(folder)
        yield Finding(backup.PLACE, True, f"{len(standing)} in this folder, the newest {newest.as_posix()}")


def _clock(folder: Path, now: datetime) -> Iterator[Finding]:
    latest = max((each.loaded_at for each in index.all_notes(folder)), default=None)
    if latest is not None and now < latest:
        yield Finding(
            "clock",
            False,
            f"says {now:%Y-%m-%d %H:%M} UTC; a log was loaded on {latest:%Y-%m-%d %H:%M}",
            "put it right",
        )
