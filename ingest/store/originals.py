"""originals/: every file as it came, under its SHA-256."""

import hashlib
from pathlib import Path

from ingest.store.writing import write_whole

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
    if is_there(folder, digest):
        return path
    write_whole(path, data)
    return path


def is_there(folder: Path, digest: str) -> bool:
    """Is a file kept, and as it came?"""
    try:
        fetch(folder, digest)
    except (OSError, ValueError):
        return False
    return True


def fetch(folder: Path, digest: str) -> bytes:
    """The bytes of a kept file; FileNotFoundError or ValueError (not as it came) where they cannot be had."""
    data = (folder / FOLDER / digest).read_bytes()
    if sha256(data) != digest:
        raise ValueError(f"originals/{digest} is not as it came (its SHA-256 differs); put the right file back")
    return data
