"""What a load did, told in lines on a terminal: the account of every file, then the questions by reason."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence

import polars as pl

from dashboard import numbers
from ingest.access.tablets import Tablet
from ingest.shopfiles.shop import Shop
from ingest.store import carried
from ingest.terms.tables import GONE
from ingest.verbs import unlisted
from ingest.verbs.again import Change
from ingest.verbs.loaded import Loaded

SHOWN = 10  # questions of one reason in full; then a count
USED_AGAIN = 5  # serials of two models from which on it is asked whether numbers are used again
_WIDEST = 60  # characters of a cell


def headline(logs: int, waiting: int, answers: tuple[int, int]) -> str:
    """`54 logs loaded; 505 rows and cells wait for 247 answers, 63 of them guessed.` answers : how many settle all that
    waits, and how many of them are guessed.
    """
    if not logs:
        return "No log is loaded yet."
    say = f"{numbers.count(logs)} {'log' if logs == 1 else 'logs'} loaded"
    if not waiting:
        return f"{say}; no question waits."
    if waiting == 1:
        return f"{say}; 1 question waits."
    many, guessed = answers
    sure = f", {numbers.count(guessed)} of them guessed" if guessed else ""
    wanted = f"{numbers.count(many)} {'answer' if many == 1 else 'answers'}"
    return f"{say}; {numbers.count(waiting)} rows and cells wait for {wanted}{sure}."


def account(file: Loaded) -> str:
    """One file in one line; its rows add up."""
    if file.outcome == "refused":
        return file.problem
    if file.outcome == "already loaded":
        return f"{file.name}: this file is loaded already; nothing changed"
    parts = [f"{file.accepted} accepted"]
    rest = ((file.changed, "changed"), (file.already_held, "already held"), (file.set_aside, "set aside"))
    parts += [f"{count} {word}" for count, word in rest if count]
    told = f"{file.name}: {file.rows_read} rows read = {' + '.join(parts)}"
    if file.cells_set_aside:
        told += f"; {file.cells_set_aside} {'cell' if file.cells_set_aside == 1 else 'cells'} set aside"
    if file.passed_over:
        told += f"; {file.passed_over} blank, title, total or not meant lines passed over"
    return told


def accounts(files: Sequence[Loaded]) -> Iterator[tuple[Loaded, str]]:
    """Each file with its line; of files refused for one reason the first, with how many more there are."""
    refused = Counter(_reason(file) for file in files if file.outcome == "refused")
    for file in files:
        line = account(file)
        if file.outcome == "refused":
            more = refused.pop(_reason(file), 0) - 1
            if more < 0:
                continue
            line += f" (and {more} more {'file' if more == 1 else 'files'}, for the same reason)" if more else ""
        yield file, line


def _reason(file: Loaded) -> str:
    return file.problem.replace(file.name, "")


def questions(files: Sequence[Loaded]) -> Iterator[str]:
    """What was set aside, reason by reason, the commonest first: ten in full, then a count; then what is asked once."""
    asked = pl.concat([file.questions for file in files]) if files else pl.DataFrame()
    if asked.height:
        yield "Set aside, as questions to you:"
        words = unlisted.words_aside(asked)["reason"]
        groups = asked.group_by("reason", maintain_order=True).agg(pl.len().alias("n"))
        for reason, count in groups.sort("n", "reason", descending=[True, False]).iter_rows():
            yield f"  {reason} ({count})"
            rows = asked.filter(pl.col("reason") == reason)
            if reason in words:
                yield f"    {lines_of(rows)}; wanted {rows['wanted'][0]}"
                continue
            of_a_tab = (pl.col("column") == "") & pl.col("raw").str.starts_with("tab '")  # set aside under its name
            rows = rows.with_columns(apart=pl.when(of_a_tab).then(0).otherwise("line"))
            alike = rows.group_by("name", "column", "raw", "wanted", "apart", maintain_order=True)
            told = alike.agg(pl.col("line").first(), n=pl.len())
            for name, column, raw, wanted, _, line, n in told.head(SHOWN).iter_rows():
                more = f" and {n - 1} more" if n > 1 else ""
                what = f"{column} is {_short(raw)!r}" if column else repr(_short(raw))
                yield f"    {name}, line {line}{more}: {what}; wanted {wanted}"
            if told.height > SHOWN:
                yield f"    and {count - int(told['n'].head(SHOWN).sum())} more"
    yield from _two_values(
        pl.concat([file.two_values for file in files]).unique(maintain_order=True) if files else pl.DataFrame()
    )
    notes = together(files)
    if notes:
        yield "To look at once:"
        yield from (f"  {note}" for note in notes)


def together(files: Sequence[Loaded]) -> list[str]:
    """What is to be looked at once, of all files: what several say of themselves with a number each stands in one line
    with the sum.
    """
    told: dict[str, list[tuple[int, str]]] = {}  # by the text without number and file: how many, as one file says it
    for file in files:
        for note in file.notes:
            counted = re.match(r"(\d+) (.+)", note)
            text = counted[2] if counted else note
            alike = text.replace(f" in {file.name}", " in {}") if counted else note
            told.setdefault(alike, []).append((int(counted[1]) if counted else 0, note))
    out = []
    for alike, each in told.items():
        total, said = sum(number for number, _ in each), [note for _, note in each]
        one = len(each) == 1 or not total
        out.append(said[0] if one else f"{total:,} {alike.replace(' in {}', f' in {len(each)} files')}")
    return out


UNREAD, NUMBERS = 0.05, 0.5  # of a measurement's cells unread; of a column's cells that are numbers


def unread(file: Loaded) -> Iterator[str]:
    """What of a file was not read: its outcomes, cells of a measurement, columns of numbers that nobody has mapped."""
    columns = file.columns
    if columns.is_empty() or file.outcome != "loaded" or "study" in columns["field"]:
        return
    parts = []
    if not columns["field"].is_in(["outcome"]).any():
        parts.append("outcomes, for no column says how a visit ended")
    readings = columns.filter(pl.col("field") == "reading").group_by("characteristic", maintain_order=True)
    for key, filled, aside in readings.agg(pl.col("filled", "aside").sum()).iter_rows():
        if aside and aside >= UNREAD * filled:
            parts.append(f"{key}: {aside:,} cells of {filled:,}")
    for heading, filled, count in (
        columns.filter(pl.col("field") == "other").select("heading", "filled", "numbers").iter_rows()
    ):
        if filled and count >= NUMBERS * filled:
            parts.append(f"{heading!r}: {filled:,} cells, for nobody has said what the column is")
    if parts:
        yield f"  Not read: {'; '.join(parts)}."


def editions(file: Loaded) -> Iterator[str]:
    """What a log is to those on file: of which it is a newer edition, what that adds, changes and drops, and the cells
    that differ; which newer one it gives way to; whether that is a question.
    """
    pairs = file.told.pairs
    older = pairs.filter(pl.col("holds") & (pl.col("newer") == file.log_id))
    for place, row in enumerate(older.reverse().iter_rows(named=True)):
        if place:
            yield f"  It takes the place of {older.height - 1} earlier {'one' if older.height == 2 else 'ones'} too."
            break
        yield (
            f"{file.name} is a newer edition of {row['name']}, loaded {row['loaded_at']:%d %b %Y}: it tells of "
            f"{row['shared']} of its {row['of']} visits, adds {row['adds']}, changes {row['changes']} "
            f"and drops {row['drops']}. "
            f"`truerun unload {file.name}` takes it back."
        )
    for row in pairs.filter(pl.col("holds") & (pl.col("older") == file.log_id)).head(1).iter_rows(named=True):
        yield f"{file.name} gives way to its newer edition {row['name']} on the days that one covers."
    for row in pairs.filter("asked").iter_rows(named=True):
        yield (
            f"{file.name} and the log of that name loaded {row['loaded_at']:%d %b %Y} share {row['shared']} visits of "
            f"{row['of']}: is one a newer edition of the other, or another log? They count as "
            "two logs until you say so on Logs."
        )
    cells = file.told.cells
    for serial, stage, line, column, before, after in (
        cells.head(SHOWN).select("serial", "stage", "line", "column", "before", "after").iter_rows()
    ):
        what = f"{column} {_short(before)!r} is now {_short(after)!r}" if column != GONE else f"as it was, {GONE}"
        yield f"    {serial}, {stage}, line {line}: {what}"
    if cells.height > SHOWN:
        yield f"    and {cells.height - SHOWN} more cells"


def lines_of(rows: pl.DataFrame) -> str:
    """Where the rows of one question stand: file by file, ten lines, then a count."""
    told = []
    for (name,), mine in rows.group_by("name", maintain_order=True):
        lines = mine["line"].to_list()
        more = f" and {len(lines) - SHOWN} more" if len(lines) > SHOWN else ""
        told.append(f"{name}, {'line' if len(lines) == 1 else 'lines'} {', '.join(map(str, lines[:SHOWN]))}{more}")
    return "; ".join(told[:SHOWN]) + (f"; and {len(told) - SHOWN} more files" if len(told) > SHOWN else "")


def _two_values(found: pl.DataFrame) -> Iterator[str]:
    """Instruments of which the logs say two things, field by field: ten in full, then a count."""
    if found.is_empty():
        return
    yield "Two values where an instrument has one; the first in time order counts until you correct the other:"
    for (name,), rows in found.sort("field", "serial").group_by("field", maintain_order=True):
        yield f"  {name} ({len(rows)})"
        yield from (f"    {line}" for line in carried.lines(rows.head(SHOWN)))
        if len(rows) > SHOWN:
            yield f"    and {len(rows) - SHOWN} more"
        if name == "model" and len(rows) >= USED_AGAIN:
            yield '    Are numbers used again for other instruments? serials = "each month" (each day, each year)'
            yield "    in the [[log]] tells them apart, with `truerun again --all`"


def changes(found: Sequence[Change]) -> Iterator[str]:
    """What reading everything anew would change, log by log."""
    if not found:
        yield "Every original was read again; nothing changes."
        return
    yield "Reading every original again would change:"
    for change in found:
        moved = [name for name in change.after if change.before[name] != change.after[name]]
        parts = [f"{name.replace('_', ' ')} {change.before[name]} to {change.after[name]}" for name in moved]
        parts += [f"{count} {table} come in" for table, count in change.came.items() if count]
        parts += [f"{count} {table} go out" for table, count in change.went.items() if count]
        yield f"  {change.name}: {', '.join(parts)}"


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= _WIDEST else line[: _WIDEST - 3] + "..."


def exit_code(files: Sequence[Loaded]) -> int:
    """0 done; 1 done, something set aside or refused; 2 nothing done."""
    if all(file.outcome == "refused" for file in files):
        return 2
    return 1 if any(file.set_aside or file.cells_set_aside or file.outcome == "refused" for file in files) else 0


def on_tablets(found: Sequence[Tablet], shop: Shop) -> list[str]:
    """What waits on tablets, as they last told, and whose clock is wrong; a line each."""
    lines = []
    for one in found:
        named = f"the tablet {one.name}, at {shop.stage_name(one.stage)}"
        if one.waiting:
            many = "1 card waits" if one.waiting == 1 else f"{numbers.count(one.waiting)} cards wait"
            lines.append(f"On {named}, {many}, as it last told; they come when it reaches this machine.")
        if one.clock_off:
            minutes, side = numbers.count(round(abs(one.clock_off) / 60)), "ahead" if one.clock_off > 0 else "behind"
            lines.append(
                f"The clock of {named}, is {minutes} min {side}; its cards stand at the right time all the same."
            )
    return lines
