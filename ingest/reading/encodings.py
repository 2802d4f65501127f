"""Bytes of a text file to text, never guessing a letter: what is doubtful is marked and asked about."""

import re

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


def decode(data: bytes, name: str) -> tuple[str, str]:
    """(text, a note on the encoding or ''). MARK stands where a byte could not be read for sure. FileProblem for a
    binary file.
    """
    for magic, what in _BINARY.items():
        if data.startswith(magic):
            raise FileProblem(f"{name}: this is {what}, not a log; wanted CSV text or an .xlsx workbook")
    text, note = _decoded(data)
    sample = text[:65_536]
    odd = sum(1 for letter in sample if letter < " " and letter not in "\t\n\r\x0b\x0c") + sample.count(MARK)
    if odd > max(0.05 * len(sample), 200 if len(sample) > 4000 else 20):
        raise FileProblem(
            f"{name}: this is a binary file or its letters cannot be read; wanted CSV text (UTF-8) or an .xlsx workbook"
        )
    return text, note


def _decoded(data: bytes) -> tuple[str, str]:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", "replace"), ""
    if data.startswith(b"\xef\xbb\xbf"):
        data = data[3:]
    head = data[:4096]
    if len(head) > 8 and b"\x00" in head:
        for place, codec in ((1, "utf-16-le"), (0, "utf-16-be")):
            if head[place::2].count(0) > 0.4 * len(head) / 2 > 2.5 * head[1 - place :: 2].count(0):
                return data.decode(codec, "replace"), ""
    try:
        return data.decode("utf-8"), ""
    except UnicodeDecodeError:
        pass
    as_utf8 = data.decode("utf-8", "replace")
    bad = as_utf8.count(MARK)
    good = sum(1 for letter in as_utf8 if letter > "\x7f") - bad
    if good > bad:
        return as_utf8, "the file is UTF-8 with damaged letters; the rows that hold them are set aside"
    if _is_central(data):
        return (
            data.decode("cp1250", "replace"),
            "the file is not UTF-8; its letters were read as Windows-1250 (central European): look at a name with an "
            "accent",
        )
    western = data.decode("cp1252", "replace")
    doubtful = {letter for letter in set(western) if letter > "\x7f" and letter not in _WESTERN}
    for letter in doubtful:
        western = western.replace(letter, MARK)
    return (
        western,
        "the file is not UTF-8; its letters were read as Windows-1252 (western European): look at a name with an "
        "accent",
    )


def _is_central(data: bytes) -> bool:
    """Do the bytes above 127 inside words make Czech, Polish, Hungarian or their neighbours rather than the west?"""
    inside = {found[0] for found in _IN_WORD.findall(data[:LOOKED_AT])}

    def some(letters: bytes) -> bool:
        return not inside.isdisjoint(letters)

    czech = (some(_HACEK) and some(_CZECH)) or (some(_RING) and some(_ACUTE) and not some(_NOT_CZECH))
    polish = some(_POLISH_MARK) and some(_POLISH)
    return czech or polish or (some(_HUNGARIAN_MARK) and some(_HUNGARIAN) and not some(_PORTUGUESE))
