"""`forget`: one person's name leaves the shop's folder - shop files, originals, book and store - and a neutral code
stands in its place.

The only verb that rewrites what is otherwise never changed: the originals that name the person (they get a new SHA-256)
and lines of the book. Line numbers stay, so corrections and verdicts still fit. Older versions of the store go. Files
elsewhere are not touched.
"""

import io
import re
import tomllib
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path

import polars as pl

from ingest.shopfiles.shop import Shop, ShopProblem, Tech, checked_shop, fingerprint, read_shop
from ingest.store import book, ledger, originals
from ingest.store.delta import Table
from ingest.store.draft import Draft
from ingest.store.ledger import StoreProblem
from ingest.store.sqlite_tables import connect
from ingest.store.store import drafting
from ingest.terms import tables
from ingest.verbs.load import ensure, entries_of, put_in

SIDE_FILES = ("specs.csv", "lots.csv", "changes.csv", "climate.csv")
_SHORT = 4  # letters from which on capitals are overlooked: "JR" is not "jr", but "mary jones" is "Mary Jones"


def forget(folder: Path, person: str, *, now: datetime) -> str:
    """Take a tech's key, name and words out of everything in the shop's folder; the code that stands in their place.

    person : the key, the name or one of the words of a tech of shop.toml, or a tech as logs have typed it.
    Raises StoreProblem, one line, where nobody is called so or the name is also the word for something else.
    """
    shop = read_shop(folder / "shop.toml")
    ensure(folder, now=now)
    tech = next((tech for tech in shop.techs if person in (tech.key, tech.name, *tech.words)), None)
    terms = terms_of(shop, tech) if tech else [person]
    _no_other_meaning(shop, terms)
    code = _free_code(shop)
    out = replacer(terms, code)
    toml = (folder / "shop.toml").read_bytes().decode("utf-8-sig")
    new_toml = shop_file_without(toml, tech, out, code)
    try:
        new_shop = checked_shop(tomllib.loads(new_toml))
    except (ShopProblem, tomllib.TOMLDecodeError) as problem:
        raise StoreProblem(
            f"shop.toml could not be rewritten ({str(problem).splitlines()[0]}); take {person!r} out of it by hand, "
            "then try again"
        ) from None
    with drafting(folder) as draft:
        known = set(draft.logs["name"]) | set(_techs_of(draft))
        renamed, changed = _rewrite_originals(draft, folder, out)
        changed |= _rewrite_book(draft, out, file_replacer(terms, code), renamed)
        if tech is None and not changed and person not in known:
            raise StoreProblem(
                f"Nobody is called {person!r} in shop.toml or in any log; wanted a tech's key, name or word"
            )
        said = {name: book.lines(draft.connection, name) for name in book.SCHEMAS}
        draft.drop(sorted(draft.logs["log_id"].to_list()))
        put_in(draft, folder, new_shop, said, entries_of(said))
        version = draft.finish("a name was taken out", now, fingerprint(folder), book.last_sequence(folder))
        _no_older_versions(draft, version.n)
    (folder / "shop.toml").write_text(new_toml, encoding="utf-8")
    for path in (*(folder / name for name in SIDE_FILES), folder / "store" / "program.log"):
        if path.exists():
            path.write_bytes(without(path.read_bytes(), out))
    clean(folder)
    return code


def terms_of(shop: Shop, tech: Tech) -> list[str]:
    """Everything that means this tech in the shop's files and logs, the longest first."""
    mapped = {
        word
        for log in shop.logs
        for word, key in log.words.get("tech", {}).items()
        if key in (tech.key, tech.name, *tech.words)
    }
    return sorted({term for term in (tech.key, tech.name, *tech.words, *mapped) if term.strip()}, key=len, reverse=True)


def replacer(terms: list[str], code: str) -> Callable[[str], str]:
    """What puts the code in the place of the terms, as whole words; 'JR-1001' is another word than 'JR'."""
    exact = [re.escape(term) for term in terms if len(term) < _SHORT]
    loose = [re.escape(term) for term in terms if len(term) >= _SHORT]
    parts = [f"(?i:{'|'.join(loose)})"] if loose else []
    pattern = re.compile(rf"(?<![\w-])(?:{'|'.join(parts + exact)})(?![\w-])")
    return lambda text: pattern.sub(code, text)


def file_replacer(terms: list[str], code: str) -> Callable[[str], str]:
    """The same for the names of files, where 'mary_quill.csv' is Mary Quill."""
    spelled = [r"[\s_.\-]*".join(re.escape(part) for part in term.split()) for term in terms]
    pattern = re.compile(rf"(?<![^\W_])(?:{'|'.join(spelled)})(?![^\W_])", re.IGNORECASE)
    return lambda text: pattern.sub(code, text)


def without(data: bytes, out: Callable[[str], str]) -> bytes:
    """A text file or workbook without the terms; every other byte as it was."""
    if data[:4] == b"PK\x03\x04":
        return _workbook_without(data, out)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        codecs: tuple[str, ...] = ("utf-16-le" if data[0] == 0xFF else "utf-16-be",)
    elif b"\x00" in data[:4096]:
        codecs = ("utf-16-le" if data[1:2] == b"\x00" else "utf-16-be",)
    else:
        codecs = ("utf-8", "cp1252", "latin-1")
    for codec in codecs:
        try:
            text = data.decode(codec)
        except UnicodeDecodeError:
            continue
        new = out(text)
        return new.encode(codec) if new != text else data
    return data


