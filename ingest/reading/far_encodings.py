"""Bytes above 127 that stand side by side are no western text: which encoding of the east they are in. Pure."""

import re
from collections.abc import Callable

SIDE_BY_SIDE = 0.5  # of the bytes above 127 have another beside them; in the words of the west few do
PLAIN = 0.75  # of the letters are of the encoding's common ones
BROKEN = 0.01  # of the letters may be none
KANA = 0.05  # of the letters of Japanese, at least
_INSIDE = re.compile(r"(?<=[a-z])[^\x00-\x7f]|[^\x00-\x7f](?=[a-z])")  # Größe is one word, of the west
_RUN = re.compile(rb"[\x80-\xff]+")


def far_encoding(data: bytes) -> tuple[str, str] | None:
    """(codec, its name in words) of text that is neither UTF-8 nor western; None where nothing tells it."""
    runs = _RUN.findall(data)
    high = sum(map(len, runs))
    if not high or sum(len(run) for run in runs if len(run) > 1) < SIDE_BY_SIDE * high:
        return None
    best = max(_CODECS, key=lambda codec: _share(data, codec))
    return (best, _CODECS[best][0]) if _share(data, best) >= PLAIN else None


def _share(data: bytes, codec: str) -> float:
    """How many of the letters above 127 are common ones of the language, 0 where the bytes are not in this encoding."""
    text = data.decode(codec, "replace")
    letters = [letter for letter in text if letter > "\x7f"]
    inside = len(_INSIDE.findall(text))
    if inside >= (1 - PLAIN) * len(letters) or letters.count("\ufffd") > max(1, BROKEN * len(letters)):
        return 0.0
    return _CODECS[codec][1](letters, codec)


def _japanese(letters: list[str], codec: str) -> float:
    kana = sum("\u3040" <= letter <= "\u30ff" for letter in letters)
    if kana < KANA * len(letters):
        return 0.0
    last = {"cp932": b"\x98\x72", "euc_jp": b"\xcf\xd3"}[codec]  # of the kanji that schools teach
    return (kana + sum(_is_sign(letter) or _lead(letter, codec) <= last for letter in letters)) / len(letters)


def _chinese(letters: list[str], codec: str) -> float:
    first, last = {"gb18030": (b"\xb0\xa1", b"\xd7\xf9"), "big5": (b"\xa4\x40", b"\xc6\x7e")}[codec]
    return sum(_is_sign(letter) or first <= _lead(letter, codec) <= last for letter in letters) / len(letters)


def _korean(letters: list[str], _: str) -> float:
    return sum(_is_sign(letter) or "\uac00" <= letter <= "\ud7a3" for letter in letters) / len(letters)


def _cyrillic(letters: list[str], _: str) -> float:
    """Small letters, with a capital seldom among them: read in the wrong one of two encodings they are turned round."""
    known = sum(letter in "№ё" or "а" <= letter <= "я" for letter in letters)
    return (known + 0.5 * sum("А" <= letter <= "Я" for letter in letters)) / len(letters)


def _greek(letters: list[str], _: str) -> float:
    return sum("ά" <= letter <= "ώ" or "Α" <= letter <= "Ω" for letter in letters) / len(letters)


def _lead(letter: str, codec: str) -> bytes:
    """The bytes of a sign of Han in an encoding, the highest where it is none."""
    return letter.encode(codec, "replace") if "\u4e00" <= letter <= "\u9fff" else b"\xff\xff"


def _is_sign(letter: str) -> bool:
    """A sign or figure of the east: 、 ○ △ × and what is as wide as a sign of Han."""
    return "\u3000" <= letter <= "\u303f" or "\uff01" <= letter <= "\uff5e" or letter in "○△×◎●□■㎜℃→※″′°·—"


_CODECS: dict[str, tuple[str, Callable[[list[str], str], float]]] = {
    "cp932": ("Shift-JIS (Japanese)", _japanese),
    "euc_jp": ("EUC-JP (Japanese)", _japanese),
    "cp949": ("EUC-KR (Korean)", _korean),
    "gb18030": ("GB 18030 (Chinese)", _chinese),
    "big5": ("Big5 (Chinese)", _chinese),
    "cp1251": ("Windows-1251 (Cyrillic)", _cyrillic),
    "koi8-r": ("KOI8-R (Cyrillic)", _cyrillic),
    "cp1253": ("Windows-1253 (Greek)", _greek),
}
