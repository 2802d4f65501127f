"""Files that are no log, or hardly one, of any size: each is refused or read in bounded time and memory.

Run by hand: `python -m tests.trials.bounded_reading [LARGE_MB] [REAL_MB]`. Every file is loaded by the command line in
a process of its own; told are its seconds from start to end and its peak memory over that of a load that finds no file.
The one seed was fixed before the first run.
"""

import os
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from tests.trials.written import write

WEEK = Path(__file__).parents[2] / "demo_data" / "week"
SEED = 20_261_128
SECONDS, MEGABYTES = 2.0, 200.0  # for a file that is no log, from the start of the program on
PATIENCE = 300.0
SCHEMAS = "http://schemas.openxmlformats.org"
SHEET = f'<?xml version="1.0"?><worksheet xmlns="{SCHEMAS}/spreadsheetml/2006/main">{{}}<sheetData>'
MADE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
LINKED = f"{SCHEMAS}/officeDocument/2006/relationships"
PARTS = {  # of the smallest workbook that opens
    "[Content_Types].xml": f"""<?xml version="1.0"?><Types xmlns="{SCHEMAS}/package/2006/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Default Extension="xml" ContentType="application/xml"/>
<Override PartName="/xl/workbook.xml" ContentType="{MADE}.sheet.main+xml"/>
<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{MADE}.worksheet+xml"/></Types>""",
    "_rels/.rels": f"""<?xml version="1.0"?><Relationships xmlns="{SCHEMAS}/package/2006/relationships">
<Relationship Id="rId1" Type="{LINKED}/officeDocument" Target="xl/workbook.xml"/></Relationships>""",
    "xl/workbook.xml": f"""<?xml version="1.0"?><workbook xmlns="{SCHEMAS}/spreadsheetml/2006/main" xmlns:r="{LINKED}">
<sheets><sheet name="S" sheetId="1" r:id="rId1"/></sheets></workbook>""",
    "xl/_rels/workbook.xml.rels": f"""<?xml version="1.0"?>
<Relationships xmlns="{SCHEMAS}/package/2006/relationships">
<Relationship Id="rId1" Type="{LINKED}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>""",
}


