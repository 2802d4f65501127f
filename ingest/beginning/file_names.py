"""Names of files that come again and again: the same but for their numbers or their month."""

import re
from collections.abc import Sequence
from fnmatch import fnmatch

_WORD = re.compile(r"[^\W\d_]+")
_MONTHS = frozenset(  # English and German, whole or short
    "jan feb mar mär apr may mai jun jul aug sep sept oct okt nov dec dez january february march april june july august "
    "september october november december januar jänner februar märz maerz juni juli oktober dezember".split()
)


def pattern_of(name: str) -> str:
    """The name with its numbers and months left open, 'final_Mar26.csv' as 'final_*.csv'; the name itself where no word
    would be left that says which kind of sheet it is.
    """
    stem, dot, ending = name.rpartition(".") if "." in name else (name, "", "")
    left_open = _WORD.sub(lambda word: "*" if word[0].casefold() in _MONTHS else word[0], stem)
    left_open = re.sub(r"[*\d]+(?:[-_. ]*[*\d]+)*", "*", left_open)
    return f"{left_open}{dot}{ending}" if _WORD.search(left_open) else name


def fits(pattern: str, names: Sequence[str]) -> bool:
    """Would a [[log]] of these `files` read all of the names?"""
    return all(fnmatch(name.casefold(), pattern.casefold()) for name in names)
