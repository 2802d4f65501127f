"""Names of files that come again and again: the same but for their numbers or their month."""

import re
from collections.abc import Sequence
from fnmatch import fnmatch

_WORD = re.compile(r"[^\W\d_]+")
_MONTHS = re.compile(  # English and German, whole or short
    "jan(?:uary|uar)?|jänner|feb(?:ruary|ruar)?|mar(?:ch)?|mär(?:z)?|maerz|apr(?:il)?|may|mai|june?|juni|july?|juli"
    "|aug(?:ust)?|sept?|september|o[ck]t(?:ober)?|nov(?:ember)?|de[cz](?:ember)?"
)


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
