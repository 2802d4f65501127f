"""A writer that dies between any two of its steps leaves a whole version behind, and the retry loads everything
once.
"""

import subprocess
import sys

import pytest

from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.ingest.bench import NOW, held, log, row, shop
from tests.ingest.verbs.test_load import same
from tests.trials.kill_load import trial

# A process that kills itself the moment it has done the n-th of these: Delta appends and deletes, the book's line, the
# version row. Each is a fork of one that has loaded the libraries and done nothing yet.
DIE = """
import os, signal, sys
from datetime import datetime
from pathlib import Path
from ingest.store import book, delta, ledger
from ingest.verbs import load
def dies(count, verb, folder, now, path):
    steps = 0
    def dying(work):
        def step(*arguments, **options):
            nonlocal steps
            done = work(*arguments, **options)
            steps += 1
            if steps == count:
                os.kill(os.getpid(), signal.SIGKILL)
            return done
        return step
    delta.Table.append, delta.Table.delete = dying(delta.Table.append), dying(delta.Table.delete)
    ledger.add_version, book.append = dying(ledger.add_version), dying(book.append)
    now = datetime.fromisoformat(now)
    load.load(Path(folder), [Path(path)], now=now) if verb == "load" else load.unload(Path(folder), path, now=now)
for line in sys.stdin:
    child = os.fork()
    if not child:
        count, *told = line.rstrip("\\n").split("\\t")
        dies(int(count), *told)
        os._exit(0)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


@pytest.fixture(scope="module")
def die():
    """Loads or unloads in a process of its own that dies after so many steps: how it ended."""
    with subprocess.Popen([sys.executable, "-c", DIE], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as of:

        def dies(folder, count, verb, path):
            of.stdin.write("\t".join(map(str, (count, verb, folder, NOW.isoformat(), path))) + "\n")
            of.stdin.flush()
            return int(of.stdout.readline())

        yield dies
        of.stdin.close()


# Steps of a load: visits, readings, faults appended (1 to 3, between the tables), the book's line, the version row (5);
# 6 is never reached.
@pytest.mark.parametrize(
    ("before", "counts"),
    [
        pytest.param(0, (1, 5), id="the first log"),
        pytest.param(1, (1, 2, 4, 5, 6), id="a later log", marks=pytest.mark.long),
    ],
)
def test_a_load_killed_after_any_step_can_be_tried_again(tmp_path, die, before, counts):
    fault = {"outcome": "fixed", "fault": "open-string buzz"}
    quiet = shop(tmp_path / "quiet")
    logs = [[row("A1", **fault), row("A2"), row("A0")], [row("B1", **fault), row("A2"), row("B3", relief="9")]][
        1 - before :
    ]
    load(quiet, [log(quiet, f"{n}.csv", rows) for n, rows in enumerate(logs)], now=NOW)
    for count in counts:
        folder = shop(tmp_path / str(count))
        paths = [log(folder, f"{n}.csv", rows) for n, rows in enumerate(logs)]
        load(folder, paths[:before], now=NOW)
        was, version = held(folder), open_snapshot(folder).version
        code = die(folder, count, "load", paths[-1])
        assert code == (-9 if count <= 5 else 0)
        if count <= 5:
            same(held(folder), was)
            assert open_snapshot(folder).version == version
            [file] = load(folder, [paths[-1]], now=NOW)
            assert file.outcome == "loaded"
        same(held(folder), held(quiet))


def test_an_unload_killed_after_any_step_leaves_the_version_before(tmp_path, die):
    for count in (1, 3):
        folder = shop(tmp_path / str(count))
        load(
            folder,
            [log(folder, "a.csv", [row("A0"), row("A1"), row("A2")]), log(folder, "b.csv", [row("A2"), row("A3")])],
            now=NOW,
        )
        before = held(folder)
        assert die(folder, count, "unload", "a.csv") == -9
        same(held(folder), before)
        load(folder, [log(folder, "c.csv", [row("A4")])], now=NOW)
        assert open_snapshot(folder).table("visits")["serial"].sort().to_list() == ["A0", "A1", "A2", "A3", "A4"]


@pytest.mark.promise
def test_ten_kills_with_two_loaders_and_a_reader_lose_nothing():
    tally = trial(10)
    assert tally.kills == 10
    assert tally.reads > 0
