"""[people] publish: how people stand in what leaves for other shops to read.

`none`: nobody at all. `codes`, unless the shop says otherwise: each person as a code made with a secret that stays in
the shop's folder: the same from week to week, and nobody elsewhere can tell whose it is, the shop's own codes being
no better known. `names`: as pages show them, which wants [people] show = "names" too. What somebody wrote by hand
(notes, cells as typed, columns nobody has named) never leaves.
"""

import re
from collections.abc import Callable, Iterable
from functools import cached_property
from hashlib import blake2b

import polars as pl

from dashboard.desk.people_shown import NOBODY
from ingest.reading.words import TWO_NAMES
from ingest.store.snapshot import Snapshot

PERSON = "person-"


class Leaving:
    """One shop's people as others may see them; `gone`: those whose time to be shown is over."""

    def __init__(self, bare: Snapshot, secret: str, gone: Iterable[str] = ()) -> None:
        self.bare, self.publish = bare, bare.shop.people.publish
        self._secret, self._gone = bytes.fromhex(secret), set(gone)

    @property
    def single(self) -> bool:
        """May figures of single people leave?"""
        return self.publish != "none"

    def mark(self, word: str) -> str:
        """A mark for a word, which says nothing of it."""
        return blake2b(word.encode(), digest_size=8, key=self._secret).hexdigest()

    def code(self, word: str) -> str:
        """Who a word means, as others may see them; '' where they may not."""
        if not word or self.publish == "none" or word in self._gone:
            return ""
        if self.publish == "names":
            return word
        return PERSON + self.mark("tech " + " ".join(word.split()).casefold())[:10]

    def cell(self, cell: str) -> str:
        """A cell of techs; of two names in one cell each by itself."""
        parts = TWO_NAMES.split(cell)
        return "".join(self.code(part) if place % 2 == 0 else part for place, part in enumerate(parts)).strip("/+&, ")

    def coded(self, techs: pl.Series) -> pl.Series:
        """A column of techs."""
        return _by_word(techs, self.cell)

    def put(self, texts: pl.Series) -> pl.Series:
        """A column of words of the trade without the names that may stand among them."""
        return texts if self.publish == "names" else _by_word(texts, self._without)

    def _without(self, said: str) -> str:
        for _ in range(2):  # two names may share the sign between them
            said = self._pattern.sub(lambda found: found[1] + self._instead(found[2]), said) if self.words else said
        return said

    def _instead(self, word: str) -> str:
        return self.code(self.words[word.casefold()]) or NOBODY

    @cached_property
    def words(self) -> dict[str, str]:
        """Every word of over one letter that means a person, in small letters -> the person."""
        known = {tech.key: tech.key for tech in self.bare.shop.techs}
        known |= {word: tech.key for tech in self.bare.shop.techs for word in (tech.name, *tech.words)}
        known |= dict(self.bare.readers["words"](()).filter(field="tech").select("word", "means").rows())
        signed = [self.bare.readers[name](("tech",))["tech"].unique() for name in ("visits", "gauge_trials")]
        for cell in pl.concat(signed).drop_nulls().to_list():
            known |= {part: part for part in TWO_NAMES.split(cell)[::2] if part not in known}
        return {word.strip().casefold(): person for word, person in known.items() if len(word.strip()) > 1}

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        longest = sorted(map(re.escape, self.words), key=len, reverse=True)
        return re.compile(rf"(?i)(^|[^\w])({'|'.join(longest)})(?=$|[^\w])")


def _by_word(texts: pl.Series, put: Callable[[str], str]) -> pl.Series:
    instead = {each: put(each) for each in texts.unique().drop_nulls().to_list()}
    return texts if all(a == b for a, b in instead.items()) else texts.replace(instead)
