"""Bytes of a text file to text, never guessing a letter: what is doubtful is marked and asked about."""

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from ingest.reading.far_encodings import far_encoding
from ingest.reading.on_disk import Data, pieces
from ingest.terms.questions import FileProblem

LOOKED_AT = 1_000_000  # bytes by which the letters of a file are told
MARK = "\ufffd"  # stands where a byte is no letter of the file's encoding
# Letters and signs that Windows-1252 text of the trade may hold; any other byte above 127 is a doubtful guess.
_WESTERN = frozenset(
    "ÀÁÂÃÄÅÆÇÈÉÊËÌÍÎÏÑÒÓÔÕÖØÙÚÛÜÝàáâãäåæçèéêëìíîïñòóôõöøùúûüýÿßŠšŽžŒœŸ€£¢§°±²³µ´·¼½¾×«»‘’“”„‚–—…•™®©¿¡ªº\xa0"
)
# Bytes inside words that tell Windows-1250 (central European) from 1252: letters there, signs or other letters here.
_HACEK, _CZECH = b"\x8a\x8e\x9a\x9e", b"\xe8\xec\xef\xf2\xf8\xf9\xfd\xc8\xcc\xd8\xd9\xdd"  # Š Ž š ž; č ě ď ň ř ů ý
_RING, _ACUTE, _NOT_CZECH = b"\xf8\xf9\xec", b"\xe1\xed\xfd", b"\xe0\xe5\xf0"  # ř ů ě beside á í ý, as nowhere west
_POLISH_MARK, _POLISH = b"\xb3\xb9\xbf", b"\xea\xe6\xf1\xf3\x9c"  # ł ą ż; ę ć ń ó ś
_HUNGARIAN_MARK, _HUNGARIAN, _PORTUGUESE = b"\xf5\xfb", b"\xe1\xe9\xed\xf3\xfa\xf6\xfc", b"\xe3\xe7\xf1"  # ő ű
_IN_WORD = re.compile(rb"(?:(?<=[A-Za-z\x80-\xff])[\x80-\xff]|[\x80-\xff](?=[A-Za-z\x80-\xff]))")
_BINARY = {
    b"%PDF": "a PDF",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"GIF8": "a picture",
    b"\x1f\x8b": "a compressed file",
    b"SQLite format 3": "a database",
    b"\xd0\xcf\x11\xe0": "an old workbook (.xls): save it as .xlsx or CSV",
    b"PAR1": "a Parquet file",
    b"\x7fELF": "a program",
    b"MZ\x90": "a program",
    b"Rar!": "a compressed file",
    b"7z\xbc\xaf": "a compressed file",
}


@dataclass(frozen=True)
class Letters:
    """How the bytes of a file become letters."""

    codec: str
    note: str = ""  # said of the file where its letters had to be guessed
    begin: int = 0  # bytes of a mark of the encoding, passed over
    doubtful: bool = False  # letters that the trade does not use stand as MARK

    def texts(self, data: Data) -> Iterator[str]:
        """The text, a piece at a time."""
        decoder = codecs.getincrementaldecoder(self.codec)("replace")
        for piece in pieces(data, self.begin):
            yield self._sure(decoder.decode(piece))
        yield self._sure(decoder.decode(b"", final=True))

    def _sure(self, text: str) -> str:
        if self.doubtful and not text.isascii():
            for letter in {letter for letter in set(text) if letter > "\x7f" and letter not in _WESTERN}:
                text = text.replace(letter, MARK)
        return text


def decode(data: bytes, name: str) -> tuple[str, str]:
    """(text, a note on the encoding or ''). MARK stands where a byte could not be read for sure. FileProblem for a
    binary file.
    """
    letters = letters_of(data, name)
    return "".join(letters.texts(data)), letters.note


def letters_of(data: Data, name: str) -> Letters:
    """How the letters of a file are to be read. FileProblem for a binary file."""
    start = data[:16]
    for magic, what in _BINARY.items():
        if start.startswith(magic):
            raise FileProblem(f"{name}: this is {what}, not a log; wanted CSV text or an .xlsx workbook")
    letters = _letters(data)
    sample = ""
    for text in letters.texts(data):
        sample += text[: 65_536 - len(sample)]
        if len(sample) >= 65_536:
            break
    odd = sum(1 for letter in sample if letter < " " and letter not in "\t\n\r\x0b\x0c") + sample.count(MARK)
    if odd > max(0.05 * len(sample), 200 if len(sample) > 4000 else 20):
        raise FileProblem(
            f"{name}: this is a binary file or its letters cannot be read; wanted CSV text (UTF-8) or an .xlsx workbook"
        )
    return letters


def _letters(data: Data) -> Letters:
    head = data[:4096]
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return Letters("utf-16")
    begin = 3 if head.startswith(b"\xef\xbb\xbf") else 0
    head = data[begin : begin + 4096]
    if len(head) > 8 and b"\x00" in head:
        for place, codec in ((1, "utf-16-le"), (0, "utf-16-be")):
            if head[place::2].count(0) > 0.4 * len(head) / 2 > 2.5 * head[1 - place :: 2].count(0):
                return Letters(codec, begin=begin)
    as_utf8 = Letters("utf-8", begin=begin)
    bad, good = _in_utf8(data, as_utf8)
    if not bad:
        return as_utf8
    if good > bad:
        return replace(as_utf8, note="the file is UTF-8 with damaged letters; the rows that hold them are set aside")
    if far := far_encoding(data[begin : begin + LOOKED_AT]):
        return Letters(far[0], f"the file is not UTF-8; its letters were read as {far[1]}: look at a name", begin)
    if _is_central(data[begin : begin + LOOKED_AT]):
        note = (
            "the file is not UTF-8; its letters were read as Windows-1250 (central European): look at a name with an "
        )
        return Letters("cp1250", f"{note}accent", begin)
    note = "the file is not UTF-8; its letters were read as Windows-1252 (western European): look at a name with an "
    return Letters("cp1252", f"{note}accent", begin, doubtful=True)


def _in_utf8(data: Data, letters: Letters) -> tuple[int, int]:
    """How many letters beyond ASCII cannot be read as UTF-8, 0 where all can; and how many can."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for piece in pieces(data, letters.begin):
            decoder.decode(piece)
        decoder.decode(b"", final=True)
        return 0, 0
    except UnicodeDecodeError:
        pass
    bad = beyond = 0
    for text in letters.texts(data):
        bad += text.count(MARK)
        beyond += len(text) - len(text.encode("ascii", "ignore"))
    return bad, beyond - bad


def _is_central(data: bytes) -> bool:
    """Do the bytes above 127 inside words make Czech, Polish, Hungarian or their neighbours rather than the west?"""
    inside = {found[0] for found in _IN_WORD.findall(data[:LOOKED_AT])}

    def some(letters: bytes) -> bool:
        return not inside.isdisjoint(letters)

    czech = (some(_HACEK) and some(_CZECH)) or (some(_RING) and some(_ACUTE) and not some(_NOT_CZECH))
    polish = some(_POLISH_MARK) and some(_POLISH)
    return czech or polish or (some(_HUNGARIAN_MARK) and some(_HUNGARIAN) and not some(_PORTUGUESE))
