"""Words of the trade and what each means in a heading or cell. Those of the west stand in trade_words.toml, those of
the north, the east and the south in files of their own.
"""

import tomllib
from pathlib import Path

HERE = Path(__file__).parent
WORDS = tomllib.loads((HERE / "trade_words.toml").read_text(encoding="utf-8"))
for _file in ("trade_words_north.toml", "trade_words_east.toml", "trade_words_south.toml"):
    for _kind, _held in tomllib.loads((HERE / _file).read_text(encoding="utf-8")).items():
        for _name, _words in _held.items():
            WORDS[_kind][_name] = [*WORDS[_kind].get(_name, []), *_words] if isinstance(_words, list) else _words

FIELD_PHRASES: dict[str, tuple[str, ...]] = {name: tuple(words) for name, words in WORDS["field"].items()}
MEASURE_PHRASES: dict[str, tuple[str, ...]] = {key: tuple(words) for key, words in WORDS["measure"].items()}
POSITION_PHRASES: dict[str, tuple[str, ...]] = {place: tuple(words) for place, words in WORDS["position"].items()}
MOMENT_PHRASES: dict[str, tuple[str, ...]] = {moment: tuple(words) for moment, words in WORDS["moment"].items()}
STAGE_PHRASES: dict[str, tuple[str, ...]] = {stage: tuple(words) for stage, words in WORDS["stage"].items()}
OUTCOME_WORDS: dict[str, tuple[str, ...]] = {outcome: tuple(words) for outcome, words in WORDS["outcome"].items()}
NOISE = frozenset(WORDS["other"]["noise"])  # words that say nothing beside a measurement
DOUBTFUL_OUTCOMES = frozenset(WORDS["other"]["doubtful_outcomes"])  # mean it only beside their counterpart
HANDS = frozenset(WORDS["other"]["hands"])  # which hand an instrument is made for, in cells
TARGETS = frozenset(WORDS["other"]["targets"])  # beside a measurement: what it should be, not what it was
UNIT_WORDS: dict[str, str] = WORDS["unit"]  # word of a heading -> unit as units.unit_of reads it
