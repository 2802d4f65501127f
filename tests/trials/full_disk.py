"""No room on the disk, at every size of file at which room may end, over every verb that writes.

Run by hand: `python -m tests.trials.full_disk [CASES]`. Each case runs one verb in a process of its own whose files may
not grow beyond a size (RLIMIT_FSIZE: every write beyond it fails, as on a full disk). The verb must end well or with a
line of ours; then, with room again, `check` must find everything whole, and the shop must hold exactly what it had
before the verb or what it holds after the verb in peace. Sizes are drawn evenly on a scale of powers between 1 byte
and 200 kB, seed fixed before the first run.
"""

import random
import resource
import shutil
import signal
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.trials.kill_verbs import _imports, done, in_child, looked_at, prepared, verbs, wait
from tests.trials.written import write

SEED = 20261129
NAMES = ("load", "again", "again --all", "correct", "unload", "forget", "limits", "entry", "backup", "restore")
LARGEST = 200_000


def limited(work: Path, name: str, size: int, told: Path) -> None:
    """Run a verb where no file may grow beyond `size`; how it ended goes into `told`, written before."""
    from ingest.terms.problems import Problem

    with told.open("r+") as answer:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
        try:
            verbs(work)[name]()
            said = "done"
        except Problem as problem:
            said = "refused" if "\n" not in str(problem) else f"two lines: {problem}"
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.getrlimit(resource.RLIMIT_FSIZE)[1],) * 2)
        answer.write(said)


def trial(cases: int, *, seed: int = SEED) -> Counter[str]:
    """How so many cases ended."""
    chance, tally = random.Random(seed), Counter[str]()
    with tempfile.TemporaryDirectory() as place:
        for turn, name in enumerate(NAMES):
            here = Path(place) / name
            here.mkdir()
            mine = cases // len(NAMES) + (turn < cases % len(NAMES))
            base = prepared(Path(place), name)[0] if mine else here
            for _ in range(mine):
                size, work, told = int(LARGEST ** chance.random()), here / "work", here / "ended"
                shutil.rmtree(work, ignore_errors=True)
                shutil.copytree(base, work)
                told.write_text("")
                code = wait(
                    in_child(lambda work=work, name=name, size=size, told=told: limited(work, name, size, told))
                )
                assert code == 0, f"{name} at {size} bytes ended with {code}"
                assert told.read_text() in ("done", "refused"), f"{name} at {size} bytes: {told.read_text()}"
                tally[told.read_text()] += 1
                done(lambda here=here, work=work, name=name: (here / "told").write_text(looked_at(work, here, name)))
                tally[(here / "told").read_text().split()[0]] += 1
            shutil.rmtree(here)
    return tally


if __name__ == "__main__":
    _imports()
    found = trial(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
    write(
        __file__,
        f"{found['done'] + found['refused']} cases: {found['refused']} refused in one line, {found['done']} done all "
        f"the same; found as before {found['before']}, as after {found['after']}; nothing lost, nothing half.",
    )
