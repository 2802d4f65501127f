"""Commands that look at the shop: week, figures, limits."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard.commands.terminal import HERE, ShopFolder, UserProblem, day_of, end_of, now, opened, say, silent_lines

if TYPE_CHECKING:
    from dashboard.desk.desk import Desk
    from ingest.store.snapshot import Snapshot


def figures(
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where the files go.")],
    shop: ShopFolder = HERE,
    json: Annotated[bool, typer.Option("--json", help="JSON instead of CSV.")] = False,
    of: Annotated[
        str | None, typer.Option("--of", metavar="DATE", help="As of the end of this day (2026-03-27).")
    ] = None,
) -> int:
    """Write every computed figure, one file a table.

    Figures are unrounded, in mm, cents and minutes, times in UTC.
    """
    opened(shop)
    from dashboard.desk.desk import Desk
    from dashboard.exports.figures import NotWritten, write_figures

    counter = Desk(shop)
    snapshot = counter.snapshot(end_of(shop, of))
    for line in unread_lines(snapshot):
        say(line)
    written, failed = 0, 0
    try:
        for one in write_figures(snapshot, out, as_json=json):
            if isinstance(one, NotWritten):
                say(f"{one.name}: not written; {counter.in_place(one.why)}")
                failed += 1
                continue
            say(f"{one}")
            written += 1
    except OSError as fault:
        raise UserProblem(f"{out} could not be written ({fault.strerror or fault})") from None
    if not written:
        raise UserProblem(f"No table could be written to {out}.")
    say(f"{written} tables written to {out}{f'; {failed} could not be worked out' if failed else ''}.")
    if of and (line := _since_reviewed(counter, of)):
        say(line)
    return 1 if failed else 0


def _since_reviewed(counter: "Desk", of: str) -> str:
    """Where the week of that day was reviewed: what has changed of it since."""
    from analysis.methods.problems import UnusableData
    from dashboard.desk import desk
    from dashboard.papers import week as papers

    desk.use(counter)
    try:
        return papers.since_reviewed(day_of(of))
    except UnusableData:  # no work of that week: nothing was reviewed
        return ""


def unread_lines(snapshot: "Snapshot") -> "list[str]":
    """What was not read, a line each: said before anything computed from the rest."""
    from analysis.studies.story.unread import STAGE, unread
    from dashboard.sentences import unread as words

    rows = snapshot.once(unread)
    return words.lines(rows.filter(rows["what"] != STAGE), snapshot.shop)


def week(
    shop: ShopFolder = HERE,
    of: Annotated[
        str | None,
        typer.Option("--of", metavar="DATE", help="A day of the week to review; default the last whole week."),
    ] = None,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where the paper goes.")] = Path("."),
    letter: Annotated[bool, typer.Option("--letter", help="For Letter paper instead of A4.")] = False,
    pdf: Annotated[bool, typer.Option("--pdf", help="A PDF too, made by a Chromium on this machine.")] = False,
    every: Annotated[
        str | None,
        typer.Option(
            "--every", metavar="DAY", help="Write nothing: say how this machine's scheduler does it each DAY."
        ),
    ] = None,
) -> None:
    """Write the weekly review as a paper.

    One HTML file that needs nothing else: mail it, print it, or have a PDF made of it. No tech is named in it but
    where somebody wrote a name into the book.
    """
    if every:
        for line in scheduled(every, shop, out, pdf=pdf, letter=letter):
            say(line)
        return
    day = day_of(of) if of else None
    opened(shop)
    from dashboard.desk import desk, looking_back
    from dashboard.papers import week as review
    from ingest.shopfiles.unheld import said

    desk.use(desk.Desk(shop))
    asked = looking_back.asked(day)
    stands = desk.here().snapshot()
    for line in (*unread_lines(stands), *(said(one, stands.shop) for one in stands.specs.missed)):
        say(line)
    for line in silent_lines(desk.here().snapshot()) if day is None else ():
        say(line)
    with desk.as_it_stood(asked.end):
        name, html = review.paper(week=asked.first, letter=letter)
    write_paper(name, html, out, pdf)


DAYS = ("Sunday", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday")  # as cron counts them


def scheduled(day: str, shop: Path, out: Path, *, pdf: bool, letter: bool) -> list[str]:
    """What to give to this machine's scheduler so that the paper is written each week on a day; UserProblem where it is
    no day of the week.
    """
    import shlex
    import subprocess
    import sys

    full = next((each for each in DAYS if day.strip().lower() in (each.lower(), each[:3].lower())), None)
    if full is None:
        raise UserProblem(f"--every {day!r} is no day of the week; wanted one such as Monday")
    program = _program()
    more = [word for word, given in (("--pdf", pdf), ("--letter", letter)) if given]
    words = [program, "week", "--shop", str(shop.resolve()), "--out", str(out.resolve()), *more]
    if sys.platform == "win32":
        told = subprocess.list2cmdline(words).replace('"', '\\"')
        return [
            "Type this once; Windows then writes the paper at 07:00:",
            f'schtasks /Create /TN "Truerun week" /SC WEEKLY /D {full[:3].upper()} /ST 07:00 /TR "{told}"',
        ]
    line = shlex.join(words).replace("%", "\\%")  # cron ends a line at a bare %
    return [
        "Put this line into your table of times (crontab -e); the paper is then written at 07:00:",
        f"0 7 * * {DAYS.index(full)} {line}",
    ]


def _program() -> str:
    """Where this program stands: a scheduler has no path on which to look for it."""
    import shutil
    import sys

    beside = [
        Path(sys.argv[0]),
        Path(sys.executable).with_name("truerun"),
        Path(sys.executable).with_name("truerun.exe"),
    ]
    found = (str(one.absolute()) for one in beside if one.stem == "truerun" and one.is_file())
    return next(found, shutil.which("truerun") or "truerun")


def write_paper(name: str, html: str, out: Path, pdf: bool) -> None:
    """Write a paper, and the PDF of it where one is wanted."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        path = out / f"{name}.html"
        path.write_text(html, encoding="utf-8")
    except OSError as fault:
        raise UserProblem(f"{out} could not be written ({fault.strerror or fault})") from None
    say(f"{path}")
    if pdf:
        from dashboard.papers.pdf import NoPdf, write_pdf

        try:
            write_pdf(path, path.with_suffix(".pdf"))
        except NoPdf as problem:
            raise UserProblem(str(problem)) from None
        say(f"{path.with_suffix('.pdf')}")


