"""A long file loaded by a process of its own beside the server, so that the pages keep their memory and their pace.

Run as `python -m dashboard.desk.beside FOLDER NAME FILE WHO NOW`: tells how far it is, a line of JSON each time, and
ends with one that says what became of the file.
"""

import json
import os
import pickle
import subprocess
import sys
from base64 import b64decode, b64encode
from datetime import datetime
from pathlib import Path
from time import monotonic

from dashboard.faults import keep_traceback
from ingest.reading.bounds import held_within
from ingest.reading.reader import form_of
from ingest.reading.sheet import Progress
from ingest.shopfiles.shop import read_shop
from ingest.store.problems import StoreProblem
from ingest.terms.problems import Problem
from ingest.verbs import load
from ingest.verbs.loaded import Loaded

OFTEN = 0.2  # seconds between two words on how far it is
KINDER = 5  # how much the pages go before it


def load_held(folder: Path, name: str, path: Path, *, who: str, progress: Progress, now: datetime) -> list[Loaded]:
    """Load a file that lies in the shop's own folder, here and now."""
    shop = read_shop(folder / "shop.toml")
    source = (name, lambda: held_within(path, lambda it: form_of(it, shop), name))
    return load.load_data(folder, [source], progress=progress, who=who, now=now)


def load_beside(folder: Path, name: str, path: Path, *, who: str, progress: Progress, now: datetime) -> list[Loaded]:
    """As `load_held`, by a process of its own. Raises what that one says cannot be done."""
    command = [sys.executable, "-m", "dashboard.desk.beside", str(folder), name, str(path), who, now.isoformat()]
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True, encoding="utf-8") as at:
        told: dict[str, str] = {}
        for line in at.stdout or ():
            told = json.loads(line)
            if "what" in told:
                progress(float(told["share"]), told["what"])
    if "problem" in told:
        raise StoreProblem(told["problem"])
    if "loaded" not in told:
        raise StoreProblem(
            f"{name}: the process that loaded it ended before its work was done, as one does that is given no more "
            f"memory. Nothing of it counts; load it at the command line: truerun load {name}"
        )
    return list(pickle.loads(b64decode(told["loaded"])))


def main(folder: Path, name: str, path: Path, who: str, now: datetime) -> None:
    """The work of the process."""
    if hasattr(os, "nice"):
        os.nice(KINDER)
    said = 0.0

    def tell(share: float, what: str) -> None:
        nonlocal said
        if monotonic() - said > OFTEN:
            said = monotonic()
            _say(share=share, what=what)

    try:
        became = load_held(folder, name, path, who=who, progress=tell, now=now)
    except Problem as problem:
        _say(problem=str(problem))
    except Exception as fault:
        _say(problem=keep_traceback(fault, folder, f"load beside the server: {name}"))
    else:
        _say(loaded=b64encode(pickle.dumps(became)).decode())


def _say(**told: object) -> None:
    print(json.dumps(told), flush=True)  # noqa: T201 - to the server


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3]), sys.argv[4], datetime.fromisoformat(sys.argv[5]))
