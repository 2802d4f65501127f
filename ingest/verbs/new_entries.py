"""Models and techs that the shop's lists lack: the family proposed for a new model, and entries put into shop.toml by
an answer and taken out again with it.
"""

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from ingest.reading.headings import plain
from ingest.reading.words import TWO_NAMES, Words
from ingest.shopfiles.shop import Shop, ShopProblem, checked_shop
from ingest.shopfiles.shop_parts import Log
from ingest.store.problems import StoreProblem
from ingest.store.writing import write_whole
from ingest.terms.questions import listed, quoted
from ingest.verbs.groups import NEW

LONG = 4  # letters of a word of a family by which a model's name tells it


@dataclass(frozen=True)
class Entry:
    """A [[model]] or [[tech]] to be."""

    field: str
    key: str
    family: str = ""

    @property
    def text(self) -> str:
        """As it stands in shop.toml."""
        family = f"family = {quoted(self.family)}\n" if self.field == "model" else ""
        return f"[[{self.field}]]\nkey = {quoted(self.key)}\n{family}"

    @property
    def told(self) -> str:
        """What was done, and what is left to do."""
        if self.field == "model":
            return (
                f"{self.key} ({self.family}) stands in shop.toml as a [[model]]; its strings and scale, and limits of "
                "its own in specs.csv, are yours to add."
            )
        return f"{self.key} stands in shop.toml as a [[{self.field}]]."


def families(shop: Shop, word: str) -> tuple[list[str], bool]:
    """The families of a shop for a new model, the likeliest first, and whether its name, or models that begin as it
    does, tell just one.
    """
    every = list(dict.fromkeys(model.family for model in shop.models))
    typed = plain(word)
    named = [family for family in every if any(part in typed for part in _telling(family, every))]
    first = re.split(r"[\s-]", typed)[0]
    sisters = list(dict.fromkeys(m.family for m in shop.models if re.match(rf"{re.escape(first)}\b", plain(m.key))))
    likely = named or sisters or every
    return list(dict.fromkeys([*likely, *every])), len(likely) == 1


def proposed(shop: Shop, word: str) -> list[str]:
    """The answers that a word is a new model, the likeliest first: without a family where several are as likely."""
    found, sure = families(shop, word)
    answers = [f"{NEW} {family}" for family in found]
    return answers if sure else [NEW, *answers]


def _telling(family: str, every: list[str]) -> list[str]:
    """The words of a family that no other one has."""
    others = {part for other in every if other != family for part in plain(other).split()}
    return [part for part in plain(family).split() if len(part) >= LONG and part not in others]


def asked_for(shop: Shop, said: Iterable[tuple[str, str, str]]) -> tuple[list[tuple[str, str, str]], list[Entry]]:
    """What words mean (field, word, means), and the entries that shop.toml lacks for that.

    said : (field, word as typed, answer).  Raises StoreProblem, one line, where an answer is none of its list.
    """
    words, entries = list[tuple[str, str, str]](), dict[tuple[str, str], Entry]()
    held = Words(shop, Log()).by_field
    for field, word, answer in said:
        means, known = answer, held.get(field, {})
        if field == "model" and answer.casefold().startswith(NEW):
            means, family = word, answer[len(NEW) :].strip()
            if not family:
                few = [f"{NEW} {one}" for one in families(shop, word)[0]]
                raise StoreProblem(
                    f"{word!r} is a new model of which family? Say it behind `new:`, as {listed(few, 4)}"
                )
            entries[field, plain(means)] = Entry(field, means, family)
        elif field in ("stage", "model", "outcome") and not _known(answer, known):
            new = f", or for a new one `{NEW} FAMILY`" if field == "model" else ""
            raise StoreProblem(f"{answer!r} is no {field} of shop.toml; wanted one of {listed(_keys(known))}{new}")
        elif field == "tech" and not _known(answer, known) and _is_one_name(answer) and shop.people.show == "names":
            entries[field, plain(means)] = Entry(field, means)
        words.append((field, word, means))
    return words, [one for one in entries.values() if not _known(one.key, held.get(one.field, {}))]


def still_needed(shop: Shop, words: Iterable[tuple[str, str, str]]) -> tuple[str, ...]:
    """What the shop lacks for techs whose names are shown nowhere, in a line that names none of them. words : field,
    word, means.
    """
    held = Words(shop, Log()).by_field["tech"]
    new = [means for field, _, means in words if field == "tech" and not _known(means, held) and _is_one_name(means)]
    if not new or shop.people.show == "names":
        return ()
    who = "one of these has" if len(new) == 1 else f"{len(new)} of these have"
    return (
        f"{who[:1].upper()}{who[1:]} no [[tech]] in shop.toml yet: write a code as its key, and the name among its "
        "words, for Bench and target cards.",
    )


def _known(word: str, known: dict[str, str]) -> bool:
    return plain(word) in known or word in known.values()


def _keys(known: dict[str, str]) -> list[str]:
    return list(dict.fromkeys(known.values()))


def _is_one_name(text: str) -> bool:
    return any(sign.isalpha() for sign in text) and len(TWO_NAMES.split(text)) == 1


def put_in(folder: Path, entries: Iterable[Entry]) -> None:
    """Write entries into shop.toml, each behind the last of its kind. StoreProblem where it would not stand then."""
    path = folder / "shop.toml"
    text = before = path.read_text(encoding="utf-8")
    for entry in entries:
        end = _behind_last(text, entry.field)
        text = f"{text[:end].rstrip()}\n\n{entry.text}\n{text[end:].lstrip()}".rstrip() + "\n"
    if text != before:
        _written(path, text)


def take_out(folder: Path, keys: Iterable[tuple[str, str]]) -> None:
    """Take entries (field, key) out of shop.toml that hold no more than an answer wrote."""
    path = folder / "shop.toml"
    text = before = path.read_text(encoding="utf-8")
    for field, key in keys:
        family = r'(?:family = "[^"\n]*"\n)' if field == "model" else ""
        head = re.escape(f"[[{field}]]\nkey = {quoted(key)}\n")
        text = re.sub(rf"(?m)^{head}{family}(?:\n+|\Z)(?=[\[#]|\Z)", "", text, count=1)
    if text != before:
        _written(path, text)


def _written(path: Path, text: str) -> None:
    try:
        checked_shop(tomllib.loads(text.removeprefix("\ufeff")))
    except (ShopProblem, tomllib.TOMLDecodeError) as problem:
        line = str(problem).splitlines()[0]
        raise StoreProblem(f"shop.toml would not stand with that ({line}); put it in by hand") from None
    write_whole(path, text.encode())


def _behind_last(text: str, field: str) -> int:
    """Where the last [[field]] table of a shop file ends, its own parts with it; the end where there is none."""
    starts = [found.end() for found in re.finditer(rf"(?m)^\[\[\s*{field}\s*\]\]", text)]
    if not starts:
        return len(text)
    after = re.compile(rf"(?m)^(?:#.*\n|\s*\n)*\[(?!\s*{field}\s*\.)").search(text, starts[-1])
    return after.start() if after else len(text)
