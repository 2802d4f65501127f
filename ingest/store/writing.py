"""Files that are written whole or not at all, whenever the power goes."""

import os
import shutil
from pathlib import Path


def write_whole(path: Path, data: bytes, *, sure: bool = True) -> None:
    """Put a file in its place in one step.

    sure : wait until the disk has it; without, a power cut (not a kill) may leave the file of before.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with unfinished.open("wb") as file:
            file.write(data)
            if sure:
                file.flush()
                os.fsync(file.fileno())
        if path.exists():
            os.chmod(unfinished, path.stat().st_mode & 0o777)
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)


def link_whole(path: Path, source: Path) -> None:
    """Put a file that is on the disk already in its place in one step, under a second name where the disk knows such,
    else as a copy.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        unfinished.unlink(missing_ok=True)
        try:
            os.link(source, unfinished)
        except OSError:
            shutil.copyfile(source, unfinished)
        with unfinished.open("rb+") as file:
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
