"""Numbers that take long and hang on numbers alone, kept beside the store (`ingest.store.worked_out`): widths of
limits, laws of readings. From one log to the next nearly all of them are what they were.

Under a digest of all that goes in and of the code that works them out, to the last digit; what is kept may be deleted.
"""

from collections.abc import Callable
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path

import numpy as np

from analysis.methods import segments
from analysis.methods.segments import Floats
from ingest.store.snapshot import Snapshot, code_of


@dataclass(frozen=True)
class Reckoned:
    """What was reckoned before, as one snapshot sees it; without one everything is reckoned."""

    snapshot: Snapshot | None = None

    def __call__(self, name: str, work: Callable[[], Floats], *given: object) -> Floats:
        """What `work` gives (k,), a function of what is `given`: numbers, texts and arrays of numbers; as it was kept,
        where it was.
        """
        kept = self.snapshot.worked_out if self.snapshot is not None else None
        if kept is None:
            return work()
        told = blake2b(repr((name, _code())).encode(), digest_size=20)
        for each in given:
            part = each.tobytes() if isinstance(each, np.ndarray) else repr(each).encode()
            told.update(f"\0{len(part)}\0".encode() + part)
        key = told.hexdigest()
        text = kept.of(key)
        if text is not None:
            return np.array([float.fromhex(one) for one in text.split()])
        found = work()
        kept.keep(key, " ".join(float(one).hex() for one in found), past=True)
        return found

    def write(self) -> None:
        """Keep what is new."""
        if self.snapshot is not None and self.snapshot.worked_out is not None:
            self.snapshot.worked_out.write()


PLAIN = Reckoned()


def _code() -> str:
    return code_of(Path(segments.__file__).parent, built_on=("numpy", "scipy"))
