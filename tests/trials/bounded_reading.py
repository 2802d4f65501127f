"""Files that are no log, or hardly one, of any size: each is refused or read in bounded time and memory.

Run by hand: `python -m tests.trials.bounded_reading [LARGE_MB] [REAL_MB]...`. Every file is loaded by the command line
in a process of its own; told are its seconds from start to end and its peak memory over that of a load that finds no
file. LARGE_MB 0: only the real logs. Of each REAL_MB a log with a row a visit and one with a row a measurement are
loaded; of the first of them then a cell is corrected, and it is made anew by `again`; a workbook of as many rows as its
cells allow comes last. The one seed was fixed before the first run.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import xlsxwriter

from ingest.reading import bounds
from tests.trials.written import write

WEEK = Path(__file__).parents[2] / "demo_data" / "week"
SEED = 20_261_128
SECONDS, MEGABYTES = 2.0, 200.0  # for a file that is no log, from the start of the program on
PATIENCE = 3_600.0
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


MEASURED = """
[[log]]
name = "gauge by gauge"
files = "measured*.csv"
shape = "measurement"
[log.units]
relief = "mm"
action = "mm"
"""


def measured_log(path: Path, megabytes: float) -> None:
    """A row a measurement: as they come from four benches at work at once, so that those of a visit stand apart."""
    with path.open("w", encoding="utf-8") as file:
        file.write("serial,started_at,stage,tech,model,what,value\n")
        visit = 0
        while file.tell() < megabytes * 1e6:
            lines = []
            for n in range(visit, visit + 4_000):
                day, minute = divmod(n // 4, 480)
                at = (FIRST + timedelta(days=day % 700, minutes=minute)).strftime("%Y-%m-%d %H:%M")
                head = f"M{n:08d},{at},final_inspection,T0{1 + n % 4},LARK-25,"
                lines += [(n // 4, place, f"{head}{what},{value}\n") for place, (what, value) in enumerate(CARD)]
            file.writelines(line for *_, line in sorted(lines))
            visit += 4_000


FIRST = datetime(2024, 1, 1, 8)
CARD = (("relief", "0.20"), ("action bass", "2.51"), ("action treble", "2.18"))


def workbook(path: Path, rows: int) -> None:
    """The demo week's bench log again and again, as a workbook."""
    head, *lines = (WEEK / "logs" / "bench_2026-W47.csv").read_text(encoding="utf-8").splitlines()
    made = xlsxwriter.Workbook(str(path), {"constant_memory": True})
    sheet = made.add_worksheet("Bench")
    sheet.write_row(0, 0, head.split(","))
    for row_ in range(rows):
        cells = lines[row_ % len(lines)].split(",")
        sheet.write_row(row_ + 1, 0, [f"{row_ // len(lines):04d}{cells[0]}", *cells[1:]])
    made.close()


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


def files(large: float) -> dict[str, tuple[Callable[[Path], None], bool]]:
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
    }


def _prepend(path: Path, head: bytes) -> None:
    with path.open("r+b") as file:
        file.write(head)


def run(shop: Path, path: Path, *verb: str) -> tuple[float, float, float, int, str]:
    """(seconds, seconds of the processor, peak in MB, exit code, first line told) of loading one file, or of a verb."""
    out = path.with_suffix(".out")
    begun = time.monotonic()
    with out.open("w") as told:
        child = subprocess.Popen(
            [*_truerun(), *(verb or ("load", str(path))), "--shop", str(shop)],
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


def _truerun() -> list[str]:
    return [sys.executable, "-c", "from dashboard.commands.start import main; main()"]


def fresh_shop(root: Path, name: str) -> Path:
    """A shop folder without logs."""
    folder = root / name
    folder.mkdir()
    for file in WEEK.iterdir():
        if file.is_file():
            (folder / file.name).write_bytes(file.read_bytes())
    with (folder / "shop.toml").open("a") as shop:
        shop.write(MEASURED)
    return folder


def results(large: float, real: Sequence[float]) -> Iterator[tuple[str, float, float, float, int, str, bool]]:
    """Each file: name, seconds, of the processor, MB over idle, exit code, told, do the bounds of a refusal hold."""
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        begin, cpu, idle, code, told = run(fresh_shop(root, "idle"), root / "bench_none.csv")
        yield "no file: the start alone", begin, cpu, 0.0, code, told, False
        for number, (name, (make, refused)) in enumerate(files(large).items() if large else ()):
            path = root / f"bench_{number}.csv"
            make(path)
            seconds, cpu, peak, code, told = run(fresh_shop(root, f"shop{number}"), path)
            path.unlink()
            yield name, seconds, cpu, peak - idle, code, told, refused
        for name, seconds, cpu, peak, code, told in of_real_logs(root, real):
            yield name, seconds, cpu, peak - idle, code, told, False


def of_real_logs(root: Path, real: Sequence[float]) -> Iterator[tuple[str, float, float, float, int, str]]:
    """Logs as they are, of several sizes and shapes."""
    for megabytes in real:
        for called, make in (("bench", real_log), ("measured", measured_log)):
            path, shop = root / f"{called}_{megabytes:g}.csv", fresh_shop(root, f"{called}{megabytes:g}")
            make(path, megabytes)
            kind = "visit" if called == "bench" else "measurement"
            yield (f"{megabytes:g} MB of log, a row a {kind}", *run(shop, path))
            if megabytes == real[0]:
                mend = ("correct", path.name, "9", "tech", "T03", "--who", "Mo", "--why", "misread")
                yield (f"{megabytes:g} MB, a row a {kind}, a cell corrected", *run(shop, path, *mend))
                yield (f"{megabytes:g} MB, a row a {kind}, made again", *run(shop, path, "again", "--all", "--yes"))
            path.unlink()
            shutil.rmtree(shop)
    if real:
        path = root / "bench_book.csv"  # what a file is, its bytes say
        workbook(path, rows := bounds.MOST_CELLS // (header().count(",") + 1) - 10)
        size = path.stat().st_size / 1e6
        yield (f"a workbook of {rows:,} rows, {size:.0f} MB", *run(fresh_shop(root, "book"), path))


def main(large: float = 270.0, *real: float) -> None:
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
    for name, seconds, cpu, megabytes, code, told, refused in results(large, real or (114.0, 300.0)):
        bad = refused and (min(seconds, cpu) > SECONDS or megabytes > MEGABYTES or code != 2)
        over += bad
        said = ("**over** " if bad else "") + told[:150].replace("|", " ")
        lines.append(f"| {name} | {seconds:.1f} | {cpu:.1f} | {megabytes:.0f} | {code} | {said} |")
        print(lines[-1], flush=True)  # noqa: T201
    lines += ["", f"Over the bounds: {over}."]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
