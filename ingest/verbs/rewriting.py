"""Files without a name: text in its own encoding, workbooks, databases; every other byte as it was."""

import io
import re
import sqlite3
import tomllib
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from ingest.shopfiles.shop_parts import Tech
from ingest.store.sqlite_tables import connect
from ingest.verbs.names import LONG, Names

ZIP, SQLITE = b"PK\x03\x04", b"SQLite format 3\x00"
_LINES = (".csv", ".txt", ".tsv", "")  # files whose lines are cells, originals (which have no ending) among them


def without(data: bytes, names: Names, ending: str = "") -> bytes:
    """A text file or workbook without the name; every other byte as it was. What is neither stays as it is."""
    if data.startswith(ZIP):
        return _workbook_without(data, names)
    out = names.out_of_lines if ending.lower() in _LINES else names.out
    for codec in codecs_of(data):
        try:
            text = data.decode(codec)
        except UnicodeDecodeError:
            continue
        new = out(text)
        return new.encode(codec) if new != text else data
    return data


def codecs_of(data: bytes) -> tuple[str, ...]:
    """The encodings to try in turn for a text; none for what is no text."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return ("utf-16-le" if data[0] == 0xFF else "utf-16-be",)
    if b"\x00" in data[:4096]:
        if data[:4096].count(b"\x00") * 3 < len(data[:4096]):
            return ()
        return ("utf-16-le" if data[1:2] == b"\x00" else "utf-16-be",)
    return ("utf-8", "cp1252", "latin-1")


def is_known(data: bytes) -> bool:
    """Can the name be taken out of such a file: text, workbook, database?"""
    if data.startswith(ZIP):
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as held:
                return "[Content_Types].xml" in held.namelist()
        except zipfile.BadZipFile:
            return False
    return data.startswith(SQLITE) or (
        bool(codecs_of(data)) and not data.startswith((b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"PAR1"))
    )


def _workbook_without(data: bytes, names: Names) -> bytes:
    changed, held = False, io.BytesIO()
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as came, zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as new:
            for item in came.infolist():
                part = came.read(item)
                if item.filename.endswith((".xml", ".rels", ".vml")):
                    text = part.decode("utf-8")
                    told = xml_without(text, names)
                    changed |= told != text
                    part = told.encode("utf-8")
                new.writestr(item, part)
    except (zipfile.BadZipFile, UnicodeDecodeError, NotImplementedError, RuntimeError):
        return data
    return held.getvalue() if changed else data


def xml_without(text: str, names: Names) -> str:
    """One part of a workbook without the name: a string in several pieces of type as one, text between tags, and long
    names anywhere.
    """

    def string(found: re.Match[str]) -> str:
        said = "".join(re.findall(r"<t(?:\s[^>]*)?>([^<]*)</t>", re.sub(r"<rPh\b.*?</rPh>", "", found[3], flags=re.S)))
        new = names.out(said)
        return found[0] if new == said else f'<{found[1]}{found[2]}><t xml:space="preserve">{new}</t></{found[1]}>'

    text = re.sub(r"<(si|is|text)((?:\s[^>]*)?)>(.*?)</\1>", string, text, flags=re.S)
    # text between tags; not in formulas (<f>) and values (<v>), where a word may be the name of a cell
    text = re.sub(r"(<(?![fv][ >])[^<>]*>)([^<]+)", lambda found: found[1] + names.out(found[2]), text)
    text = re.sub(
        r'(<c\s[^>]*t="str"[^>]*>(?:<f[^>]*>[^<]*</f>|<f[^>]*/>)?<v>)([^<]*)',
        lambda found: found[1] + names.out(found[2]),
        text,
    )
    long = [term for term in names.terms if sum(map(str.isalpha, term)) >= LONG]
    return Names(tuple(long), names.code).out(text) if long else text


def shop_file_without(text: str, tech: Tech | None, names: Names) -> str:
    """shop.toml with the code as the tech's key; name and words are gone, what the studies need (started, qualified)
    stays.
    """
    if tech is None:
        return names.out(text)
    blocks = re.split(r"(?m)^(?=\s*\[)", text)
    kept = []
    for block in blocks:
        if re.match(r"\s*\[\[\s*tech\s*\]\]", block) and tomllib.loads(block)["tech"][0].get("key") == tech.key:
            lines = ["[[tech]]", f'key = "{names.code}"']
            lines += [f"started = {tech.started.isoformat()}"] if tech.started else []
            held = ", ".join(f'"{stage}"' for stage in tech.qualified)
            lines += [f"qualified = [{held}]"] if tech.qualified else []
            kept.append("\n".join(lines) + "\n\n")
        else:
            key = re.escape(tech.key)
            mapped = re.compile(rf"""\s*(?!tech\s*=)(?<![\w-])("[^"]*"|'[^']*'|[\w-]+)\s*=\s*["']{key}["']\s*,?""")
            kept.append(names.out(mapped.sub("", block) if re.match(r"\s*\[\[\s*log", block) else block))
    return "".join(kept)


def database_without(path: Path, names: Names) -> bool:
    """Take the name out of every text cell of a database and out of its free pages; was there anything to change?"""
    changed = False
    with closing(connect(path, existing=True)) as connection:
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("BEGIN IMMEDIATE")
        told = connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        ).fetchall()
        for (table,) in told:
            changed |= table_without(connection, f'"{table}"', names.out)
        connection.execute("COMMIT")
    emptied(path)
    return changed


def table_without(connection: sqlite3.Connection, table: str, out: Callable[[str], str]) -> bool:
    """Put what `out` makes of them in the place of all text cells of a table; was there anything to change?"""
    columns = [name for name, *_ in connection.execute(f"SELECT * FROM {table} LIMIT 0").description]
    try:
        rows = connection.execute(f"SELECT rowid, * FROM {table}").fetchall()
    except sqlite3.OperationalError:  # a table without row numbers
        return False
    changed = False
    for rowid, *cells in rows:
        new = {place: made for place, cell in enumerate(cells) if isinstance(cell, str) and (made := out(cell)) != cell}
        if new:
            marks = ", ".join(f'"{columns[place]}" = ?' for place in new)
            connection.execute(f"UPDATE {table} SET {marks} WHERE rowid = ?", (*new.values(), rowid))
            changed = True
    return changed


def emptied(path: Path) -> None:
    """No page of a database that nobody uses holds what once stood there."""
    with closing(connect(path, existing=True)) as connection:
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("PRAGMA temp_store = MEMORY")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.execute("VACUUM")
