"""Bytes of a text file to text, never guessing a letter: what is doubtful is marked and asked about."""

from ingest.terms.questions import FileProblem

MARK = "\ufffd"  # stands where a byte is no letter of the file's encoding
# Letters and signs that Windows-1252 text of the trade may hold; any other byte above 127 is a doubtful guess.
_WESTERN = frozenset(
    "ÀÁÂÃÄÅÆÇÈÉÊËÌÍÎÏÑÒÓÔÕÖØÙÚÛÜÝàáâãäåæçèéêëìíîïñòóôõöøùúûüýÿßŠšŽžŒœŸ€£¢§°±²³µ´·¼½¾×«»‘’“”„‚–—…•™®©¿¡ªº\xa0"
)
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
    western = data.decode("cp1252", "replace")
    doubtful = {letter for letter in set(western) if letter > "\x7f" and letter not in _WESTERN}
    for letter in doubtful:
        western = western.replace(letter, MARK)
    return (
        western,
        "the file is not UTF-8; its letters were read as Windows-1252 (western European): look at a name with an "
        "accent",
    )
