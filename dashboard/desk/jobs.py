"""Long work behind the pages: one thread, one job at a time, its progress there to be looked at."""

import shutil
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from itertools import count
from pathlib import Path
from threading import Lock
from time import monotonic, process_time, sleep
from typing import Any

from dashboard.desk import bench_index, signed
from dashboard.desk.beside import load_beside, load_held
from dashboard.desk.people_shown import Veil
from ingest.reading.bounds import MOST_BYTES
from ingest.reading.on_disk import LONG
from ingest.reading.sheet import Progress
from ingest.store import at_bench, editions
from ingest.store.problems import StoreProblem
from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot
from ingest.terms.problems import Problem
from ingest.verbs import again as again_
from ingest.verbs import answers, cards, load, mend
from ingest.verbs.answers import Answer
from ingest.verbs.groups import Group
from ingest.verbs.loaded import Loaded

LARGEST = 50_000_000  # bytes of an upload in one; a larger file comes in pieces
MOST = MOST_BYTES  # bytes of a file that comes in pieces, as at the command line
INDEX = "Index for Card"  # what the program does by itself
KEPT = 50  # finished jobs that may still be asked about


@dataclass(frozen=True)
class Job:
    """One piece of work as it stands."""

    number: int
    title: str
    share: float = 0.0  # done, 0 to 1
    doing: str = "waiting"
    state: str = "waiting"  # waiting | running | done | refused | failed
    problem: str = ""  # one line, where it was refused or failed
    seconds: float = 0.0  # since it was begun
    used: float = 0.0  # seconds of processor time that this program used from its beginning to its end
    files: tuple[Loaded, ...] = ()
    answer: Any = field(default=None, repr=False)


class StillAtWork(Problem, TimeoutError):
    """A job that takes longer than somebody waits for it; it goes on."""


