"""Kill -9 at any moment, over every verb that writes: load, again, again --all, correct, unload, forget, limits, an
entry of the book, backup, restore.

Run by hand: `python -m tests.trials.kill_verbs [KILLS]`. Before each kill a shop is made; one verb runs in a process of
its own that is killed at a random moment of the time it takes in peace. Then whatever comes next in real life: what was
cut short is ended (as every command does first), `check` must find everything whole, and the shop must hold exactly
what it held before the verb or what it holds after the verb in peace: nothing lost, nothing twice, nothing half. The
verb is then run again and must come out as in peace. Seed fixed before the first run; the moments of the kills hang on
the machine.
"""

import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Any

from tests.trials.written import write

SEED = 20261128
APPENDING = ("correct", "limits", "entry")  # said twice they stand twice: a line each time somebody says it
TECHS = '\n[[tech]]\nkey = "T07"\nname = "Mary Quill"\nwords = ["MQ"]\n\n[[tech]]\nkey = "T08"\nname = "Jo Fenn"\n'


@dataclass
class Tally:
    """What a trial has seen."""

    kills: int = 0
    in_work: int = 0  # kills of a verb that had not ended
    before: int = 0  # shops found as they were before the verb
    after: int = 0  # shops found as after it
    ended: int = 0  # restores and forgets that were ended by whoever came next
    verbs: Counter[str] = field(default_factory=Counter)


def make(folder: Path) -> None:
    """The shop that every verb is tried on."""
    from ingest.store import book
    from ingest.verbs.load import load
    from tests.ingest.bench import NOW, log, row, shop

    shop(folder, TECHS)
    rows = [row(f"A{n}", tech="MQ", note="asked Mary Quill", relief="9" if n % 20 == 0 else "0.2") for n in range(120)]
    load(folder, [log(folder, "a.csv", rows)], now=NOW)
    more = [row(f"B{n}", tech="T08", stage="attic" if n % 30 == 0 else "play_test") for n in range(120)]
    load(folder, [log(folder, "b.csv", [*rows[:40], *more])], now=NOW)
    book.write_entry(folder, "action", "Mary Quill changes the files", "Jo Fenn", now=NOW, owner="MQ")
    log(folder, "c.csv", [row(f"C{n}") for n in range(300)])
    shop(folder, TECHS + '\n[[stage]]\nkey = "attic"\nrole = "repair"\n')  # a question that `again` answers


def verbs(folder: Path) -> dict[str, Callable[[], Any]]:
    """Every verb that writes, by name, on the shop of `make`."""
    import polars as pl

    from ingest.store import book
    from ingest.verbs import again, backup, forget, mend, restore, unfinished
    from ingest.verbs.load import load, unload
    from tests.ingest.bench import NOW

    limits = pl.DataFrame({"characteristic": ["relief"], "n": [100], "centre": [0.2], "sigma": [0.01]})
    kept = folder.with_name("kept.truerun")

    def forgotten() -> None:
        unfinished.end(folder, now=NOW)
        if "Mary" in (folder / "shop.toml").read_text():
            forget.forget(folder, "Mary Quill", now=NOW)

    def backed_up() -> None:
        (folder.with_name("new.truerun")).unlink(missing_ok=True)
        backup.backup(folder, folder.with_name("new.truerun"), now=NOW)

    return {
        "load": lambda: load(folder, [folder / "as_typed" / "c.csv"], now=NOW),
        "again": lambda: again.again(folder, now=NOW),
        "again --all": lambda: again.again_all(folder, lambda _: True, now=NOW),
        "correct": lambda: mend.correct(folder, "a.csv", 3, "relief", "0.4", who="Mo", why="misread", now=NOW),
        "unload": lambda: unload(folder, "a.csv", now=NOW) if _is_loaded(folder, "a.csv") else None,
        "forget": forgotten,
        "limits": lambda: book.write_limits(folder, limits, "Mo", "spring", now=NOW),
        "entry": lambda: book.write_entry(folder, "note", "a line", "Mo", now=NOW),
        "backup": backed_up,
        "restore": lambda: restore.restore(folder, kept, now=NOW),
    }


def _is_loaded(folder: Path, name: str) -> bool:
    from ingest.store.store import open_snapshot

    return name in open_snapshot(folder).table("logs")["name"].to_list()


def state(folder: Path) -> dict[str, Any]:
    """Everything a shop holds: rows, logs, lines of the book, its shop file."""
    from ingest.store import book
    from tests.ingest.bench import held

    said = book.read(folder)
    rows = {name: table.drop("sequence", "at").rows() for name, table in said.items()}
    stored = {name: table.rows() for name, table in held(folder).items()}
    return stored | rows | {"shop.toml": (folder / "shop.toml").read_text()}


def in_child(work: Callable[[], Any]) -> int:
    """Run in a process of its own; its id. What it prints goes nowhere."""
    child = os.fork()
    if child:
        return child
    try:
        os.setsid()
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1)
        work()
        os._exit(0)
    except BaseException:
        import traceback

        traceback.print_exc()
        os._exit(1)


