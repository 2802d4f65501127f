"""One person's name as hands write it: the spellings that the loader takes for the same, "Surname, Given", names of
files; and what only looks like it.
"""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from rapidfuzz import fuzz

from ingest.reading.headings import plain

SHORT = 4  # letters from which on capitals are overlooked: "JR" is not "jr", but "mary jones" is "Mary Jones"
LONG = 6  # letters from which on no byte of the folder may hold the name
ALIKE = 80.0  # of 100, rapidfuzz's ratio of two folded words, from which on a person is asked
_BETWEEN = r"(?:[\s_\-\u00ad\u2010-\u2015]|&nbsp;|&#160;|\\u00a0)"  # what stands between the parts of a name
_APOSTROPHES = "'\u2019\u02bc\u2018`"


@dataclass(frozen=True)
class Names:
    """Everything that means one person, and the code that comes in its place."""

    terms: tuple[str, ...]
    code: str

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        """Group 1 stands between surname and given name where they are turned round."""
        turned = [
            f"{_word(last)}(?:(\\s*,\\s*){_BETWEEN}*|{_BETWEEN}+){_word(first)}"
            for first, last in map(_halves, self.terms)
            if first
        ]
        exact = [_spelled(term) for term in self.terms if len(term) < SHORT]
        loose = [_spelled(term) for term in self.terms if len(term) >= SHORT]
        parts = [f"(?i:{'|'.join(loose)})"] if loose else []
        either = [f"(?i:{one})" for one in turned]
        return re.compile(rf"(?<![\w-])(?:{'|'.join([*either, *parts, *exact])})(?![\w-])")

    def out(self, text: str) -> str:
        """A cell or a text without the name, as whole words; 'JR-1001' is another word than 'JR'."""
        return self._pattern.sub(self.code, text)

    def out_of_lines(self, text: str) -> str:
        """Lines of a file without the name; where commas part cells, a surname and a given name in two cells stay two
        cells.
        """
        if not _parted_by_commas(text):
            return self.out(text)

        def in_place(found: re.Match[str]) -> str:
            between = next((group for group in found.groups() if group), "")
            line = text[text.rfind("\n", 0, found.start()) + 1 : found.start()]
            return f"{self.code}{between}{self.code}" if between and line.count('"') % 2 == 0 else self.code

        return self._pattern.sub(in_place, text)

    @cached_property
    def _in_names(self) -> re.Pattern[str]:
        spelled = [rf"{_BETWEEN}*\.?".join(map(_word, _parts(term))) for term in self.terms]
        turned = [rf"{_word(last)}[\s_.,\-]*{_word(first)}" for first, last in map(_halves, self.terms) if first]
        return re.compile(rf"(?<![^\W_])(?:{'|'.join([*turned, *spelled])})(?![^\W_])", re.IGNORECASE)

    def out_of_name(self, name: str) -> str:
        """The name of a file without the name of the person: 'mary_quill.csv' is Mary Quill."""
        return self._in_names.sub(self.code, name)

    def means(self, text: str) -> bool:
        """Does a word of a log mean this person, as the loader compares words?"""
        return bool(text) and (
            plain(text) in {plain(term) for term in self.terms} or self._pattern.fullmatch(text.strip()) is not None
        )

    @cached_property
    def raw(self) -> re.Pattern[bytes] | None:
        """Finds the long spellings in bytes of any encoding; None where every spelling is short."""
        spellings = {
            unicodedata.normalize(form, term)
            for term in self.terms
            if sum(map(str.isalpha, term)) >= LONG
            for form in ("NFC", "NFD")
        }
        coded = {
            spelling.encode(codec, "ignore")
            for spelling in spellings
            for codec in ("utf-8", "cp1252", "utf-16-le", "utf-16-be")
        }
        longest_first = b"|".join(re.escape(one) for one in sorted(coded - {b""}, key=len, reverse=True))
        whole = rb"(?<![A-Za-z0-9_-])(?:" + longest_first + rb")(?![A-Za-z0-9_-])"
        return re.compile(whole, re.IGNORECASE) if coded else None

    def alike(self, words: Iterable[str]) -> list[str]:
        """The words that may be this person too: near in spelling, or a part of the name by itself. A person
        decides.
        """
        mine = [plain(term) for term in self.terms if len(term) >= SHORT]
        own = {plain(part) for term in self.terms for part in _parts(term) if len(part) >= SHORT}
        found = []
        for word in dict.fromkeys(words):
            told = plain(word)
            if len(told) < SHORT or self.means(word) or told == plain(self.code):
                continue
            near = any(fuzz.ratio(told, each) >= ALIKE or fuzz.token_sort_ratio(told, each) >= ALIKE for each in mine)
            if near or own & set(re.split(r"[^\w]+", told)):
                found.append(word)
        return found


def _parts(term: str) -> list[str]:
    return [part for part in re.split(rf"{_BETWEEN}+", unicodedata.normalize("NFC", term.strip())) if part]


def _halves(term: str) -> tuple[str, str]:
    """Given name and surname of a term of several words; ('', '') of any other."""
    parts = _parts(term)
    return (parts[0], parts[-1]) if len(parts) == 2 and "," not in term and min(map(len, parts)) > 1 else ("", "")


def _spelled(term: str) -> str:
    return f"{_BETWEEN}+".join(map(_word, _parts(term)))


def _word(part: str) -> str:
    """One word in whatever form its letters come: accents of their own, as an escape, an entity; any apostrophe."""
    return "".join(map(_letter, unicodedata.normalize("NFC", part)))


def _letter(letter: str) -> str:
    if letter in _APOSTROPHES:
        return f"(?:[{_APOSTROPHES}]|&#39;|&apos;)"
    if letter.isascii():
        return re.escape(letter)
    forms = {
        letter,
        unicodedata.normalize("NFD", letter),
        unicodedata.normalize("NFKC", letter),
        letter.casefold(),
        letter.upper(),
    }
    forms |= {unicodedata.normalize("NFD", form) for form in forms}
    number = ord(letter)
    escapes = [rf"(?i:\\u{number:04x})", f"&#{number};", f"(?i:&#x0*{number:x};)"]
    written = [re.escape(form) for form in sorted(forms, key=len, reverse=True)]
    return f"(?:{'|'.join([*written, *escapes])})"


def _parted_by_commas(text: str) -> bool:
    first = next((line for line in text.splitlines() if line.strip()), "")
    return first.count(",") > max(first.count(";"), first.count("\t"))


def spellings(known: Names, words: Sequence[str]) -> Names:
    """The same person with the words of logs added that the loader takes for one of the terms."""
    more = [word for word in words if word not in known.terms and known.means(word)]
    return Names(tuple(sorted({*known.terms, *more}, key=len, reverse=True)), known.code)
