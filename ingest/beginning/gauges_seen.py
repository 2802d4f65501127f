"""The gauges of a first shop: those that a column names, and for a measurement whose readings name none the step of its
cells.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from ingest.beginning.first_shop import Draft, Entry, LogDraft
from ingest.beginning.steps_seen import Step, measured_by_name, step_of, steps_seen, unit_of_column
from ingest.reading.headings import plain
from ingest.reading.notation import no_reading
from ingest.shopfiles.shop import Shop
from ingest.terms.units import DECIMALS

LEAST = 5  # readings that name a gauge: what fewer name may be a slip, and is asked once
SHARE = 0.1  # of the readings that name a gauge, for a measurement to be its own
WIDER = 1 + 1e-6  # than the steps declared
MOST = 60  # words; where a column holds more it names no gauges


@dataclass
class _Named:
    """What a gauge's word stands beside."""

    spelled: Counter[str] = field(default_factory=Counter)
    cells: dict[tuple[str, str], list[str]] = field(default_factory=lambda: defaultdict(list))  # by measurement, unit

    def shares(self) -> Counter[str]:
        """How many readings of each measurement."""
        found: Counter[str] = Counter()
        for (key, _), cells in self.cells.items():
            found[key] += len(cells)
        return found


def coarser(draft: Draft, shop: Shop) -> Iterator[Entry]:
    """A [[gauge]] for what the shop declares gauges for already and a kind of sheet it has not met reads in wider steps
    than any of them; its readings name none.
    """
    new = replace(draft, logs=[log for log in draft.logs if log.survey.known is None and not _names_gauges(log)])
    for key, step in steps_seen(new).items():
        known = [gauge.step for gauge in shop.gauges if key in gauge.measures and gauge.step]
        if known and step.canonical > max(known) * WIDER:
            name = str(draft.measures[key].get("name", key))
            word = f"{key} gauge {step.resolution}"
            draft.guesses[f"gauge {word}"] = (
                f"the steps of {step.cells:,} readings, wider than declared so far: all that name no gauge are held so"
            )
            told = f"coarser gauge for {name[:1].lower()}{name[1:]}"
            yield {"key": word, "name": told, "measures": [key], "resolution": step.resolution}


def _names_gauges(log: LogDraft) -> bool:
    return any(column.guess.field == "gauge" and column.guess.taken for column in log.survey.columns)


def gauges(draft: Draft, steps: dict[str, Step]) -> list[Entry]:
    """A [[gauge]] for each word of a gauge column with what it measures, and one for each measurement whose step is
    seen and that no other gauge measures.
    """
    declared = draft.rest.get("gauge", [])
    found = list(_of_words(draft, steps, declared))
    told = [str(key) for entry in declared for key in entry.get("measures", ())]
    told += [key for entry in found if "resolution" in entry for key in entry["measures"]]
    for key, step in steps.items():
        if key not in told:
            name = str(draft.measures[key].get("name", key))
            entry = {"key": f"{key} gauge", "name": f"gauge for {name[:1].lower()}{name[1:]}", "measures": [key]}
            found.append({**entry, "resolution": step.resolution})
            draft.guesses[f"gauge {key} gauge"] = f"the steps of {step.cells:,} readings"
    return found


def _of_words(draft: Draft, steps: dict[str, Step], declared: list[Entry]) -> Iterator[Entry]:
    named: dict[str, _Named] = defaultdict(_Named)
    for log in draft.logs:
        mapped = {plain(word) for word in log.words.get("gauge", {})}
        for word, key, unit, cell in _readings(log, draft):
            if plain(word) not in mapped:
                named[plain(word)].spelled[word] += 1
                named[plain(word)].cells[key, unit].append(cell)
    known = {plain(str(word)) for entry in declared for word in (entry["key"], *entry.get("words", ()))}
    for text, one in named.items() if len(named) <= MOST else ():
        count = sum(one.shares().values())
        if text in known or count < LEAST:
            continue
        word, *others = (each for each, _ in one.spelled.most_common())
        measures = [key for key in draft.measures if one.shares()[key] >= SHARE * count]
        entry: Entry = {"key": word, "measures": measures}
        seen = [step for key in measures if (step := _own_step(one, key, draft) or steps.get(key))]
        alike = len({(step.quantity, round(step.canonical, DECIMALS)) for step in seen}) == 1  # 1 thou is 0.001 in
        if alike and all(key in steps for key in measures):
            entry["resolution"] = seen[0].resolution
        draft.guesses[f"gauge {word}"] = f"named beside {count:,} readings, its step the steps of these"
        yield entry | ({"words": others} if others else {})


def _own_step(one: _Named, key: str, draft: Draft) -> Step | None:
    """The step of what a gauge read of a measurement, where all of it stands in one unit and tells one."""
    units = [unit for measure, unit in one.cells if measure == key]
    quantity = str(draft.measures[key].get("quantity", ""))
    return step_of(one.cells[key, units[0]], units[0], quantity) if len(units) == 1 else None


def _readings(log: LogDraft, draft: Draft) -> Iterator[tuple[str, str, str, str]]:
    """word, measurement, unit and cell of every reading beside which a gauge is named."""
    seen = log.survey
    columns = [column for column in seen.columns if column.guess.field == "gauge" and column.guess.taken]
    for gauge in columns:
        words = [cell.strip() for cell in gauge.cells]
        for column in seen.measures():
            if gauge.guess.stage and gauge.guess.stage != column.guess.stage:
                continue
            key, unit = unit_of_column(column, log, draft)
            for word, cell in zip(words, column.cells, strict=True):
                if _filled(word) and _filled(cell):
                    yield word, key, unit, cell
        for place, key, unit, cell in measured_by_name(log, draft):
            if _filled(words[place]) and _filled(cell):
                yield words[place], key, unit, cell


def _filled(cell: str) -> bool:
    return bool(cell) and not no_reading(cell)
