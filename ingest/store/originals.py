"""originals/: every file as it came, under its SHA-256."""

import hashlib
import os
from pathlib import Path

FOLDER = "originals"


def sha256(data: bytes) -> str:
    """The name under which a file is kept."""
    return hashlib.sha256(data).hexdigest()


def log_id(digest: str) -> str:
    """What a log is called in every table: the first 16 digits of its SHA-256."""
    return digest[:16]


def keep(folder: Path, data: bytes) -> Path:
    """Keep a file as it came; a whole file or none, whenever the power goes."""
    digest = sha256(data)
    path = folder / FOLDER / digest
    if path.exists() and path.stat().st_size == len(data):
        return path
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f".{digest}.{os.getpid()}")
    try:
        with unfinished.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
    return path


def fetch(folder: Path, digest: str) -> bytes:
    """The bytes of a kept file; FileNotFoundError or ValueError (not as it came) where they cannot be had."""
    data = (folder / FOLDER / digest).read_bytes()
    if sha256(data) != digest:
        raise ValueError(f"originals/{digest} is not as it came (its SHA-256 differs); put the right file back")
    return data
