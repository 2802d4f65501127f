"""Where each measurement of a first shop is set: its usual stage, the one bench there is, or where it is touched up."""

from collections.abc import Callable, Iterator, Sequence

from ingest.beginning.answers import meaning_of
from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.starting_values import MEASURES, StartingMeasure
from ingest.reading.headings import plain
from ingest.terms.questions import listed

MEASURE = {item.key: item for item in MEASURES}


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
    stage = stage or here("setup")  # a shop of one bench sets everything there
    stage = stage or touched_up(draft, key)
    if not (stage or here(usual)) and (stage := _on_one_bench(draft, read)):
        draft.guesses[f"characteristic {key} set_at"] = (
            "its usual place is no stage here; where it is read on the bench"
        )
    return _by_family(item, stage, families, here)


def _on_one_bench(draft: Draft, read: set[str]) -> str:
    """The one bench at which a measurement is read; '' where it is read at none, or at several."""
    benches = [stage for stage in read if draft.stages[stage].get("role", "bench") == "bench"]
    return benches[0] if len(benches) == 1 else ""


def set_nowhere(draft: Draft) -> list[str]:
    """One line that asks where what is measured is set, of measurements that a trade sets at a bench and, as far as the
    sheets tell, nobody sets here; none in a shop without benches.
    """
    benches = [key for key, entry in draft.stages.items() if entry.get("role", "bench") == "bench"]
    families = set(draft.families())
    lacking = []
    for key, entry in draft.measures.items():
        item, at = MEASURE.get(draft.trade_measure(key)), entry.get("set_at", "")
        told = isinstance(at, str) or "other" in at or families <= at.keys()
        if item and item.set_at and not (at and told) and read_at(draft, key):
            but = f" (but for {listed(list(at))})" if at else ""
            name = str(entry.get("name", key))
            lacking.append(f"{name.lower() if name == item.name else name}{but}")
    if not benches or not lacking:
        return []
    are, ones = ("is", "its [[characteristic]]") if len(lacking) == 1 else ("are", "their [[characteristic]]s")
    return [
        f"At which bench {are} {listed(lacking)} set? The sheets do not tell; until `set_at` of {ones} says so, Bench "
        "and the causes of a move leave people out of it"
    ]


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
    return stage if {*apart.values()} == {stage} else apart | ({"other": stage} if stage else {})
