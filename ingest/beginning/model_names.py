"""The models that sheets name: each under its commonest spelling, with its short forms, and its family, guessed or
asked.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from ingest.beginning.additions import known_words
from ingest.beginning.asking import Asker
from ingest.beginning.doubted_families import doubt
from ingest.beginning.families import FAMILIES, family_of
from ingest.beginning.first_shop import Draft
from ingest.beginning.slips_of_words import OFTEN, slips_of_words
from ingest.beginning.survey import Survey
from ingest.reading.headings import plain
from ingest.reading.spellings import spelled_alike
from ingest.shopfiles.shop import Shop

UNKNOWN_FAMILY = "not said"
KINDS = {  # how a name says what kind of instrument it is -> the kind
    **dict.fromkeys(("guit", "gitar", "guitar"), "guitar"),
    **dict.fromkeys(("banjo", "bandžo"), "banjo"),
    **dict.fromkeys(("uke", "ukul"), "ukulele"),
    **dict.fromkeys(("mando", "bouzouki"), "mandolin"),
}
HEAD = "head"  # a measurement that only banjos have


def add_models(draft: Draft, surveys: Sequence[Survey], asker: Asker, shop: Shop | None) -> None:
    """The models that nobody has listed, each with its family: said, told by its name, or asked."""
    known = known_words("model", shop, None)
    said = {
        plain(str(word))
        for key, entry in draft.models.items()
        for word in (key, entry.get("name", ""), *entry.get("words", ()))
    } | {plain(word) for seen in surveys for word in seen.said.words.get("model", {})}
    typed = sum((seen.words("model") for seen in surveys), Counter[str]())
    slips = slips_of_words(typed)  # Logs asks about them, with what is meant
    spelled = commonest(typed)
    new = [plain(name) for name in typed if plain(name) not in known.keys() | said and name not in slips]
    short = short_forms(Counter({spelled[name]: _count(typed, name) for name in new}))
    names = [name for name in dict.fromkeys(spelled[each] for each in new) if name not in short]
    kinds = _kinds(draft, names, surveys)
    for name in names:
        family, why = family_of(name), "from its name"
        against = doubt(name, family, surveys) if family else ""
        others = other_kinds(name, family, kinds) if family and not against else []
        if not family or against or others:
            key = f"family of {name}"
            hint = f" ({against})" if against else f" ({family}, or {' or '.join(others)})" if others else ""
            every = "What kind of instrument is each model?"
            default = others[0] if others and _kind(family) not in kinds else family if others else UNKNOWN_FAMILY
            question = f"What kind of instrument is the model {name!r}?{hint}"
            of = "" if against or others else every
            family = asker.ask(key, question, (*FAMILIES, UNKNOWN_FAMILY), default, of=of, word=name)
            why = "" if key in asker.answers else "from its name and the others here" if others else "not said"
        draft.models[name] = {"key": name, "family": family}
        if words := [word for word, meant in short.items() if meant == name]:
            draft.models[name]["words"] = words
            draft.guesses[f"model {name} words"] = "short for it"
        if why:
            draft.guesses[f"model {name} family"] = why
    for entry in draft.models.values():
        entry.setdefault("family", UNKNOWN_FAMILY)
    if not names and not known and not draft.models:
        question = "No column is read as the model: what kind of instrument are they?"
        family = asker.ask("family", question, (*FAMILIES, UNKNOWN_FAMILY), UNKNOWN_FAMILY)
        draft.models["all models"] = {"key": "all models", "family": family}
        draft.guesses["model all models family"] = "no column is read as the model"


def commonest(typed: Mapping[str, int]) -> dict[str, str]:
    """By its plain letters the spelling in which each word stands most often; of as many the one met first."""
    found: dict[str, str] = {}
    for word in typed:
        held = found.get(plain(word))
        if held is None or typed[word] > typed[held]:
            found[plain(word)] = word
    return found


def short_forms(counts: Mapping[str, int]) -> dict[str, str]:
    """Rare words that may be a spelling of just one much commoner word, such as 'D20' of 'Dreadnought D20', and it."""
    found: dict[str, str] = {}
    for word, count in counts.items():
        figures = any(sign.isdigit() for sign in word)
        meant = [other for other in counts if other != word and figures and spelled_alike(word, other)]
        if len(meant) == 1 and counts[meant[0]] >= OFTEN * count:
            found[word] = meant[0]
    return found


def other_kinds(name: str, family: str, kinds: Iterable[str]) -> list[str]:
    """Families of another kind that the shop has, which a name that says no kind may mean too: 'Tenor' is a ukulele,
    or in a shop of banjos a tenor banjo.
    """
    words = plain(name).replace("-", " ").split()
    if any(start in plain(name) for start in KINDS):
        return []
    own = {word for word in plain(family).split() if word in words}
    return [
        other
        for other in FAMILIES
        if _kind(other) in set(kinds) - {_kind(family)} and own & set(plain(other).replace("-", " ").split())
    ]


def _kinds(draft: Draft, names: Sequence[str], surveys: Sequence[Survey]) -> set[str]:
    """The kinds of instrument that are here for sure: said, told by a name whose words no other kind has, or measured
    as only they are.
    """
    said = {_kind(str(entry["family"])) for entry in draft.models.values() if entry.get("family")}
    every = {_kind(family) for family in FAMILIES}
    told = {_kind(family) for name in names if (family := family_of(name)) and not other_kinds(name, family, every)}
    heads = any(column.guess.measure == HEAD for seen in surveys for column in seen.measures())
    return said | told | ({"banjo"} if heads else set())


def _kind(family: str) -> str:
    return plain(family).split()[-1]


def _count(typed: Mapping[str, int], name: str) -> int:
    return sum(count for word, count in typed.items() if plain(word) == name)
