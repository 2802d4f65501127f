"""The words of a shop: what a cell for a stage, model, outcome, tech, fault, gauge or supplier means, each distinct
text looked up once.
"""

import re
from collections.abc import Iterable, Iterator

import polars as pl

from ingest.reading.fields import FIELDS
from ingest.reading.headings import plain
from ingest.reading.spellings import short_name, spelled_alike
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.terms.questions import closest, quoted

OUTCOMES = ("pass", "fixed", "send back", "hold", "second", "reject", "pulled", "return", "open")
NOT_STAGES = ("supplier", "handling", "unknown")  # causes that are no bench stage
_REMARK = re.compile(r"(\s+[-–—]\s*|\s*[,;:(]\s*)")  # between an outcome and what somebody adds to it
WAY = re.compile(r"\s*(?:[:;,(/>→]|[-–—]+>?|\bto\b)\s*")  # between an outcome and where it went back to
LINKS = re.compile(  # a word between the two that belongs to neither; 'failed at nut' says where, not whereto
    r"to|an|ans|zu|zum|zur|nach|ins|auf|for|für|the|der|die|das|dem|den|à|a|au|al|la|le|naar|aan", re.I
)
_PIECES = re.compile(r"[^\s:;,()/>→–—-]+")
TWO_NAMES = re.compile(r"(\s*[/+&,]\s*)")


