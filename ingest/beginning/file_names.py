"""Names of files that come again and again: the same but for their numbers or their month."""

import re
from collections.abc import Sequence
from fnmatch import fnmatch

_WORD = re.compile(r"[^\W\d_]+")
_MONTHS = re.compile(  # English and German, whole or short
    "jan(?:uary|uar)?|jänner|feb(?:ruary|ruar)?|mar(?:ch)?|mär(?:z)?|maerz|apr(?:il)?|may|mai|june?|juni|july?|juli"
    "|aug(?:ust)?|sept?|september|o[ck]t(?:ober)?|nov(?:ember)?|de[cz](?:ember)?"
)


_FIRST = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_OTHER = {"jän": 1, "mär": 3, "mae": 3, "mai": 5, "okt": 10, "dez": 12}


def months_in(name: str) -> set[int]:
    """The months that a file's name says in words, 1 to 12: `Batch Mar 2026.csv` 3."""
    words = [word.casefold() for word in _WORD.findall(name.rpartition(".")[0] or name)]
    firsts = [word[:3] for word in words if _MONTHS.fullmatch(word)]
    return {_OTHER[one] if one in _OTHER else _FIRST.index(one) + 1 for one in firsts}


def pattern_of(name: str) -> str:
    """The name with its numbers and months left open, 'final_Mar26.csv' as 'final_*.csv'; the name itself where no word
    would be left that says which kind of sheet it is.
    """
    stem, dot, ending = name.rpartition(".") if "." in name else (name, "", "")
    left_open = _WORD.sub(lambda word: "*" if _MONTHS.fullmatch(word[0].casefold()) else word[0], stem)
    left_open = re.sub(r"[*\d]+(?:[-_. ]*[*\d]+)*", "*", left_open)
    return f"{left_open}{dot}{ending}" if _WORD.search(left_open) else name


def fits(pattern: str, names: Sequence[str]) -> bool:
    """Would a [[log]] of these `files` read all of the names?"""
    return all(fnmatch(name.casefold(), pattern.casefold()) for name in names)