class Jobs:
    """The work of one shop folder."""

    def __init__(
        self,
        folder: Path,
        *,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
        snapshot: Callable[[], Snapshot] | None = None,
    ) -> None:
        self.folder, self.clock = folder, clock
        self.snapshot = snapshot or partial(open_snapshot, folder)
        self._jobs: dict[int, Job] = {}
        self._numbers = count(1)
        self._lock = Lock()
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="truerun-load")

    def look(self, number: int) -> Job | None:
        """A job as it stands, None where nobody remembers it."""
        with self._lock:
            return self._jobs.get(number)

    def latest(self) -> Job | None:
        """The job begun last."""
        with self._lock:
            return self._jobs[max(self._jobs)] if self._jobs else None

    def load(self, files: Sequence[tuple[str, bytes]], *, check: bool = False, replaces: str | None = None) -> int:
        """Load uploaded files by name and bytes; the job's number. A file that is too large is refused with the command
        to use.
        """
        small = [(name, data) for name, data in files if len(data) <= LARGEST]
        large = [
            Loaded(name, outcome="refused", problem=too_large(name)) for name, data in files if len(data) > LARGEST
        ]

        def work(progress: Progress) -> list[Loaded]:
            sources = [(name, lambda data=data: data) for name, data in small]
            became = (
                load.load_data(
                    self.folder,
                    sources,
                    check=check,
                    replaces=replaces,
                    progress=progress,
                    who=signed.who(""),
                    now=self.clock(),
                )
                if small
                else []
            )
            return [*became, *large]

        return self._begin("Check" if check else "Load", work, ", ".join(name for name, _ in files))

    def cards(self) -> int:
        """Load the sheets of Card that have grown, then make the small index of the benches anew."""

        def work(progress: Progress) -> list[Loaded]:
            try:
                return cards.take_in(self.folder, progress=progress, now=self.clock())
            finally:
                self._index(asked=True)

        return self._begin("Take in the day's cards", work, None)

    def bench_index(self, *, plain: bool = False) -> int:
        """Make the small index of the benches anew; `plain`: without what studies say, which takes longer."""
        if plain:
            return self._begin(INDEX, lambda _: self._index(asked=False), None)
        return self._begin(INDEX, lambda _: self._index(asked=True), None)

    def _index(self, *, asked: bool) -> None:
        """The index anew; where studies are not asked, with what they said last."""
        try:
            if not asked:
                at_bench.make(self.folder, self.snapshot(), at_bench.told_of(self.folder))
                return
            bench_index.write(self.folder, self.snapshot())
        except OSError as fault:
            why = fault.strerror or fault
            raise StoreProblem(
                f"store/ could not be written ({why}): Card tells the bench what it told before"
            ) from None

    def load_arrived(self, name: str, path: Path) -> int:
        """Load a file that came in pieces, by its name; afterwards its place is taken away. The job's number."""

        def work(progress: Progress) -> list[Loaded]:
            loading = load_beside if path.stat().st_size > LONG else load_held
            try:
                who = signed.who("")
                return loading(self.folder, name, path, who=who, progress=progress, now=self.clock())
            finally:
                shutil.rmtree(path.parent, ignore_errors=True)

        return self._begin("Load", work, name)

    def unload(self, log: str, who: str = "", why: str = "") -> int:
        """Take a log out."""
        return self._begin(
            f"Unload {log}", lambda _: load.unload(self.folder, log, who=signed.who(who), why=why, now=self.clock())
        )

    def take_out_all(self, names: Sequence[str], who: str, then: Callable[[], Any]) -> int:
        """Take several logs out, then do what follows, such as putting shop files back as they were."""

        def work(_: Progress) -> str:
            told = [
                load.unload(self.folder, name, who=signed.who(who), why="to be mapped anew", now=self.clock())
                for name in names
            ]
            then()
            return ", ".join(told)

        return self._begin(f"Take back {', '.join(names)}", work)

    def again(self) -> int:
        """Try the open questions again."""
        return self._begin(
            "Try open questions again", lambda progress: again_.again(self.folder, progress=progress, now=self.clock())
        )

    def correct(self, log: str, line: int, column: str, value: str | None, who: str, why: str) -> int:
        """Lay a person's value over one cell; None takes the correction back."""
        return self._begin(
            f"Correct {log}, line {line}",
            lambda _: [
                mend.correct(self.folder, log, line, column, value, who=signed.who(who), why=why, now=self.clock())
            ],
        )

    def settle(self, log: str, line: int, column: str, verdict: str, who: str, why: str) -> int:
        """Settle one question: it is real | keep held | take new."""
        return self._begin(
            f"Settle {log}, line {line}",
            lambda _: [
                mend.settle(self.folder, log, line, column, verdict, who=signed.who(who), why=why, now=self.clock())
            ],
        )

    def say_edition(self, newer: str, older: str, who: str, why: str, *, edition: bool) -> int:
        """Say of two logs that the one is a newer edition of the other, or another log."""
        verdict = editions.EDITION if edition else editions.OTHER
        return self._begin(
            "Say what two logs of one name are",
            lambda _: [mend.say_edition(self.folder, newer, older, verdict, signed.who(who), why, now=self.clock())],
        )

    def answers(self, said: Sequence[tuple[Group, str]], who: str, why: str) -> int:
        """Answer groups of questions at once, each with its text; the job's answer is answers.Answered."""
        count = sum(len(group.rows) for group, _ in said)
        names = Veil(open_snapshot(self.folder)).unlisted if any(group.field == "tech" for group, _ in said) else {}
        given = [
            Answer(replace(group, typed=names.get(group.typed, group.typed)), names.get(text, text))
            if group.field == "tech"
            else Answer(group, text)
            for group, text in said
        ]
        return self._begin(
            f"Answer {count} questions",
            lambda _: answers.answer(self.folder, given, signed.who(who), why, now=self.clock()),
        )

    def take_back(self, first: int, last: int, who: str, logs: Sequence[str]) -> int:
        """Take the answers of the book's lines from `first` to `last` back."""
        return self._begin(
            "Take answers back",
            lambda _: answers.take_back(self.folder, first, last, signed.who(who), logs=logs, now=self.clock()),
        )

    def wait(self, number: int, seconds: float = 60.0) -> Job:
        """The job once it has ended; StillAtWork where it takes longer."""
        end = monotonic() + seconds
        while monotonic() < end:
            job = self.look(number)
            if job is None or job.state not in ("waiting", "running"):
                return job or Job(number, "forgotten", state="done")
            sleep(0.02)
        raise StillAtWork(
            f"It is still being worked on after {seconds:g} s; page Logs says how far it is, and nothing is lost"
        )

    def _begin(self, title: str, work: Callable[[Progress], Any], about: str | None = "") -> int:
        """about : what the trail says of it beside the title; None of work that nobody asked for."""
        if about is not None:
            signed.did(title[:1].lower() + title[1:], about)
        with self._lock:
            number = next(self._numbers)
            self._jobs[number] = Job(number, title)
            for old in sorted(self._jobs)[:-KEPT]:
                del self._jobs[old]
        self._thread.submit(copy_context().run, self._run, number, work)  # under the name of whoever asked
        return number

    def _run(self, number: int, work: Callable[[Progress], Any]) -> None:
        self._note(number, state="running", doing="beginning")
        begun, used_before = monotonic(), process_time()
        try:
            answer = work(lambda share, what: self._note(number, share=share, doing=what, seconds=monotonic() - begun))
            files = self._shown(answer) if isinstance(answer, list) else ()
        except Problem as problem:
            self._note(number, state="refused", problem=str(problem))
        except Exception as fault:
            from dashboard.faults import keep_traceback

            self._note(
                number, state="failed", problem=keep_traceback(fault, self.folder, f"job: {self._jobs[number].title}")
            )
        else:
            used = process_time() - used_before
            self._note(number, state="done", share=1.0, doing="done", answer=answer, files=files, used=used)

    def _shown(self, files: Sequence[Any]) -> tuple[Any, ...]:
        """What became of files, with people as the shop wishes them shown."""
        if not any(isinstance(file, Loaded) for file in files):
            return tuple(files)
        veil = Veil(open_snapshot(self.folder))
        return tuple(veil.loaded(file) if isinstance(file, Loaded) else file for file in files)

    def _note(self, number: int, **news: Any) -> None:
        with self._lock:
            if number in self._jobs:
                self._jobs[number] = replace(self._jobs[number], **news)


def too_large(name: str) -> str:
    """What to do with a file that is too large to be dropped on a page."""
    return f"{name}: larger than {LARGEST // 1_000_000} MB; load it at the command line: truerun load {name}"
