"""The engine that carries many shops' studies: Dask, on this machine or wherever its scheduler stands.

No scheduler, shuffle or storage of ours: a task a shop goes out with a row of `shops`, a few tables of figures come
back. A worker that dies is begun again by its nanny and its shop given to another; a scheduler that dies is one line.
"""

import logging
import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from dashboard.cluster.work import Worked, program, worked_out
from ingest.store.problems import first_line
from ingest.store.target import Target
from ingest.terms.problems import Problem
from ingest.verbs.afresh import Afresh

if TYPE_CHECKING:
    from distributed import Client

REACH = 15  # seconds until a scheduler must have answered
ONE_CORE = {"POLARS_MAX_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
OF_WORKERS = ONE_CORE | {  # Dask's own settings of malloc give memory back at every turn, which is slow
    "MALLOC_TRIM_THRESHOLD_": f"{128 << 20}",
    "MALLOC_MMAP_THRESHOLD_": f"{32 << 20}",
}
EXTRA = "pip install 'truerun[cluster]'"


class EngineProblem(Problem):
    """An engine that cannot be reached or went away: one line."""


def is_here() -> bool:
    """Is the engine installed?"""
    return find_spec("distributed") is not None


class Engine:
    """A client of a scheduler; `afresh` is what ingest.verbs.shops.read_all asks for."""

    def __init__(self, client: "Client", place: str) -> None:
        self.client, self.place = client, place
        self._done: dict[tuple[str, int], Worked] = {}  # a shop that publishes meanwhile is asked again, no other is
        self.told: list[Worked] = []

    def afresh(self, target: Target, rows: list[dict[str, Any]]) -> Iterator[Worked]:
        """Each shop's figures, as they come. EngineProblem, one line, where the scheduler went away."""
        from distributed import as_completed

        address = str(target.folder.absolute()) if target.folder is not None else target.address
        asked = {}
        with self.reached():
            for row in rows:
                key = (row["shop"], row["version"])
                if key in self._done:
                    yield self._done[key]
                    continue
                future = self.client.submit(worked_out, address, target.options, row, pure=False)
                asked[future] = key
            for future in as_completed(list(asked), loop=self.client.loop):
                one = self._of(future, *asked[future])
                self._done[one.shop, one.version] = one
                self.told.append(one)
                yield one

    def afresh_told(self, progress: Callable[[float, str], None] | None) -> Afresh:
        """The same, saying how far it is."""

        def work(target: Target, rows: list[dict[str, Any]]) -> Iterator[Worked]:
            for place, one in enumerate(self.afresh(target, rows), 1):
                if progress is not None:
                    progress(place / len(rows), one.shop)
                yield one

        return work

    def _of(self, future: Any, shop: str, version: int) -> Worked:
        from distributed.scheduler import KilledWorker

        try:
            worked: Worked = future.result()
        except KilledWorker:
            why = "its figures end every worker that works them out, for want of memory perhaps; its own stand"
            return Worked(shop, version, {}, why)
        return worked

    @contextmanager
    def reached(self) -> Iterator[None]:
        """What a scheduler that is gone makes of it, in one line."""
        from distributed.client import FutureCancelledError
        from distributed.comm.core import CommClosedError

        try:
            yield
        except (FutureCancelledError, CommClosedError, TimeoutError, OSError) as fault:
            raise EngineProblem(
                f"The scheduler at {self.place} went away in the middle; nothing was written: say it again when it is "
                "there"
            ) from fault


@contextmanager
def engine(scheduler: str = "", *, workers: int = 0, memory: str = "") -> Iterator[Engine]:
    """An engine to work with: of this machine, its workers spawned; or the one at the address of a scheduler.

    workers : on this machine; 0: as many as it has cores. memory : a worker may take, such as "2GB"; '': its share of
    the machine. EngineProblem, one line, where it cannot be had.
    """
    import dask
    import distributed  # noqa: F401  its settings are there from now on

    loud = [logging.getLogger(name) for name in logging.root.manager.loggerDict if name.startswith("distributed")]
    before = [each.level for each in loud]
    for each in loud:
        each.setLevel(logging.CRITICAL)  # what is to be said is said in one line
    settings = {
        "distributed.worker.multiprocessing-method": "spawn",  # Polars hangs in a process that was forked
        "distributed.comm.timeouts.connect": f"{REACH}s",
        "distributed.worker.profile.enabled": False,  # nobody looks at it
        **{f"distributed.nanny.pre-spawn-environ.{name}": value for name, value in OF_WORKERS.items()},
    }
    try:
        with dask.config.set(settings), ExitStack() as held:
            try:
                client = _client(held, scheduler, workers, memory)
            except (OSError, TimeoutError, ValueError, RuntimeError) as fault:
                where = (
                    f"The scheduler {scheduler!r} cannot be reached" if scheduler else "No workers can be begun here"
                )
                raise EngineProblem(f"{where} ({first_line(fault)}); --as-published asks none") from None
            made = Engine(client, scheduler or "this machine")
            if scheduler:
                _same_program(made)
            yield made
    finally:
        for each, level in zip(loud, before, strict=True):
            each.setLevel(level)


def _client(held: ExitStack, scheduler: str, workers: int, memory: str) -> "Client":
    import distributed

    if scheduler:
        client = distributed.Client(scheduler, timeout=REACH, set_as_default=False)
    else:
        cluster = distributed.LocalCluster(
            n_workers=workers or os.cpu_count() or 1,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=None,
            memory_limit=memory or "auto",
            silence_logs=logging.CRITICAL,
        )
        held.callback(_let_go, cluster)
        client = distributed.Client(cluster, set_as_default=False)
    held.callback(_let_go, client)
    return client


def _let_go(one: Any) -> None:
    with suppress(Exception):  # what is gone already need not be let go
        one.close(timeout=REACH)


def _same_program(made: Engine) -> None:
    """EngineProblem where a worker has another version of this program, or none."""
    try:
        with made.reached():
            found: Mapping[str, str] = made.client.run(program)
    except ImportError as fault:
        raise EngineProblem(f"The workers at {made.place} have no Truerun ({first_line(fault)})") from None
    if not found:
        raise EngineProblem(f"The scheduler at {made.place} has no workers")
    if others := sorted({one for one in found.values() if one != program()}):
        raise EngineProblem(f"Workers at {made.place} have Truerun {', '.join(others)}; wanted {program()}, as here")
