"""What no log is larger than: a file is looked over in small pieces before any of it is read whole.

Each bound is far beyond what a shop writes, and what is refused is refused in one line, in a second or two, whatever
its size. A log within the bounds is read in pieces of so many rows.
"""

import io
import os
import re
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

from ingest.reading.careful import read_any
from ingest.reading.encodings import decode
from ingest.reading.on_disk import LONG, Data, copied, held, is_workbook
from ingest.reading.tabular import Form
from ingest.terms.questions import FileProblem

MOST_BYTES = 1_000_000_000  # of a file
HEAD = 600_000  # bytes within which a heading stands; also of the longest line
MOST_COLUMNS = 4_096  # of a table
MOST_UNPACKED = 1_000_000_000  # bytes of a workbook's parts together
MOST_PARTS = 10_000  # of a workbook
MOST_CELLS = 12_000_000  # of a sheet, filled or not, up to its last row and column
_PIECE = 1 << 20
_SAMPLE, _TOP, _LINES = 70_000, 60, 2_000  # bytes and lines that are looked at more closely, and for a heading
_ROW = re.compile(rb'<row [^>]*?r="(\d{1,9})"')
_CELL = re.compile(rb'<c r="([A-Z]{1,3})')
Head = Callable[[str], Form]  # what the header of a log of this name looks like


def read_within(path: Path, form_of: Head, room: Path) -> Data:
    """The bytes of a file that may be a log; of a long one a copy in a folder of its own under `room`, which goes with
    the bytes. FileProblem where it cannot be one, and where it changed meanwhile.
    """
    told = path.name
    with path.open("rb") as file:
        look_over(file, told, form_of)
        before = os.fstat(file.fileno())
        data = copied(file, room) if before.st_size > LONG else _rest(file)
        after = os.fstat(file.fileno())
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns) or len(data) != after.st_size:
        raise FileProblem(f"{told}: it was written to while it was read; load it again once nobody writes to it")
    return data


def held_within(path: Path, form_of: Head, name: str) -> Data:
    """As `read_within`, of a file of our own that nobody changes, by the name under which people know it."""
    with path.open("rb") as file:
        look_over(file, name, form_of)
    return held(path)


def _rest(file: IO[bytes]) -> bytes:
    file.seek(0)
    return file.read()


def look_over(file: IO[bytes], name: str, form_of: Head) -> None:
    """FileProblem, one line, where a file cannot be a log: too large, binary, a line without end, no heading at its
    top; of a workbook, what it would unpack to.
    """
    size = file.seek(0, io.SEEK_END)
    file.seek(0)
    if size > MOST_BYTES:
        raise FileProblem(f"{name}: {_mb(size)}; wanted at most {_mb(MOST_BYTES)}: split it, a month a file")
    head = file.read(HEAD)
    if is_workbook(head):
        look_over_workbook(file, name)
        return
    if head:
        decode(head[:_SAMPLE], name)
    for line in re.split(rb"[\r\n]+", head)[:_TOP]:
        cells = max(line.count(mark) for mark in (b",", b";", b"\t", b"|")) + 1
        if cells > MOST_COLUMNS:
            raise FileProblem(f"{name}: a line of {cells:,} cells; wanted at most {MOST_COLUMNS:,} columns")
    if size <= HEAD:
        return
    longest = _longest_line(file)
    if longest > HEAD:
        raise FileProblem(f"{name}: a line of {_mb(longest)}; wanted rows of at most {HEAD:,} characters, one a line")
    if not head.strip(b"\x00 \t\r\n\xef\xbb\xbf"):
        raise FileProblem(f"{name}: nothing but blanks in its first {HEAD:,} bytes; wanted a heading and rows")
    top = b"\n".join(head.splitlines()[:_LINES]) if head[:1] not in (b"\xff", b"\xfe") and b"\0" not in head else head
    read_any(top[: top.rfind(b"\n")] if b"\n" in top else top, name, form_of(name))


def _longest_line(file: IO[bytes]) -> int:
    """Bytes of the longest line, as far as one that is too long."""
    file.seek(0)
    longest = open_line = 0
    while piece := file.read(_PIECE):
        cuts = piece.replace(b"\r", b"\n").split(b"\n")
        longest = max(longest, open_line + len(cuts[0]), *map(len, cuts[1:-1] or [b""]))
        open_line = len(cuts[-1]) if len(cuts) > 1 else open_line + len(piece)
    return max(longest, open_line)


def look_over_workbook(file: IO[bytes], name: str) -> None:
    """FileProblem where a workbook would unpack to more than a log may be, or is no workbook."""
    try:
        with zipfile.ZipFile(file) as packed:
            parts = packed.infolist()
            size = sum(part.file_size for part in parts)
            if size > MOST_UNPACKED or len(parts) > MOST_PARTS:
                raise FileProblem(
                    f"{name}: a workbook that unpacks to {_mb(size)} in {len(parts)} parts; wanted at most "
                    f"{_mb(MOST_UNPACKED)}: save it as CSV"
                )
            for part in parts:
                if part.filename.startswith("xl/worksheets/") and part.filename.endswith(".xml"):
                    _look_over_sheet(_pieces(packed, part), name)
                elif part.filename.endswith((".xml", ".rels")):
                    for _ in _pieces(packed, part):
                        pass
    except (zipfile.BadZipFile, zipfile.LargeZipFile, OSError, EOFError, NotImplementedError, RuntimeError) as fault:
        why = str(fault).splitlines()[0] if str(fault) else type(fault).__name__
        raise FileProblem(f"{name}: cannot be read as a workbook ({why}); save it as .xlsx or CSV") from None


def _pieces(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> Iterator[bytes]:
    """A part unpacked piece by piece; zipfile raises where it holds other than it says."""
    with packed.open(part) as stream:
        while piece := stream.read(_PIECE):
            yield piece


def _look_over_sheet(pieces: Iterator[bytes], name: str) -> None:
    rows, cells, columns = 0, 0, {b"A"}
    tail = b""
    for piece in pieces:
        text = tail + piece
        tail = text[-64:]
        found = _ROW.findall(text)
        rows = max(rows, *map(int, found[-1:]), 0)
        cells += piece.count(b"<c ") + piece.count(b"<c>") + piece.count(b"<c/>")
        columns.update(_CELL.findall(text))
        wide = max(map(_number, columns))
        if cells > MOST_CELLS or rows * wide > MOST_CELLS:
            raise FileProblem(
                f"{name}: a sheet of {max(cells, rows * wide):,} cells, filled or not; wanted at most {MOST_CELLS:,}: "
                "is there something far below or far to the right of the rows?"
            )


def _number(letters: bytes) -> int:
    """Column AB as 28."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _mb(size: int) -> str:
    return f"{size / 1e6:,.1f} MB"
