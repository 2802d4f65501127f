"""Benches to which instruments come only when something sends them back: what is done there is a repair."""

from collections import defaultdict

from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.guesses import guess_outcome
from ingest.beginning.where_set import stage_named
from ingest.reading.headings import plain

SENT = "send back"
LEAST = 5  # instruments at a bench from which on its rows say so
ONLY = 0.95  # of them came to it from a send-back


def mark_repairs(draft: Draft, measured: set[str]) -> None:
    """Give each bench that nearly all of its instruments reached right behind a send-back the role of a repair, as a
    guess; not where somebody said its role, nor where something is measured.

    measured : the stages at which a sheet holds a reading.
    """
    counts: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    for log in draft.logs:
        for stage, (asked, every) in _came(log, draft).items():
            counts[stage][0] += asked
            counts[stage][1] += every
    for stage, (asked, every) in counts.items():
        entry = draft.stages.get(stage, {})
        open_role = entry.get("role", "") == "bench" and f"stage {stage} role" not in draft.said
        if open_role and stage not in measured and asked >= LEAST and asked >= ONLY * every:
            entry["role"] = "repair"
            draft.guesses[f"stage {stage}"] = f"{asked} of {every} instruments came to it only when they were sent back"


def _came(log: LogDraft, draft: Draft) -> dict[str, tuple[int, int]]:
    """Of each stage of a sheet: instruments whose first row there follows a row that sent them back, and all."""
    serial, where = log.survey.column("serial"), log.survey.column("stage")
    outcome, back_to = log.survey.column("outcome"), log.survey.column("sent_back_to")
    if serial is None or where is None or (outcome is None and back_to is None):
        return {}
    none = ("",) * len(where.cells)
    ends = zip(outcome.cells if outcome else none, back_to.cells if back_to else none, strict=True)
    stages = {word: stage_named(draft, log, word) for word in set(where.cells)}
    said = {plain(word): key for word, key in log.words.get("outcome", {}).items()}
    before: dict[str, bool] = {}  # of each instrument: did its last row send it back
    seen: set[tuple[str, str]] = set()
    found: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    for who, cell, (ended, place) in zip(serial.cells, where.cells, ends, strict=True):
        instrument, stage = who.strip(), stages[cell]
        if stage and (instrument, stage) not in seen:
            seen.add((instrument, stage))
            found[stage][0] += before.get(instrument, False)
            found[stage][1] += 1
        before[instrument] = (said.get(plain(ended)) or guess_outcome(ended.strip())) == SENT or bool(place.strip())
    return {stage: (asked, every) for stage, (asked, every) in found.items()}
