"""Words and codes of a stage column and the stage of the trade that each means."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from rapidfuzz import fuzz, process

from ingest.beginning.heading_sense import book, words_of
from ingest.beginning.starting_values import STAGES
from ingest.reading.headings import plain

_CODE = re.compile(r"^(?:[^\W\d]{1,3}[-_. ]?)?\d{1,4}[-_.:/ ]+(?=[^\W\d])", re.UNICODE)  # 'AP 30 ', '10-', 'ST010 '

_AS_A_BENCH = {"test": "play_test", "testing": "play_test", "receive": "receiving"}  # in a heading they may say else


def stage_of_word(word: str) -> str:
    """The trade's stage that a word, an abbreviation or a code with a word means, '' where none does for sure."""
    found = _AS_A_BENCH.get(plain(word), "") or guess_stage(word) or _abbreviated(word)
    if found:
        return found
    named = _CODE.sub("", word.strip())
    return (guess_stage(named) or _abbreviated(named) or stage_within(named)) if named != word.strip() else ""


def guess_stage(word: str) -> str:
    """The stage of the trade that a word means, '' where none comes near."""
    text = " ".join(words_of(word))
    if found := next((meaning for kind, meaning in book().get(text, []) if kind == "stage"), ""):
        return found
    phrases = {
        phrase: meaning
        for phrase, marks in book().items()
        for kind, meaning in marks
        if kind == "stage" and len(phrase) > 3
    }
    near = process.extractOne(text, list(phrases), scorer=fuzz.ratio, score_cutoff=85) if len(text) > 3 else None
    return phrases[str(near[0])] if near else ""


def stage_words(words: Iterable[str]) -> dict[str, str]:
    """Each word of a stage column with the stage it means: one of the trade's, else a key made of the word."""
    return {word: guess_stage(word) or re.sub(r"\W+", "_", plain(word)).strip("_") or "stage" for word in words}


def stage_within(text: str) -> str:
    """The stage whose words stand in the name of a tab or file, the longest; '' where none."""
    words = words_of(text)
    for length in range(min(4, len(words)), 0, -1):
        for at in range(len(words) - length + 1):
            phrase = " ".join(words[at : at + length])
            if found := next((meaning for kind, meaning in book().get(phrase, []) if kind == "stage"), ""):
                return found
    return guess_stage(text)


def likely_stages(words: Sequence[str], taken: Iterable[str]) -> dict[str, str]:
    """The stage that each of some unknown words probably means, to be asked about: the only one whose name stands in it
    ('nut filing'), where nothing else here means it.

    taken : the stages that other words mean.
    """
    named = {word: found.pop() for word in words if len(found := _named_in(word)) == 1}
    often = Counter([*named.values(), *taken])
    return {word: stage for word, stage in named.items() if often[stage] == 1}


def _named_in(word: str) -> set[str]:
    """Every stage of the trade that a single word of several names."""
    marks = [mark for part in words_of(word) for mark in book().get(part, [])]
    return {meaning for kind, meaning in marks if kind == "stage"}


def _abbreviated(word: str) -> str:
    """BRG is bridge: two to four letters that stand in this order in the first word of one stage only."""
    text = plain(word)
    if not re.fullmatch(r"[a-z]{2,4}", text):
        return ""
    found = {
        stage.key for stage in STAGES for name in stage.key.split("_")[:1] if name[0] == text[0] and _within(text, name)
    }
    return found.pop() if len(found) == 1 else ""


def _within(text: str, name: str) -> bool:
    rest = iter(name)
    return all(letter in rest for letter in text)


def stage_named(names: Sequence[str], words: Mapping[str, str]) -> str:
    """The stage in the name of a tab or else of a file, by the words that somebody said before those of the trade."""
    if whole := next((words[plain(text)] for text in names if plain(text) in words), ""):
        return whole
    for text in names:
        held = f" {' '.join(words_of(text.replace('_', ' ')))} "
        mine = [word for word in words if f" {' '.join(words_of(word))} " in held]
        if text and (found := words[max(mine, key=len)] if mine else stage_within(text)):
            return found
    return ""
