"""Whether a word may be a spelling of another: letters slip, but numbers, sizes and single letters tell words apart."""

import re
import unicodedata

from rapidfuzz.distance import OSA

from ingest.reading.headings import plain

SLIP = 0.25  # of the letters may differ, a transposition counted once
CODE = 2  # letters: a part so short tells models apart, as a number does
LOOKS = str.maketrans("oil", "011")  # letters that are typed for figures


def spelled_alike(word: str, other: str) -> bool:
    """May a word be a spelling of the other, or short for it? Not where a number or a short part differs ('Dove B' is
    none of 'Dove C'), nor where it says more than the other and no number is the same.
    """
    mine, theirs = _parts(word), _parts(other)
    if "".join(mine).translate(LOOKS) == "".join(theirs).translate(LOOKS):
        return True
    codes, known = _codes(mine), _codes(theirs)
    if any(part.isdigit() for part in mine) and mine == theirs[: len(mine)]:  # 'OB-12' of 'OB-12 A-Scale'
        return True
    if not codes <= known or (known - codes and codes):
        return False
    long, held = [part for part in mine if part not in codes], [part for part in theirs if part not in known]
    if len(long) > len(held) and codes:  # one number, told with more words
        long, held = held, long
    if len(long) > len(held) or (not long and not codes):
        return False
    if len(long) == len(held) and OSA.normalized_distance("".join(long), "".join(held)) <= SLIP:
        return True
    return all(any(each.startswith(part) or _slip(part, each) for each in held) for part in long)


def _slip(part: str, other: str) -> bool:
    return OSA.normalized_distance(part, other) <= SLIP


def _parts(word: str) -> list[str]:
    """Runs of letters and of figures, the letters without their accents."""
    bare = "".join(sign for sign in unicodedata.normalize("NFD", plain(word)) if not unicodedata.combining(sign))
    return re.findall(r"[^\W\d_]+|\d+", bare)


def _codes(parts: list[str]) -> set[str]:
    return {part for part in parts if part.isdigit() or len(part) <= CODE}


def short_name(word: str, name: str) -> bool:
    """May a word be short for somebody's name of several parts: 'HB', 'H. Bertin', 'Hélène' of 'Hélène Bertin'?"""
    parts, mine = _names(name), _names(word)
    if len(parts) < 2 or not mine or mine == parts:
        return False
    if len(mine) == 1 and mine[0] in ("".join(part[0] for part in parts), *(one for one in parts if len(one) > CODE)):
        return True
    ends = mine[-1] in parts[1:] and len(mine) > 1
    return ends and all(part in parts or any(one.startswith(part) for one in parts) for part in mine)


def _names(text: str) -> list[str]:
    """The words of a name without accents; 'H.B.' is one of two letters."""
    bare = "".join(sign for sign in unicodedata.normalize("NFD", plain(text)) if not unicodedata.combining(sign))
    if re.fullmatch(r"(?:[^\W\d_]\.\s?){2,4}", f"{bare.rstrip('.')}."):
        return [re.sub(r"\W", "", bare)]
    return re.findall(r"[^\W\d_]+", bare)
