"""No room on the disk, at every write at which room may end, over every verb that writes.

Run by hand: `python -m tests.trials.full_disk [CASES] [EVERY]`. Each of CASES runs one verb in a process of its own
whose files may not grow beyond a size (RLIMIT_FSIZE: every write beyond it fails, as on a full disk); sizes are drawn
evenly on a scale of powers between 1 byte and 200 kB, seed fixed before the first run. Then, where this machine lets us
mount one, the same on a disk in memory on which so many pages are free: none, EVERY of them, twice EVERY, ... until the
verb ends well three times over; with EVERY = 1 each write that takes room is once the one for which there is none. The
verb must end well or with a line of ours; then, with room again, `check` must find everything whole, and the shop must
hold exactly what it had before the verb or what it holds after the verb in peace.
"""

import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.trials.kill_verbs import _imports, done, in_child, looked_at, prepared, verbs, wait
from tests.trials.written import write

SEED = 20261129
NAMES = ("load", "again", "again --all", "correct", "unload", "forget", "limits", "entry", "backup", "restore")
LARGEST = 200_000
ROOMY, PAGE = 1 << 30, resource.getpagesize()  # bytes of a disk in memory with room, and of one of its pages


def limited(work: Path, name: str, size: int, told: Path) -> None:
    """Run a verb where no file may grow beyond `size`; how it ended goes into `told`, written before."""
    with told.open("r+") as answer:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
        said = ended(work, name)
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.getrlimit(resource.RLIMIT_FSIZE)[1],) * 2)
        answer.write(said)


def ended(work: Path, name: str) -> str:
    """How a verb ended: 'done', 'refused', or what is wrong with its refusal."""
    from ingest.terms.problems import Problem

    try:
        verbs(work)[name]()
    except Problem as problem:
        return "refused" if "\n" not in str(problem) else f"two lines: {problem}"
    return "done"


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


def _mount(place: Path, options: str) -> bool:
    """Mount a disk in memory, or give the one there another size; may we?"""
    command = ["mount", "-t", "tmpfs", "-o", options, "none", str(place)]
    try:
        return subprocess.run(command, capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def on_a_small_disk(every: int, names: tuple[str, ...] = NAMES) -> Counter[str] | None:
    """How the verbs ended with so many pages free; None where no disk may be mounted."""
    tally = Counter[str]()
    with tempfile.TemporaryDirectory() as outside:
        place, told = Path(outside) / "disk", Path(outside) / "told"
        place.mkdir()
        if not _mount(place, f"size={ROOMY}"):
            return None
        try:
            for name in names:
                (place / name).mkdir()
                base, work = prepared(place, name)[0], place / name / "work"
                pages = well = 0
                while well < 3:
                    shutil.rmtree(work, ignore_errors=True)
                    shutil.copytree(base, work)
                    used = shutil.disk_usage(place).used
                    assert _mount(place, f"remount,size={used + pages * PAGE}")
                    code = wait(in_child(lambda work=work, name=name: told.write_text(ended(work, name))))
                    assert _mount(place, f"remount,size={ROOMY}")
                    assert code == 0, f"{name} with {pages} pages free ended with {code}"
                    assert told.read_text() in ("done", "refused"), f"{name}, {pages} pages: {told.read_text()}"
                    well = well + 1 if told.read_text() == "done" else 0
                    tally[told.read_text()] += 1
                    done(lambda work=work, name=name: told.write_text(looked_at(work, place / name, name)))
                    tally[told.read_text().split()[0]] += 1
                    pages += every
                print(f"{name}: {pages} pages, {dict(tally)}", flush=True)  # noqa: T201
                shutil.rmtree(place / name)
        finally:
            subprocess.run(["umount", str(place)], check=False)
    return tally


def _told(found: Counter[str]) -> str:
    return (
        f"{found['done'] + found['refused']} cases: {found['refused']} refused in one line, {found['done']} done all "
        f"the same; found as before {found['before']}, as after {found['after']}; nothing lost, nothing half."
    )


if __name__ == "__main__":
    _imports()
    cases, every = (int(word) for word in (*sys.argv[1:], *("200", "1")[len(sys.argv) - 1 :]))
    lines = [f"Files that may not grow: {_told(trial(cases))}"] if cases else []
    small = on_a_small_disk(every)
    told_of = "none could be mounted here" if small is None else f"every {every} pages of {PAGE} bytes, {_told(small)}"
    write(__file__, "\n".join([*lines, f"A disk that is full: {told_of}"]))