def real_log(path: Path, megabytes: float) -> None:
    """The demo week's bench log again and again, every time with serials of its own."""
    head, *rows = (WEEK / "logs" / "bench_2026-W47.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    turns = max(1, int(megabytes * 1e6 / sum(map(len, rows))))
    with path.open("w", encoding="utf-8") as file:
        file.write(head)
        for turn in range(turns):
            file.writelines(f"{turn:04d}{row}" for row in rows)


def header() -> str:
    """The heading line of a bench log."""
    with (WEEK / "logs" / "bench_2026-W47.csv").open(encoding="utf-8") as file:
        return file.readline().rstrip("\n")


def row() -> str:
    """A row of a bench log."""
    with (WEEK / "logs" / "bench_2026-W47.csv").open(encoding="utf-8") as file:
        file.readline()
        return file.readline().rstrip("\n")


def columns(path: Path, count: int, rows: int) -> None:
    """A log with many columns nobody knows."""
    more = count - header().count(",") - 1
    with path.open("w", encoding="utf-8") as file:
        file.write(header() + "".join(f",h{k}" for k in range(more)) + "\n")
        for _ in range(rows):
            file.write(row() + ",x" * more + "\n")
        file.write("," * (count - 1) + "\nTotal" + "," * (count - 1) + "\n")


def repeated(path: Path, begin: bytes, piece: bytes, megabytes: float) -> None:
    """A file of one piece again and again."""
    block = piece * max(1, 1_000_000 // len(piece))
    with path.open("wb") as file:
        file.write(begin)
        for _ in range(int(megabytes * 1e6 / len(block)) + 1):
            file.write(block)


def random_bytes(path: Path, megabytes: float, letters: bytes) -> None:
    """Garbage of some letters."""
    rng = np.random.default_rng(SEED)
    among = np.frombuffer(letters, dtype=np.uint8)
    with path.open("wb") as file:
        for _ in range(int(megabytes)):
            file.write(among[rng.integers(0, len(among), 1_000_000)].tobytes())


def bomb(path: Path, megabytes: float, dimension: str = "", row_text: str = "<row><c><v>1</v></c></row>") -> None:
    """A workbook whose one sheet is small on disk and large in memory."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for name, text in PARTS.items():
            made.writestr(name, text)
        with made.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet:
            sheet.write(SHEET.format(dimension).encode())
            block = row_text.encode() * max(1, 1_000_000 // len(row_text))
            for _ in range(int(megabytes * 1e6 / len(block)) + 1):
                sheet.write(block)
            sheet.write(b"</sheetData></worksheet>")


def far_cell(path: Path) -> None:
    """A workbook with two cells as far apart as a sheet goes."""
    far = '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    bomb(path, 0, '<dimension ref="A1:XFD1048576"/>', far)


def files(large: float, real: float) -> dict[str, tuple[Callable[[Path], None], bool]]:
    """What each file holds, how it is made, and whether it is no log at all (then the bounds of a refusal hold)."""
    head = header().encode() + b"\n"
    text = bytes(range(32, 127)) + b"\n" * 3 + b"," * 9
    return {
        "a log of 2,000 columns, 3 rows": (lambda p: columns(p, 2_000, 3), False),
        "a log of 4,000 columns, 200 rows": (lambda p: columns(p, 4_000, 200), False),
        "100,000 columns": (lambda p: columns(p, 100_000, 3), True),
        "ten million cells in one column": (lambda p: repeated(p, b"serial\n", b"1\n", 20), True),
        f"{large:g} MB of random bytes": (lambda p: random_bytes(p, large, bytes(range(256))), True),
        f"{large:g} MB of random letters": (lambda p: random_bytes(p, large, text), True),
        f"{large:g} MB of zero bytes": (lambda p: repeated(p, b"", b"\0", large), True),
        f"{large:g} MB in one line": (lambda p: repeated(p, b"", b"abc,", large), True),
        f"a heading, then {large:g} MB in one line": (lambda p: repeated(p, head, b"abc,", large), True),
        f"a heading, then {large:g} MB of zero bytes": (lambda p: repeated(p, head, b"\0", large), True),
        f"a heading, then {large:g} MB of random bytes": (
            lambda p: (random_bytes(p, large, bytes(range(256))), _prepend(p, head))[0],
            True,
        ),
        "a quote never closed over 20 MB": (lambda p: repeated(p, head + b'"', row().encode() + b"\n", 20), False),
        "a quote at the start of every row, 30 MB": (
            lambda p: repeated(p, head, b'"' + row().encode() + b"\n", 30),
            False,
        ),
        "a workbook of 2 GB in a few MB": (lambda p: bomb(p, 2_000), True),
        "a workbook with two cells far apart": (far_cell, True),
        f"{real:g} MB of real log": (lambda p: real_log(p, real), False),
    }


def _prepend(path: Path, head: bytes) -> None:
    with path.open("r+b") as file:
        file.write(head)


def run(shop: Path, path: Path) -> tuple[float, float, float, int, str]:
    """(seconds, seconds of the processor, peak in MB, exit code, first line told) of loading one file."""
    out = path.with_suffix(".out")
    begun = time.monotonic()
    with out.open("w") as told:
        child = subprocess.Popen(
            [_truerun(), "load", str(path), "--shop", str(shop)],
            stdout=told, stderr=subprocess.STDOUT,
        )  # fmt: skip
        while True:
            pid, status, usage = os.wait4(child.pid, os.WNOHANG)
            if pid:
                break
            if time.monotonic() - begun > PATIENCE:
                child.kill()
                _, status, usage = os.wait4(child.pid, 0)
                break
            time.sleep(0.01)
        child.returncode = os.waitstatus_to_exitcode(status)
    lines = [line for line in out.read_text(errors="replace").splitlines() if not line.startswith("Loading: ")] or [""]
    cpu = usage.ru_utime + usage.ru_stime
    return time.monotonic() - begun, cpu, usage.ru_maxrss / 1024, child.returncode, lines[0]


def _truerun() -> str:
    return str(Path(sys.executable).with_name("truerun"))


def fresh_shop(root: Path, name: str) -> Path:
    """A shop folder without logs."""
    folder = root / name
    folder.mkdir()
    for file in WEEK.iterdir():
        if file.is_file():
            (folder / file.name).write_bytes(file.read_bytes())
    return folder


def results(large: float, real: float) -> Iterator[tuple[str, float, float, float, int, str, bool]]:
    """Each file: name, seconds, of the processor, MB over idle, exit code, told, do the bounds of a refusal hold."""
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        begin, cpu, idle, code, told = run(fresh_shop(root, "idle"), root / "bench_none.csv")
        yield "no file: the start alone", begin, cpu, 0.0, code, told, False
        for number, (name, (make, refused)) in enumerate(files(large, real).items()):
            path = root / f"bench_{number}.csv"
            make(path)
            seconds, cpu, peak, code, told = run(fresh_shop(root, f"shop{number}"), path)
            path.unlink()
            yield name, seconds, cpu, peak - idle, code, told, refused


def main(large: float = 270.0, real: float = 114.0) -> None:
    """The table."""
    lines = [
        f"Wanted of a file that is no log: refused in one line within {SECONDS:g} s of the start of the program and",
        f"{MEGABYTES:g} MB over a load that finds no file. A log may take as long as its rows need.",
        "",
        "The machine was shared: seconds of the processor stand beside those of the clock, and the smaller counts.",
        "",
        "| file | seconds | of the processor | MB over idle | exit | told |",
        "|---|---|---|---|---|---|",
    ]
    over = 0
    for name, seconds, cpu, megabytes, code, told, refused in results(large, real):
        bad = refused and (min(seconds, cpu) > SECONDS or megabytes > MEGABYTES or code != 2)
        over += bad
        said = ("**over** " if bad else "") + told[:150].replace("|", " ")
        lines.append(f"| {name} | {seconds:.1f} | {cpu:.1f} | {megabytes:.0f} | {code} | {said} |")
        print(lines[-1], flush=True)  # noqa: T201
    lines += ["", f"Over the bounds: {over}."]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
