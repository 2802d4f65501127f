"""Words of a column that are slips of the pen of another word in it: `Nutt` of `Nut`, `Rsoa` of `Rosa`."""

from collections.abc import Mapping

from rapidfuzz.distance import OSA

from ingest.reading.headings import plain
from ingest.reading.spellings import short_name

OFTEN = 10  # times as frequent at least is the word that was meant
LETTERS = 4  # of the longer word: of two shorter ones each may be a word of its own
LONG = 9  # letters from which on two may be wrong


def slips_of_words(counts: Mapping[str, int]) -> dict[str, str]:
    """Each word that was mistyped, and the word of the same column that was meant.

    counts : the words as typed and how often each stands there. A slip is one letter off (two swapped count as one; of
    nine letters two), ten times as rare at least, and differs in no figure: 'Bench 1' is no slip of 'Bench 2'. Of
    several the nearest word is meant, then the most frequent. A word that is a slip itself is nobody's meaning.
    """
    found: dict[str, str] = {}
    for word, count in sorted(counts.items(), key=lambda one: (-one[1], one[0])):
        near = [
            (apart, -counts[other], other)
            for other in counts
            if other not in found and counts[other] >= OFTEN * count and (apart := _apart(plain(word), plain(other)))
        ]
        if near:
            found[word] = min(near)[2]
    return found


def short_names(counts: Mapping[str, int]) -> dict[str, str]:
    """Each rare word that may be short for just one much commoner name, 'HB' for 'Hélène Bertin', and the name."""
    found: dict[str, str] = {}
    for word, count in counts.items():
        meant = [other for other in counts if counts[other] >= OFTEN * count and short_name(word, other)]
        if len(meant) == 1:
            found[word] = meant[0]
    return found


def _apart(word: str, other: str) -> int:
    """How many letters are off; 0 where it is no slip, or the same word."""
    longest = max(len(word), len(other))
    if longest < LETTERS or _figures(word) != _figures(other):
        return 0
    most = 2 if longest >= LONG else 1
    apart = int(OSA.distance(word, other, score_cutoff=most))
    return apart if apart <= most else 0


def _figures(word: str) -> str:
    return "".join(letter for letter in word if letter.isdigit())
