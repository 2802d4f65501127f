"""Whoever a [[log]] says keeps a book of their own is listed by being named there, as a [[tech]] with that key."""

import re
from typing import Any

SEVERAL = re.compile(r"[/+&,]")  # between two names, which are nobody's key


def with_keepers(table: Any) -> Any:
    """The table of shop.toml with a [[tech]] for each `tech` of a [[log]] that no key, name or word of a tech says, and
    no word of that log; as it came where its parts are not what they should be.
    """
    if not isinstance(table, dict):
        return table
    techs, logs = ([each for each in _list(table.get(name)) if isinstance(each, dict)] for name in ("tech", "log"))
    known = {
        _folded(word)
        for tech in techs
        for word in (tech.get("key"), tech.get("name"), *_list(tech.get("words")))
        if isinstance(word, str)
    }
    found: dict[str, str] = {}
    for log in logs:
        name, words = log.get("tech"), log.get("words")
        said = words.get("tech") if isinstance(words, dict) else None
        own = {_folded(word) for word in said} if isinstance(said, dict) else set()
        one = name.strip() if isinstance(name, str) and not SEVERAL.search(name) else ""
        if one and _folded(one) not in known | own:
            found.setdefault(_folded(one), one)
    return (
        table | {"tech": [*_list(table.get("tech")), *({"key": name} for name in found.values())]} if found else table
    )


def _list(value: Any) -> list[Any]:
    return list(value) if isinstance(value, list | tuple) else []


def _folded(word: str) -> str:
    return re.sub(r"[\s_]+", " ", word).strip(" :").casefold()
