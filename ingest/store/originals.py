"""originals/: every file as it came, under its SHA-256."""

from pathlib import Path

from ingest.reading.on_disk import Data, OnDisk, held, sha256, whole
from ingest.store.writing import link_whole, write_whole

__all__ = ["FOLDER", "fetch", "get", "is_there", "keep", "log_id", "sha256"]

FOLDER = "originals"


def log_id(digest: str) -> str:
    """What a log is called in every table: the first 16 digits of its SHA-256."""
    return digest[:16]


def keep(folder: Path, data: Data) -> Path:
    """Keep a file as it came; a whole file or none, whenever the power goes."""
    digest = sha256(data) if isinstance(data, bytes) else data.digest
    path = folder / FOLDER / digest
    if is_there(folder, digest):
        return path
    if isinstance(data, OnDisk):
        link_whole(path, data.path)
    else:
        write_whole(path, data)
    return path


def is_there(folder: Path, digest: str) -> bool:
    """Is a file kept, and as it came?"""
    try:
        data = get(folder, digest)
    except (OSError, ValueError):
        return False
    if isinstance(data, OnDisk):
        data.close()
    return True


def fetch(folder: Path, digest: str) -> bytes:
    """The bytes of a kept file, all in memory; FileNotFoundError or ValueError (not as it came) where they cannot be
    had.
    """
    return whole(get(folder, digest))


def get(folder: Path, digest: str) -> Data:
    """As `fetch`; the bytes of a long file stay on the disk."""
    data = held(folder / FOLDER / digest)
    if (sha256(data) if isinstance(data, bytes) else data.digest) != digest:
        raise ValueError(f"originals/{digest} is not as it came (its SHA-256 differs); put the right file back")
    return data
