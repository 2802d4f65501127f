"""Rows of a sheet with a row a measurement that say a result, a fault or a place of the visit: which names they go by,
what stands in them, and where an outcome such as 'back: nut' says that it went back to.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence

from ingest.beginning.answers import LogSaid, meaning_of
from ingest.beginning.guesses import guess_outcome
from ingest.beginning.sent_back import head_and_place
from ingest.reading.headings import Headings, plain
from ingest.reading.said_of_visits import OF_A_VISIT
from ingest.reading.words import OUTCOMES, WAY, divisions
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log


def results(names: Sequence[str], values: Sequence[str], said: LogSaid) -> list[tuple[str, str, str]]:
    """Name, field of the visit and text of each row that measures nothing. names, values : the cells of a row each."""
    fields = named(names, values, said)
    rows = zip(names, values, strict=True)
    return [(name.strip(), fields[name.strip()], text.strip()) for name, text in rows if name.strip() in fields]


def named(names: Sequence[str], values: Sequence[str], said: LogSaid) -> dict[str, str]:
    """The names that stand for a field of the visit: as somebody said, as their words say, or for the outcome where all
    their values are words of outcomes that somebody gave. names, values : the cells of a row each.
    """
    own = {plain(word): target for word, target in said.words.get("what", {}).items()}
    given = {plain(word) for word in said.words.get("outcome", {})}
    headings = Headings(Shop.model_construct(stages=(), characteristics=(), models=()), Log(shape="measurement"))
    out: dict[str, str] = {}
    for name in dict.fromkeys(each.strip() for each in names):
        target = own.get(plain(name), "")
        field = meaning_of(target).field if target else headings.read(name).field
        if field in OF_A_VISIT:
            out[name] = field
        elif given and name and not target:
            held = Counter(plain(v) for n, v in zip(names, values, strict=True) if n.strip() == name and v.strip())
            if held.keys() <= given | set(OUTCOMES) and held.keys() & given:
                out[name] = "outcome"
    return out


def head_of(word: str) -> str:
    """What stands before the place in a cell of an outcome: of 'send back to nut' the first two words."""
    return WAY.split(word, maxsplit=1)[0]


def places_behind(words: Sequence[str], said: Mapping[str, str], places: Collection[str] = ()) -> list[str]:
    """The words that stand behind a send-back in cells of outcomes: of 'back: nut' and 'redo nut' `nut`, and of 'redo
    frets' beside it `frets`. places : words for stages that are known beside the trade's, in plain letters.
    """
    meant = {plain(word): outcome for word, outcome in said.items()}
    heads = {word for word, outcome in meant.items() if outcome == "send back"}
    words = [word for word in words if plain(word).replace("-", " ") not in OUTCOMES]
    found: dict[str, tuple[str, str]] = {}
    for word in words:
        single = {plain(head) for head, _ in divisions(word) if head.isalpha() and plain(word) in heads}
        found[word] = head_and_place(word, heads | single, places)
    before = {plain(head) for head, _ in found.values() if head}
    tails = [found[word][1] or _unknown_place(word, heads, before, meant) for word in words]
    return list(dict.fromkeys(tail for tail in tails if tail))


def _unknown_place(word: str, heads: set[str], before: set[str], meant: Mapping[str, str]) -> str:
    """The single word behind a sign, or behind what stands before a place elsewhere; '' where none does."""
    head = head_of(word)
    told = meant.get(plain(word)) or guess_outcome(head)
    tails = WAY.split(word.strip(" )."))[1:][-1:] if told == "send back" or plain(head) in heads else []
    tails += [tail for head, tail in divisions(word) if plain(head) in before]
    return next((tail for tail in tails if tail.isalpha()), "")
