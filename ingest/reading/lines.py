"""The lines of a text file in order, of which only some are held: those that a quoted cell may still join."""

import re
from collections.abc import Callable, Iterator
from typing import overload

from ingest.reading.encodings import MARK
from ingest.reading.tabular import CONTROL, LONGEST_CELL

MOST_LINES = 10_000  # a quoted cell of more lines was never closed; so many are held behind the last one asked for
_FILLED = re.compile("[^\x00 \t\r\n\ufeff]")
Texts = Callable[[], Iterator[str]]  # the text of a file from its beginning, a piece at a time


class Lines:
    """What `text.split` gives of a file, without the empty one behind its last line.

    A line may be asked for while none more than MOST_LINES behind it was. Line ends are LF or CR LF, and CR alone in a
    file that has no other.
    """

    def __init__(self, texts: Texts) -> None:
        self._texts = texts
        self._end = "\n" if any("\n" in text for text in texts()) else "\r"
        self._count, self.last_quote = 0, -1  # the last line that holds a quote
        self.filled = False  # is there anything but blanks?
        self.clean = True  # no character that cannot be read, and no line longer than a cell may be
        for lines in self._split():
            for place, line in enumerate(lines, self._count):
                if '"' in line:
                    self.last_quote = place
                if len(line) > LONGEST_CELL:
                    self.clean = False
            text = "\n".join(lines)
            self.filled = self.filled or _FILLED.search(text) is not None
            self.clean = self.clean and not CONTROL.search(text) and MARK not in text
            self._count += len(lines)
        self._more = self._split()
        self._first, self._held = 0, list[str]()

    def _split(self) -> Iterator[list[str]]:
        """Whole lines, so many at a time."""
        rest, first = "", True
        for piece in self._texts():
            text = rest + (piece.removeprefix("\ufeff") if first else piece)
            first = first and not piece
            rest = ""
            if text.endswith("\r"):
                text, rest = text[:-1], "\r"
            *lines, last = text.replace("\r\n", "\n").split(self._end)
            rest = last + rest
            yield lines
        if rest.endswith(self._end):
            yield [rest.removesuffix(self._end)]
        elif rest:
            yield [rest]

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, place: int) -> str: ...

    @overload
    def __getitem__(self, place: slice) -> list[str]: ...

    def __getitem__(self, place: int | slice) -> str | list[str]:
        if isinstance(place, int):
            while place - self._first >= len(self._held):
                self._read_on(place)
            return self._held[place - self._first]
        begin, end, _ = place.indices(self._count)
        while end - self._first > len(self._held):
            self._read_on(begin)
        return self._held[begin - self._first : end - self._first]

    def _read_on(self, wanted: int) -> None:
        gone = min(len(self._held), max(0, wanted - MOST_LINES - 1 - self._first))
        del self._held[:gone]
        self._first += gone
        self._held += next(self._more)