def limits(
    *,
    first: Annotated[str, typer.Option("--from", metavar="DATE", help="First day of the baseline (2026-03-02).")],
    last: Annotated[str, typer.Option("--to", metavar="DATE", help="Last day of the baseline, included.")],
    who: Annotated[str, typer.Option("--who", help="Who decides this.")],
    why: Annotated[str, typer.Option("--why", help="Why, in a few words; it stands in the book.")],
    shop: ShopFolder = HERE,
    model: Annotated[str, typer.Option("--model", help="Only this model (or setup).")] = "",
    characteristic: Annotated[str, typer.Option("--characteristic", help="Only this characteristic.")] = "",
) -> None:
    """Put control limits on file.

    They are computed from the readings of the days named, for every stream with enough of them, and judge from the day
    after.
    """
    begin, end = day_of(first), day_of(last)
    if end < begin:
        raise UserProblem(f"--from {first} is after --to {last}")
    snapshot = opened(shop)
    from analysis.studies.drift.limits import limits_proposal
    from ingest.store.book import write_limits

    shop_file = snapshot.shop
    known = {*shop_file.setups, *shop_file.setups.values()}
    for name, value, among in (
        ("model", model, known),
        ("characteristic", characteristic, set(shop_file.by_characteristic)),
    ):
        if value and value not in among:
            raise UserProblem(f"No {name} {value!r} in shop.toml; wanted one of {', '.join(sorted(among))}")
    rows, unsteady = limits_proposal(snapshot, from_date=begin, to_date=end, model=model, characteristic=characteristic)
    if rows.is_empty():
        least = shop_file.judging.least_readings
        raise UserProblem(f"No series has {least} readings from {first} to {last}; nothing was put on file")
    for row in unsteady.iter_rows(named=True):
        stream = " ".join(row[name] for name in ("characteristic", "position", "model", "stage", "tech") if row[name])
        say(
            f"  not steady: {stream}, {row['taken_at']:%Y-%m-%d} {row['serial']}: {row['why']}, {row['sigmas']:+.1f} "
            "times the usual spread"
        )
    write_limits(shop, rows, who, why, now=now())
    say(f"Limits of {rows.height} series are on file, from the readings of {first} to {last}.")
