"""`shops`: the tables that several shops have published, in one set of words and units; what could not be taken as it
is, a line each.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from ingest.store.problems import first_line
from ingest.store.target import FORMAT, Piece, Target, TargetProblem, pieces_of, tables_of
from ingest.verbs import publish, shops_alike
from ingest.verbs.afresh import Afresh, laid_over
from ingest.verbs.shops_alike import Names

NAMES = publish.NAMES  # the map of words beside the tables
KINDS = ("characteristic", "model", "stage", "supplier", "lot", "position", "change")
READ = ("meanings", "levels", "capability", "lots", "dated")
MORE = ("mix", "matters")  # without which a shop is read all the same
AGAIN = 3  # times that a shop which publishes at this moment is looked at


@dataclass(frozen=True)
class Several:
    """What several shops say."""

    shops: pl.DataFrame  # shop, name, timezone, as_of, published_at, version: those that are read
    tables: Mapping[str, pl.DataFrame]  # READ and MORE, each with the column `shop`
    said: tuple[str, ...]  # what was left out or put into other words or units, a line each
    left_out: tuple[str, ...]  # shops of which nothing is read


def read_names(path: Path) -> Names:
    """A map of words: `[SHOP.KIND]` with `"its word" = "the word here"`. TargetProblem, one line, where it is none."""
    try:
        told = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as fault:
        raise TargetProblem(f"{path} cannot be opened ({fault.strerror or fault})") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise TargetProblem(f"{path} is not readable as TOML ({first_line(fault)})") from None
    for shop, kinds in told.items():
        if not isinstance(kinds, dict):
            raise TargetProblem(f'{path}: {shop} wants tables such as [{shop}.model] with "its word" = "the word here"')
        for kind, words in kinds.items():
            if kind not in KINDS:
                raise TargetProblem(f"{path}: [{shop}.{kind}] is not known; wanted one of {', '.join(KINDS)}")
            if not isinstance(words, dict) or not all(isinstance(word, str) and word for word in words.values()):
                raise TargetProblem(f'{path}: [{shop}.{kind}] wants lines such as "its word" = "the word here"')
    return told


def read_all(target: Target, names: Names | None = None, afresh: Afresh | None = None, program: str = "") -> Several:
    """All shops of a target. TargetProblem where there is none, or none that can be read.

    afresh : works figures out of the rows that shops published; without it figures are those that they published.
    program : the version of this program; '' where nobody asks.
    """
    told, unsure = _read(target, names or {}, afresh, program)
    for _ in range(AGAIN - 1):
        if not unsure:
            break
        told, unsure = _read(target, names or {}, afresh, program)
    return told


def _read(target: Target, names: Names, work: Afresh | None, program: str) -> tuple[Several, bool]:
    """What stands there now, and was a shop not whole, which may be publishing at this moment?"""
    rows = target.shops()
    if rows.is_empty():
        raise TargetProblem(f"{target.address}: no shop is published there; `truerun publish {target.address}` does it")
    said: list[str] = []
    named: dict[str, list[Piece]] = {}
    for row in rows.iter_rows(named=True):
        try:
            if row["format"] != FORMAT:
                raise TargetProblem(f"it was published by another version of the program ({row['program']})")
            pieces = pieces_of(row)
            if missing := set(READ) - set(tables_of(pieces)):
                raise TargetProblem(f"{sorted(missing)[0]} was not published; publish that shop again")
            named[row["shop"]] = pieces
        except TargetProblem as problem:
            said.append(f"{row['shop']}: left out; {problem}")
    said += _twice(rows.filter(pl.col("shop").is_in(list(named))), named)
    tables: dict[str, pl.DataFrame] = {}
    broken: dict[str, str] = {}
    for name in (*READ, *MORE) if named else ():
        tables[name], why = target.every(name, named)
        broken |= why
    said += [f"{shop}: left out; {why}: publish that shop again" for shop, why in sorted(broken.items())]
    whole = [shop for shop in named if shop not in broken]
    if not whole:
        raise TargetProblem(f"{target.address}: no shop there can be read ({said[0]})")
    tables = {name: frame.filter(pl.col("shop").is_in(whole)) for name, frame in tables.items()}
    heads = rows.filter(pl.col("shop").is_in(whole)).select(
        "shop", "name", "timezone", "as_of", "published_at", "version"
    )
    changed = False
    if work is not None:
        read = [row for row in rows.iter_rows(named=True) if row["shop"] in whole]
        found = list(work(target, read))
        if any(one.why for one in found):  # its rows may have gone because it published meanwhile
            stands = dict(target.shops().select("shop", "version").iter_rows())
            before = {row["shop"]: row["version"] for row in read}
            changed = any(one.why and stands.get(one.shop) != before[one.shop] for one in found)
        said += laid_over(tables, read, found, program)
    said += _without(tables, {shop: named[shop] for shop in whole}, worked_out=work is not None)
    heads, odd_clocks = shops_alike.clocks(heads)
    said += [*odd_clocks, *shops_alike.late(heads), *_versions(rows.filter(pl.col("shop").is_in(whole)), program, work)]
    said += shops_alike.renamed(tables, names, heads["shop"])
    said += shops_alike.one_meaning(tables)
    said += shops_alike.mistaken(tables)
    said += shops_alike.own_words(tables)
    left = tuple(shop for shop in rows["shop"] if shop not in whole)
    return Several(heads, tables, tuple(said), left), changed or bool(broken)


def _twice(rows: pl.DataFrame, named: dict[str, list[Piece]]) -> list[str]:
    """Take out shops that say the same as another to the last digit, the later published, in place; which."""
    said: list[str] = []
    first: dict[str, str] = {}
    for shop in rows.sort("published_at")["shop"]:
        digest = next((one.digest for one in named[shop] if one.table == "levels" and one.rows), shop)
        if digest in first:
            del named[shop]
            said.append(f"{shop}: left out; its levels are those of {first[digest]} to the last digit: one shop twice?")
        else:
            first[digest] = shop
    return said


def _without(tables: Mapping[str, pl.DataFrame], named: Mapping[str, list[Piece]], *, worked_out: bool) -> list[str]:
    """Tables that shops have not published, as those of an earlier version; which."""
    said = []
    for name in MORE:
        there = set(tables[name]["shop"]) if worked_out else set()
        shops = [shop for shop, pieces in named.items() if name not in tables_of(pieces) and shop not in there]
        if shops:
            said.append(f"{', '.join(shops)}: {name} was not published, and nothing is said of it; publish again")
    return said


def _versions(rows: pl.DataFrame, program: str, work: Afresh | None) -> list[str]:
    """Shops whose figures another version of the program worked out, where nothing is worked out here; which."""
    if work is not None or not program:
        return []
    other = rows.filter(pl.col("program") != program).sort("program", "shop")
    return [
        f"{', '.join(part['shop'])}: figures are as version {version} works them out, here is {program}"
        for (version,), part in other.group_by("program", maintain_order=True)
    ]
