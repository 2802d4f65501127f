"""A fault of the program: one line for the person, the traceback in store/program.log."""

import tempfile
import traceback
from datetime import UTC, datetime
from pathlib import Path


def keep_traceback(fault: BaseException, shop: Path, doing: str) -> str:
    """Write the traceback and say in one line where it stands; a folder that is no shop gets no file."""
    log = (shop / "store" if shop.is_dir() else Path(tempfile.gettempdir())) / "program.log"
    text = "".join(traceback.format_exception(fault))
    try:
        log.parent.mkdir(exist_ok=True)
        with log.open("a", encoding="utf-8") as file:
            file.write(f"{datetime.now(UTC).isoformat(timespec='seconds')} {doing}\n{text}\n")
    except OSError:
        return (
            f"Something went wrong in the program ({type(fault).__name__}: {fault}); {log} could not be written"
        ).replace("\n", " ")
    return f"Something went wrong in the program ({type(fault).__name__}); the details stand in {log}"
