"""Cells of outcomes that say where an instrument went back to: 'redo nut', 'back to nut', 'zurück an Sattel'."""

from collections.abc import Collection

from ingest.beginning.stage_words import guess_stage
from ingest.beginning.trade_words import DOUBTFUL_OUTCOMES, OUTCOME_WORDS
from ingest.reading.headings import plain
from ingest.reading.words import OUTCOMES, divisions

_BACK = {plain(word) for word in OUTCOME_WORDS["send back"]} - (DOUBTFUL_OUTCOMES - {"back"})


def head_and_place(word: str, heads: Collection[str] = (), places: Collection[str] = ()) -> tuple[str, str]:
    """What an outcome's cell says before the place it went back to, and the place; ('', '') where it names none.

    heads, places : words for send back and for stages that are known beside the trade's, in plain letters.
    """
    if plain(word).replace("-", " ") in OUTCOMES:
        return "", ""
    for head, tail in divisions(word):
        if plain(head) in _BACK | set(heads) and (plain(tail) in places or guess_stage(tail)):
            return head, tail
    return "", ""