def wait(child: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def done(work: Callable[[], Any]) -> None:
    """Run in a process of its own, to its end."""
    code = wait(in_child(work))
    assert code == 0, f"ended with {code}"


def prepared(place: Path, name: str) -> tuple[Path, float]:
    """A base shop, the states before and after a verb in peace, and how long it takes; kept for all kills of a verb."""
    base, quiet, made = place / name / "base", place / name / "quiet", place / "made"

    def first() -> None:
        make(made)
        _write_state(made, place / "before")

    if not made.exists():  # one shop for all verbs
        done(first)
    shutil.copytree(made, base)
    shutil.copyfile(place / "before", place / name / "before")

    def of_restore() -> None:
        from ingest.verbs import backup
        from ingest.verbs.load import load
        from tests.ingest.bench import NOW

        backup.backup(base, base.with_name("kept.truerun"), now=NOW)
        load(base, [base / "as_typed" / "c.csv"], now=NOW)
        _write_state(base, place / name / "before")

    if name == "restore":
        done(of_restore)
    shutil.copytree(base, quiet)

    def peace() -> None:
        verbs(quiet)[name]()
        _write_state(quiet, place / name / "after")

    begin = time.perf_counter()
    done(peace)
    return base, time.perf_counter() - begin


def _write_state(folder: Path, path: Path) -> None:
    import pickle

    path.write_bytes(pickle.dumps(state(folder)))


def one_kill(place: Path, name: str, chance: random.Random, takes: float, tally: Tally) -> None:
    """Kill a verb once and look at what it leaves."""
    base, work = place / name / "base", place / name / "work"
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(base, work)
    child = in_child(lambda: verbs(work)[name]())
    time.sleep(chance.random() * takes)
    os.kill(child, signal.SIGKILL)
    tally.in_work += wait(child) == -signal.SIGKILL
    tally.kills += 1
    tally.verbs[name] += 1
    told = place / name / "told"
    done(lambda: told.write_text(looked_at(work, place / name, name)))
    found, ended = told.read_text().split()
    tally.before += found == "before"
    tally.after += found == "after"
    tally.ended += ended == "ended"


def looked_at(work: Path, told: Path, name: str) -> str:
    """What a kill has left: 'before' or 'after', and whether something was to be ended; AssertionError for all else."""
    import pickle

    from ingest.verbs import unfinished
    from ingest.verbs.check import check
    from tests.ingest.bench import NOW

    was_open = unfinished.stands(work)
    unfinished.end(work, now=NOW)
    wrong = [part for part in check(work, now=NOW) if not part.whole and not part.what.startswith("the notes beside")]
    assert wrong == [], f"{name}: {wrong}"
    before, after = (pickle.loads((told / each).read_bytes()) for each in ("before", "after"))
    now = state(work)
    if now == after:
        found = "after"
    else:
        assert now == before, (
            f"{name} left what is neither before nor after: {_differs(now, before)} / {_differs(now, after)}"
        )
        found = "before"
    if not (found == "after" and name in APPENDING):
        verbs(work)[name]()
        now = state(work)
        assert now == after, f"{name}, tried again, differs: {_differs(now, after)}"
    from ingest.verbs.restore import looked_at as list_of

    for path in (*work.glob("backups/*.truerun"), *work.parent.glob("new.truerun")):
        list_of(path)
    return f"{found} {'ended' if was_open else 'whole'}"


def _differs(one: dict[str, Any], other: dict[str, Any]) -> str:
    return ", ".join(f"{key} {len(one[key])}/{len(other[key])}" for key in one if one[key] != other[key])


def trial(kills: int, *, seed: int = SEED) -> Tally:
    """So many kills, the verbs in turn."""
    chance, tally = random.Random(seed), Tally()
    names = ("load", "again", "again --all", "correct", "unload", "forget", "limits", "entry", "backup", "restore")
    with tempfile.TemporaryDirectory() as place:
        for turn, name in enumerate(names):
            here = Path(place) / name
            here.mkdir()
            mine = kills // len(names) + (turn < kills % len(names))
            if mine:
                _, takes = prepared(Path(place), name)
                for _ in range(mine):
                    one_kill(Path(place), name, chance, takes, tally)
            shutil.rmtree(here)
    return tally


def _imports() -> None:
    """Modules a child should not have to load; nothing is called, so that no library has begun a thread."""
    for name in ("ingest.verbs.check", "ingest.verbs.mend", "ingest.verbs.unfinished", "tests.ingest.bench"):
        import_module(name)


if __name__ == "__main__":
    _imports()
    found = trial(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
    write(
        __file__,
        f"{found.kills} kills ({', '.join(f'{name} {n}' for name, n in found.verbs.items())}), "
        f"{found.in_work} of a verb at work; found as before {found.before}, as after {found.after}; "
        f"{found.ended} were ended by whoever came next; nothing lost, nothing twice, nothing half.",
    )
