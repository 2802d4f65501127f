"""The bytes of a long file that stay on the disk and are read a piece at a time, as if they were all here."""

import hashlib
import io
import shutil
import tempfile
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import IO

LONG = 8_000_000  # bytes; a shorter file is held in memory
PIECE = 1 << 20


class OnDisk:
    """A file that nobody changes meanwhile: a copy of our own, or an original.

    `data[a:b]` reads those bytes; slices, `len` and `find` mean what they mean of bytes.
    """

    def __init__(self, path: Path, digest: str = "") -> None:
        self.path = path
        self._file = path.open("rb")
        weakref.finalize(self, self._file.close)
        self._size = self._file.seek(0, io.SEEK_END)
        self._digest = digest

    def __len__(self) -> int:
        return self._size

    def __getitem__(self, place: slice) -> bytes:
        begin, end, step = place.indices(self._size)
        if step != 1:
            raise ValueError(f"bytes of a file are read forwards, one after another; {place} came")
        self._file.seek(begin)
        return self._file.read(max(0, end - begin))

    def find(self, wanted: bytes, begin: int = 0) -> int:
        """Where these bytes stand first, from a place on; -1 where nowhere."""
        overlap = len(wanted) - 1
        for at in range(begin, self._size, PIECE):
            found = self[at : at + PIECE + overlap].find(wanted)
            if found >= 0:
                return at + found
        return -1

    @property
    def digest(self) -> str:
        """Its SHA-256."""
        if not self._digest:
            self._digest = sha256(self)
        return self._digest

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()


Data = bytes | OnDisk


def pieces(data: Data, begin: int = 0, most: int = PIECE) -> Iterator[bytes]:
    """The bytes from a place on, so many at a time."""
    for at in range(begin, len(data), most):
        yield data[at : at + most]


def is_workbook(data: Data | bytes) -> bool:
    """Does a file, or its head, begin as a workbook does?"""
    return data[:4] == b"PK\x03\x04"


def sha256(data: Data) -> str:
    """The SHA-256 of a file as it came, in hexadecimal digits."""
    if isinstance(data, bytes):
        return hashlib.sha256(data).hexdigest()
    hashed = hashlib.sha256()
    for piece in pieces(data):
        hashed.update(piece)
    return hashed.hexdigest()


def held(path: Path, digest: str = "") -> Data:
    """A file that nobody changes: in memory where it is short."""
    return OnDisk(path, digest) if path.stat().st_size > LONG else path.read_bytes()


def whole(data: Data) -> bytes:
    """All of it, in memory."""
    return data if isinstance(data, bytes) else data[:]


def room(root: Path, owner: object) -> Path:
    """A folder of its own under `root` that goes when its owner goes."""
    folder = _folder(root)
    weakref.finalize(owner, shutil.rmtree, folder, ignore_errors=True)
    return folder


def _folder(root: Path) -> Path:
    root.mkdir(parents=True, exist_ok=True)
    return Path(tempfile.mkdtemp(dir=root))


def copied(source: IO[bytes], root: Path) -> OnDisk:
    """A copy of a file in a folder of its own under `root`, which goes with the copy."""
    hashed, folder = hashlib.sha256(), _folder(root)
    try:
        source.seek(0)
        with (folder / "file").open("xb") as kept:
            while piece := source.read(PIECE):
                hashed.update(piece)
                kept.write(piece)
        data = OnDisk(folder / "file", hashed.hexdigest())
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    weakref.finalize(data, shutil.rmtree, folder, ignore_errors=True)
    return data
