"""Which stage each group of columns is of, where the sheet says it over them in words that the trade does not know."""

from collections.abc import Mapping
from typing import Any

from ingest.beginning.asking import LEAVE, Asker
from ingest.beginning.starting_values import STAGES
from ingest.beginning.stations import unknown_stations
from ingest.beginning.survey import Survey

STATION = "station "  # begins the key of such a question


def ask_stations(seen: Survey, asker: Asker) -> None:
    """Ask of each group once."""
    if seen.said.shape not in ("", "instrument") or seen.column("stage") is not None:
        return
    for word in unknown_stations(seen.columns, seen.said.words.get("stage", {})):
        several = [one.heading for one in seen.columns if one.heading.casefold().startswith(f"{word.casefold()} ")]
        every = f"{seen.title}: of which stage are the columns under each of these?"
        text = f"{seen.title}: of which stage are the {len(several)} columns under {word!r}, such as {several[0]!r}?"
        options = (*(stage.key for stage in STAGES), LEAVE)
        asker.ask(f"{STATION}{word}", text, options, LEAVE, of=every, word=word)


def answered_stations(answers: Mapping[str, str]) -> list[dict[str, Any]]:
    """What answers say, as a [[log]] of every sheet: the stage of each word."""
    words = {
        key.removeprefix(STATION): answer
        for key, answer in answers.items()
        if key.startswith(STATION) and answer not in (LEAVE, "")
    }
    return [{"words": {"stage": words}}] if words else []
