"""A fault of the program: one line for the person, the traceback in store/program.log."""

import tempfile
import traceback
from datetime import UTC, datetime
from pathlib import Path

LARGEST = 2_000_000  # bytes of the log; then it begins anew, and the one before is kept
WRONG = "something went wrong in the program; the details stand in store/program.log"  # all that a page tells
loud = False  # tests: a fault is raised where it happens, not put into words


def keep_traceback(fault: BaseException, shop: Path, doing: str) -> str:
    """Write the traceback and say in one line where it stands; a folder that is no shop gets no file."""
    log = (shop / "store" if shop.is_dir() else Path(tempfile.gettempdir())) / "program.log"
    text = "".join(traceback.format_exception(fault))
    try:
        log.parent.mkdir(exist_ok=True)
        if log.exists() and log.stat().st_size > LARGEST:
            log.replace(log.with_name("program.log.1"))
        with log.open("a", encoding="utf-8") as file:
            file.write(f"{datetime.now(UTC).isoformat(timespec='seconds')} {' '.join(doing.split())}\n{text}\n")
    except OSError:
        return (
            f"Something went wrong in the program ({type(fault).__name__}: {fault}); {log} could not be written"
        ).replace("\n", " ")
    return f"Something went wrong in the program ({type(fault).__name__}); the details stand in {log}"


def kept(fault: BaseException, shop: Path, doing: str) -> str:
    """Write the traceback; the line a page shows, which tells nothing of the machine."""
    keep_traceback(fault, shop, doing)
    return f"{WRONG[0].upper()}{WRONG[1:]}"


def place(fault: BaseException) -> tuple[str, str, int]:
    """(study, module, line) where an error came from; the study is the last of analysis.studies on the way, '' where
    none was.
    """
    study, module, line = "", "", 0
    step = fault.__traceback__
    while step is not None:
        module, line = str(step.tb_frame.f_globals.get("__name__", "")), step.tb_lineno
        if module.startswith("analysis.studies."):
            study = module.rsplit(".", 1)[1].replace("_", " ")
        step = step.tb_next
    return study, module, line
