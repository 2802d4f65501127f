"""Where each measurement of a first shop is set: its usual stage, the one bench there is, or where it is touched up."""

from collections.abc import Callable, Iterator, Sequence

from ingest.beginning.answers import meaning_of
from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.starting_values import StartingMeasure
from ingest.reading.headings import plain


def where_set(
    draft: Draft, key: str, item: StartingMeasure, usual: str, families: Sequence[str], here: Callable[[str], str]
) -> str | dict[str, str]:
    """The stage at which a measurement is set, by family where they differ; '' where the sheets do not tell.

    usual : this shop's key of its usual stage.  here : this shop's key of a stage of the trade, '' where no sheet tells
    of it.

    Where a trade knows another stage that sets it rather (relief is set at the rod, at pitch), the usual one stands
    only where the thing is read there: straightening without strings sets bow, and a reading at pitch is another.
    """
    read = read_at(draft, key)
    stage = here(item.rather_at) if item.rather_at else ""
    if not stage and not (item.rather_at and read and usual not in read):
        stage = here(usual)
    told = _by_family(item, stage, families, here)
    return told or here("setup") or touched_up(draft, key)  # a shop of one bench sets everything there


def read_at(draft: Draft, key: str) -> set[str]:
    """The stages of the draft at which sheets hold a value of a measurement."""
    return {stage for log in draft.logs for stage in _stages(draft, log, key)} & draft.stages.keys()


def _stages(draft: Draft, log: LogDraft, key: str) -> Iterator[str]:
    seen = log.survey
    stage, what = seen.column("stage"), seen.column("what")
    named = {word: stage_named(draft, log, word) for word in set(stage.cells)} if stage else {}
    at = [named[word] for word in stage.cells] if stage else [log.stage] * seen.rows
    for column in seen.measures():
        guess = column.guess
        if draft.key_of(guess.measure, said=bool(guess.said)) != key:
            continue
        if guess.stage:
            yield draft.stage_key(guess.stage)
        else:
            yield from {one for one, cell in zip(at, column.cells, strict=True) if cell.strip()}
    if what is not None:
        own = {plain(word): meaning_of(target).measure for word, target in log.words.get("what", {}).items()}
        meant = {word: own.get(plain(word)) or meaning_of(word).measure for word in set(what.cells)}
        yield from {one for one, word in zip(at, what.cells, strict=True) if meant[word] == key}


def stage_named(draft: Draft, log: LogDraft, word: str) -> str:
    """The stage that a cell names; the sheet's own where it names none."""
    words = log.words.get("stage", {})
    text = plain(word)
    if not text:
        return log.stage
    own = next((key for told, key in words.items() if plain(told) == text), "")
    by_name = {plain(name): key for key, entry in draft.stages.items() for name in (str(entry.get("name", "")), key)}
    return own or by_name.get(text, "")


def touched_up(draft: Draft, key: str) -> str:
    """The stage whose sheets have a column for what was left: what is set there is that; '' where none has, or
    several.
    """
    stages = set()
    for log in draft.logs:
        told: dict[str, set[str]] = {}
        for column in log.survey.measures():
            guess = column.guess
            if draft.key_of(guess.measure, said=bool(guess.said)) == key:
                told.setdefault(draft.stage_key(guess.stage) or log.stage, set()).add(guess.moment or "found")
        stages |= {stage for stage, moments in told.items() if "left" in moments and stage in draft.stages}
    return stages.pop() if len(stages) == 1 else ""


def _by_family(
    item: StartingMeasure, stage: str, families: Sequence[str], here: Callable[[str], str]
) -> str | dict[str, str]:
    """Where a measurement is set: one stage, or one a family where some have theirs elsewhere; '' = nowhere here."""
    apart = {family: here(at) for family in families for word, at in item.families_at if word in family and here(at)}
    if not apart:
        return stage
    if set(families) == set(apart) and len(set(apart.values())) == 1:
        return next(iter(apart.values()))
    return apart | ({"other": stage} if stage else {})
