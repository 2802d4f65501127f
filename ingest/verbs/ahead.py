"""Files read ahead, by two threads, while those before them are taken in."""

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor

from ingest.reading.on_disk import Data
from ingest.terms.questions import FileProblem
from ingest.verbs.from_originals import Came
from ingest.verbs.loaded import Loaded

AHEAD, SMALL = 4, 8_000_000  # files read ahead, each at most so many bytes
Source = tuple[str, Callable[[], Data]]  # file name, and what gives its bytes


def ahead(
    sources: Sequence[Source], one: Callable[[int, str, Data], Came | Loaded]
) -> Iterator[tuple[int, Came | Loaded]]:
    """What `one` makes of each file, in order; small files are read by two threads while those before them are taken
    in.
    """
    waiting: deque[tuple[int, Future[Came | Loaded]]] = deque()
    with ThreadPoolExecutor(2, thread_name_prefix="truerun-read") as readers:
        for place, (name, read) in enumerate(sources):
            try:
                data = read()
            except (OSError, FileProblem) as fault:
                said = (
                    str(fault).removeprefix(f"{name}: ")
                    if isinstance(fault, FileProblem)
                    else "this is a folder; wanted a log file"
                    if isinstance(fault, IsADirectoryError)
                    else f"could not be read ({fault.strerror or fault})"
                )
                refused: Future[Came | Loaded] = Future()
                refused.set_result(Loaded(name, outcome="refused", problem=f"{name}: {said}"))
                waiting.append((place, refused))
                continue
            waiting.append((place, readers.submit(_or_refused, one, place, name, data)))
            while len(waiting) > (AHEAD if len(data) <= SMALL else 0):
                first, future = waiting.popleft()
                yield first, future.result()
        while waiting:
            first, future = waiting.popleft()
            yield first, future.result()


def _or_refused(one: Callable[[int, str, Data], Came | Loaded], place: int, name: str, data: Data) -> Came | Loaded:
    try:
        return one(place, name, data)
    except FileProblem as problem:
        return Loaded(name, outcome="refused", problem=str(problem))