class Words:
    """Known words of each field: the log's own first, then keys, names and words of shop.toml."""

    def __init__(self, shop: Shop, log: Log) -> None:
        log = _with_sisters(shop, log)
        stages = _known(((stage.key, (stage.key, stage.name)) for stage in shop.stages), log.words.get("stage", {}))
        causes = stages | {word: word for word in NOT_STAGES}
        self.by_field: dict[str, dict[str, str]] = {
            "stage": stages,
            "sent_back_to": causes | _own(log, "sent_back_to"),
            "cause": causes | _own(log, "cause"),
            "model": _known(((m.key, (m.key, m.name, *m.words)) for m in shop.models), log.words.get("model", {})),
            "outcome": _known(
                ((outcome, (outcome, outcome.replace(" ", "-"))) for outcome in OUTCOMES), log.words.get("outcome", {})
            ),
            "tech": _known(((t.key, (t.key, t.name, *t.words)) for t in shop.techs), log.words.get("tech", {})),
            "fault": _known(((f.key, (f.key, *f.words)) for f in shop.faults), log.words.get("fault", {})),
            "gauge": _known(((g.key, (g.key, g.name, *g.words)) for g in shop.gauges), log.words.get("gauge", {})),
            "characteristic": _known(
                ((c.key, (c.key, c.name)) for c in shop.characteristics), log.words.get("characteristic", {})
            ),
        }
        self.by_field |= {field: _own(log, field) for field in log.words if field not in self.by_field}
        self.asks_techs, self.asks_faults, self.asks_gauges = bool(shop.techs), bool(shop.faults), bool(shop.gauges)

    def translate(self, field: str, texts: pl.Series) -> pl.Series:
        """Key of each text, row for row; '' stays '', a text that is not known becomes null."""
        known = self.by_field.get(field, {})
        distinct = texts.unique().to_list()
        meanings = {text: ("" if text == "" else known.get(plain(text))) for text in distinct}
        if field == "outcome":
            meanings |= {text: self.outcome_before(text) for text, meaning in meanings.items() if meaning is None}
        return swap(texts, meanings)

    def outcome_before(self, text: str) -> str | None:
        """The outcome of a cell that says more than it: 'OK - see note' is 'ok'. None where its first words are no
        outcome, or where the rest names another.
        """
        known = self.by_field["outcome"]
        head, sign, rest = (part.strip() for part in [*_REMARK.split(text, maxsplit=1), "", ""][:3])
        meant = known.get(plain(head)) if sign else None
        told = " ".join(["", *re.findall(r"\w+", plain(rest)), ""])
        others = {meaning for word, meaning in known.items() if f" {word.replace('-', ' ')} " in told} - {meant}
        if others:
            return None
        return meant or next((known[plain(head)] for head, _ in self._back(text)), None)

    def place_behind(self, text: str) -> str:
        """Where an outcome that means send back says that it went back to: 'back: nut' and 'redo nut' to the stage of
        `nut`; '' where nowhere. Before the place stands a word for send back, any single word, or a sign behind it.
        """
        parts = WAY.split(text.strip(" )."))
        if plain(text).replace("-", " ") in OUTCOMES:
            return ""
        places = self.by_field["sent_back_to"]
        if len(parts) > 1 and plain(parts[-1]) in places:
            return places[plain(parts[-1])]
        behind = [tail for _, tail in self._back(text)]
        behind += [tail for head, tail in divisions(text) if head.isalpha() and plain(tail) in places]
        return places[plain(behind[0])] if behind else ""

    def _back(self, text: str) -> list[tuple[str, str]]:
        """The ways to part a text into a word for send back and a place."""
        known, places = self.by_field["outcome"], self.by_field["sent_back_to"]
        return [
            (head, tail)
            for head, tail in divisions(text)
            if known.get(plain(head)) == "send back" and plain(tail) in places
        ]

    def or_as_typed(self, field: str, texts: pl.Series) -> tuple[pl.Series, list[str]]:
        """Key of each text where it is known, else the text as typed; and the texts that are not known.

        Two techs in one cell ('MB/AO') are looked up one by one and kept together as typed.
        """
        known = self.by_field.get(field, {})
        meanings: dict[str, str | None] = {}
        unknown: list[str] = []
        for text in texts.unique().sort().to_list():
            key = known.get(plain(text))
            if key is None and text and field == "tech":
                parts = TWO_NAMES.split(text)
                keys = [
                    known.get(plain(part), part.strip()) if place % 2 == 0 else part for place, part in enumerate(parts)
                ]
                unknown += [part.strip() for part in parts[::2] if part.strip() and plain(part) not in known]
                key = "".join(keys)
            elif key is None and text:
                unknown.append(text)
            meanings[text] = text if key is None else key
        return swap(texts, meanings), list(dict.fromkeys(unknown))

    def nearest(self, field: str, text: str) -> str:
        """The key whose words come nearest to a text, '' where none comes near; of models only a spelling of theirs."""
        known = self.by_field.get(field, {})
        near = [word for word in known if field != "model" or spelled_alike(text, word)]
        whole = {key for word, key in known.items() if field == "tech" and short_name(text, word)}
        if len(whole) == 1:
            return whole.pop()
        return known.get(closest(plain(text), near), "")

    def ask(self, field: str, text: str, near: str | None = None) -> str:
        """One question about an unlisted tech, fault or gauge, with the line to paste into shop.toml. near : the key it
        may be a slip of, '' for none; None: the nearest.
        """
        near = self.nearest(field, text) if near is None else near
        if near:
            return (
                f"{field} {text!r} is not listed; kept as typed. If it is {near!r}, add {quoted(text)} to its "
                f"words: words = [{quoted(text)}]"
            )
        return f"{field} {text!r} is not listed; kept as typed. To list it: [[{field}]] key = {quoted(text)}"

    def wanted(self, field: str, text: str) -> str:
        """What a cell of a listed field may hold, with the line to paste where a near word is meant."""
        near = self.nearest(field, text)
        keys = ", ".join(dict.fromkeys(self.by_field.get(field, {}).values()))
        if field == "model" and not near and len(text) < 60:
            return (
                f'a [[model]] of its own in shop.toml where it is a new one (key = {quoted(text)}, family = "..."), '
                f"else one of {keys}"
            )
        hint = (
            f"; if {near!r} is meant: words = {{ {field} = {{ {quoted(text)} = {quoted(near)} }} }}"
            if near and len(text) < 60
            else ""
        )
        return f"one of {keys}{hint}"


def divisions(text: str) -> list[tuple[str, str]]:
    """The ways to part a text of several words in two, the longest end first; words that link the two may fall away:
    'back to nut' is 'back to' or 'back' and 'nut'.
    """
    found = list(_PIECES.finditer(text.strip(" .")))
    out = []
    for at in range(1, len(found)):
        if LINKS.fullmatch(found[at][0]):
            continue
        tail = text.strip(" .")[found[at].start() : found[-1].end()]
        for end in range(at - 1, -1, -1):
            out.append((text.strip(" .")[found[0].start() : found[end].end()], tail))
            if not LINKS.fullmatch(found[end][0]):
                break
    return out