def _workbook_without(data: bytes, out: Callable[[str], str]) -> bytes:
    changed, held = False, io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as came, zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as new:
        for item in came.infolist():
            part = came.read(item)
            if item.filename.endswith(".xml"):
                text = part.decode("utf-8")
                # text between tags; not in formulas (<f>) and values (<v>), where a word may be the name of a cell
                told = re.sub(r"(<(?![fv][ >])[^<>]*>)([^<]+)", lambda found: found[1] + out(found[2]), text)
                changed |= told != text
                part = told.encode("utf-8")
            new.writestr(item, part)
    return held.getvalue() if changed else data


def shop_file_without(text: str, tech: Tech | None, out: Callable[[str], str], code: str) -> str:
    """shop.toml with the code as the tech's key; name and words are gone, what the studies need (started, qualified)
    stays.
    """
    if tech is None:
        return out(text)
    blocks = re.split(r"(?m)^(?=\s*\[)", text)
    kept = []
    for block in blocks:
        if re.match(r"\s*\[\[\s*tech\s*\]\]", block) and tomllib.loads(block)["tech"][0].get("key") == tech.key:
            lines = ["[[tech]]", f'key = "{code}"']
            lines += [f"started = {tech.started.isoformat()}"] if tech.started else []
            lines += (
                [f"qualified = [{', '.join(chr(34) + stage + chr(34) for stage in tech.qualified)}]"]
                if tech.qualified
                else []
            )
            kept.append("\n".join(lines) + "\n\n")
        else:
            mapped = re.compile(rf"""\s*("[^"]*"|'[^']*'|[\w-]+)\s*=\s*["']{re.escape(tech.key)}["']\s*,?""")
            kept.append(out(mapped.sub("", block) if re.match(r"\s*\[\[\s*log", block) else block))
    return "".join(kept)


def _no_other_meaning(shop: Shop, terms: list[str]) -> None:
    """StoreProblem where a term is also the key or word of something that is no person."""
    others = [
        item.key
        for group in (shop.stages, shop.characteristics, shop.models, shop.gauges, shop.faults)
        for item in group
    ]
    others += [word for group in (shop.models, shop.gauges, shop.faults) for item in group for word in item.words]
    others += [word for log in shop.logs for field, words in log.words.items() if field != "tech" for word in words]
    taken = {other.casefold() for other in others} | {family.casefold() for family in shop.families.values()}
    both = [term for term in terms if term.casefold() in taken]
    if both:
        raise StoreProblem(
            f"{both[0]!r} is also the shop's word for something that is no person; rename one of the two in shop.toml "
            "first"
        )


def _free_code(shop: Shop) -> str:
    used = {word for tech in shop.techs for word in (tech.key, *tech.words)}
    return next(code for number in range(1, 1000) if (code := f"X{number:02d}") not in used)


def _techs_of(draft: Draft) -> list[str]:
    stored = draft.stored["visits"]
    return (
        stored.scan().select(pl.col("tech").unique()).collect()["tech"].to_list() if stored.version is not None else []
    )


def _rewrite_originals(draft: Draft, folder: Path, out: Callable[[str], str]) -> tuple[dict[str, str], bool]:
    """Keep every original that the book names without the terms; old SHA-256 to new."""
    renamed = {}
    for sha in book.lines(draft.connection, "loads")["sha256"].unique().to_list():
        try:
            data = originals.fetch(folder, sha)
        except (OSError, ValueError):
            continue
        new = without(data, out)
        if new != data:
            originals.keep(folder, new)
            renamed[sha] = originals.sha256(new)
    return renamed, bool(renamed)


def _rewrite_book(
    draft: Draft, out: Callable[[str], str], out_of_name: Callable[[str], str], renamed: dict[str, str]
) -> bool:
    """Put new hashes and the code into every line of the book; was there anything to change?"""
    connection, changed = draft.connection, False
    log_ids = {originals.log_id(old): originals.log_id(new) for old, new in renamed.items()}
    for table, schema in book.SCHEMAS.items():
        texts = [name for name, dtype in schema.items() if dtype == pl.String()]
        for rowid, *cells in connection.execute(f"SELECT rowid, {', '.join(texts)} FROM book.{table}").fetchall():
            new = []
            for name, cell in zip(texts, cells, strict=True):
                if name == "sha256":
                    new.append(renamed.get(cell, cell))
                elif name in (tables.LOG_ID, "replaces"):
                    new.append(log_ids.get(cell, cell))
                elif name == "name":
                    new.append(out_of_name(cell))
                else:
                    new.append(out(cell) if cell else cell)
            if new != cells:
                connection.execute(
                    f"UPDATE book.{table} SET {', '.join(f'{name} = ?' for name in texts)} WHERE rowid = ?",
                    (*new, rowid),
                )
                changed = True
    return changed


def _no_older_versions(draft: Draft, n: int) -> None:
    """Only the newest version stays readable."""
    draft.connection.execute("DELETE FROM main.versions WHERE n < ?", (n,))
    for name in ledger.VERSIONED:
        draft.connection.execute(f"DELETE FROM main.{name} WHERE until IS NOT NULL")


def clean(folder: Path) -> None:
    """Take out of the files what no version needs: originals that the book does not name, old Delta files and logs,
    free pages.
    """
    named = set(book.read(folder)["loads"]["sha256"])
    for path in (folder / originals.FOLDER).glob("*"):
        if path.name not in named:
            path.unlink()
    for path in (folder / book.FILE, ledger.path_of(folder)):
        if path.exists():
            with closing(connect(path)) as connection:
                connection.execute("VACUUM")
    with ledger.reading(folder) as connection:
        found = ledger.newest(connection) if connection is not None else None
    for name, version in (found.tables if found else {}).items():
        if version is not None:
            Table(folder / "store" / name, version).forget_the_past()
