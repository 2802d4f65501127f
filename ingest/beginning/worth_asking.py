"""What a sheet seems to lack: a column that may be the model or the hands is asked about, and what no column tells is
said.
"""

from collections.abc import Sequence
from dataclasses import replace

from ingest.beginning.first_shop import LogDraft
from ingest.beginning.guesses import SHORT_NAMES, Guess
from ingest.beginning.profiles import Profile
from ingest.beginning.results_as_rows import places_behind
from ingest.beginning.survey import ColumnSeen, Survey

NEARLY_ALL = 0.9  # of the rows hold a word
MOST = 40  # different words
AGAIN = 5  # rows a word, on the average


def with_asked(seen: Survey) -> Survey:
    """The sheet with the one column of a few words that nothing else is known of asked about: as the model where no
    column is, else as who did the work.
    """
    missing = [field for field in ("model", "tech") if seen.column(field) is None and not _asked(seen, field)]
    if seen.shape not in ("visit", "instrument") or not missing or "tech" in seen.said.rest:
        return seen
    fit = [place for place, one in enumerate(seen.columns) if _open(one.guess) and _few_words(one.profile)]
    for field in missing:
        mine = [place for place in fit if _one_each(seen, seen.columns[place]) == (field == "model")] or (
            list(fit) if seen.rows_a_serial() <= 1 else []
        )
        if len(mine) == 1:
            fit.remove(mine[0])
            seen.columns = _with(seen.columns, mine[0], field)
    return seen


def not_told(logs: Sequence[LogDraft]) -> list[str]:
    """What no column of any sheet tells though pages hang on it, a line each: hands, and where work went back to."""
    seen = [log.survey for log in logs if log.survey.shape != "study"]
    lines = []
    if seen and not any(one.column("tech") or one.said.rest.get("tech") for one in seen):
        lines.append("People are not read: no column is taken for who did the work")
    back = any("send back" in log.words.get("outcome", {}).values() for log in logs)
    if back and not any(one.words("sent_back_to") or _behind(one) for one in seen):
        lines.append("Where instruments went back to is not read: no column is taken for it")
    return lines


def _behind(seen: Survey) -> list[str]:
    """The places that stand behind a send-back in cells of outcomes, as in 'FAIL -> Nut'."""
    return places_behind(list(seen.words("outcome")), seen.said.words.get("outcome", {}))


def _asked(seen: Survey, field: str) -> bool:
    return any(column.guess.field == field and not _open(column.guess) for column in seen.unsure())


def _open(guess: Guess) -> bool:
    return not guess.field or guess.why == SHORT_NAMES


def _few_words(look: Profile) -> bool:
    text = look.numbers < 0.1 and look.dates + look.clocks < 0.1 and look.length <= 24
    return text and look.filled > NEARLY_ALL * look.rows and 2 <= look.distinct <= min(MOST, look.filled / AGAIN)


def _one_each(seen: Survey, column: ColumnSeen) -> bool:
    """Has nearly every instrument of several rows one word only?"""
    serial = seen.column("serial")
    held: dict[str, list[str]] = {}
    for who, what in zip(serial.cells if serial else (), column.cells, strict=False):
        if who.strip() and what.strip():
            held.setdefault(who.strip(), []).append(what.strip())
    several = [set(words) for words in held.values() if len(words) > 1]
    return bool(several) and sum(len(words) == 1 for words in several) >= 0.95 * len(several)


def _with(columns: Sequence[ColumnSeen], at: int, field: str) -> list[ColumnSeen]:
    told = {"model": "one of few words for each instrument", "tech": "few words, perhaps names"}[field]
    guess = Guess(columns[at].heading, field, level="unsure", why=f"its cells: {told}")
    return [replace(one, guess=guess) if place == at else one for place, one in enumerate(columns)]