def by_field(said: Iterable[tuple[str, str, str]]) -> dict[str, dict[str, str]]:
    """Words that people have explained, as a [[log]] has them."""
    more: dict[str, dict[str, str]] = {}
    for field, word, means in said:
        more.setdefault(field, {})[word] = means
    return more


def with_words(shop: Shop, said: Iterable[tuple[str, str, str]]) -> Shop:
    """The shop with words that people have explained since (field, word, what it means), known in every sheet."""
    more = by_field(said)
    if not more:
        return shop
    logs = shop.logs or (Log(),)

    def of(log: Log) -> Log:
        return log.model_copy(update={"words": log.words | {f: log.words.get(f, {}) | more[f] for f in more}})

    return shop.model_copy(update={"logs": tuple(of(log) for log in logs)})


def swap(texts: pl.Series, meanings: dict[str, str | None]) -> pl.Series:
    """Every text by its meaning, row for row."""
    if all(text == meaning for text, meaning in meanings.items()):
        return texts
    table = pl.DataFrame(
        {"text": list(meanings), "meaning": list(meanings.values())}, schema={"text": pl.String, "meaning": pl.String}
    )
    return (
        texts.rename("text")
        .to_frame()
        .join(table, on="text", how="left", maintain_order="left")["meaning"]
        .rename(texts.name)
    )


def _known(entries: Iterable[tuple[str, tuple[str, ...]]], own: dict[str, str]) -> dict[str, str]:
    known: dict[str, str] = {}
    for key, words in entries:
        for word in words:
            if word:
                known.setdefault(plain(word), key)
    keys = {plain(key): key for key in known.values()}
    return known | {plain(word): keys.get(plain(key), known.get(plain(key), key)) for word, key in own.items()}


def _with_sisters(shop: Shop, log: Log) -> Log:
    """The [[log]] with the words that others of the shop map under a like heading, where it says nothing of them."""
    words: dict[str, dict[str, str]] = {}
    others = [other for other in shop.logs if other is not log]
    listed = {plain(word) for word in _listed(shop)} if others else set()
    for name in dict.fromkeys(name for other in others for name in other.words):
        mine = _headings_of(log, name)
        alike = agreed(_own(other, name) for other in others if mine & _headings_of(other, name))
        own = _own(log, name)
        more = {word: key for word, key in alike.items() if word not in own and word not in listed}
        words[name] = more | log.words.get(name, {})
    return log.model_copy(update={"words": log.words | words}) if words else log


def _listed(shop: Shop) -> Iterator[str]:
    """Words that shop.toml itself gives a meaning: only a sheet's own [[log]] may say otherwise."""
    yield from OUTCOMES
    for stage in shop.stages:
        yield from (stage.key, stage.name)
    for kind in (shop.models, shop.techs, shop.gauges):
        for entry in kind:
            yield from (entry.key, entry.name, *entry.words)
    for fault in shop.faults:
        yield from (fault.key, *fault.words)


def _headings_of(log: Log, name: str) -> set[str]:
    """The headings under which a [[log]] has the words of a field; where it says none those that mean it anyway."""
    fields = ((heading, plain(target.partition("@")[0]).replace(" ", "_")) for heading, target in log.headings.items())
    mapped = {plain(heading) for heading, told in fields if told == name}
    return mapped or {plain(word) for word in (name, *FIELDS.get(name, ()))}


def agreed(each: Iterable[dict[str, str]]) -> dict[str, str]:
    """Words with what they mean, without those of which two say different things."""
    meant: dict[str, set[str]] = {}
    for words in each:
        for word, key in words.items():
            meant.setdefault(word, set()).add(key)
    return {word: keys.pop() for word, keys in meant.items() if len(keys) == 1}


def _own(log: Log, field: str) -> dict[str, str]:
    return {plain(word): key for word, key in log.words.get(field, {}).items()}
