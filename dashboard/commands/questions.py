"""The open questions as a file to fill in, and the answers of such a file: what Logs does, at the command line."""

from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.commands.terminal import UserProblem, now, opened, say

if TYPE_CHECKING:
    from ingest.verbs.groups import Decision


def write(shop: Path, out: Path) -> None:
    """Write the open questions as CSV, a line an answer, guesses filled in where the instruments' stories bear them
    out.
    """
    from ingest.verbs.answers import sheet

    found = _decisions(shop)
    count = sum(len(one.groups) for one in found)
    try:
        out.write_text(sheet(found), encoding="utf-8")
    except OSError as fault:
        raise UserProblem(f"{out} could not be written ({fault.strerror or fault})") from None
    say(f"{count} {'line' if count == 1 else 'lines'} to fill in: {out}. In the column `answer` write what is meant,")
    say("of a new model `new: FAMILY`, else `cannot be known`, `it is real`, `keep held` or `take new`; then:")
    say("truerun again --answers FILE --who NAME")


def read(shop: Path, filled: Path, who: str, why: str) -> None:
    """Take the answers of a filled file in, in one version."""
    from ingest.verbs.answers import answer, filled_in

    try:
        text = filled.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        raise UserProblem(f"{filled} could not be read ({fault}); wanted the CSV that --questions wrote") from None
    given = filled_in(text, _decisions(shop))
    if not given:
        raise UserProblem(f"{filled} answers no question that is open; nothing was changed")
    became = answer(shop, given, who, why or "answered in a file", now=now())
    asked = f"{len(given)} {'question' if len(given) == 1 else 'questions'} answered"
    say(f"{asked}: {became.rows_in} rows and cells came in, {became.left} are left.")
    for line in became.told:
        say(line)


def _decisions(shop: Path) -> "list[Decision]":
    from analysis.studies.story.waiting import waiting
    from ingest.verbs.worklist import worklist

    snapshot = opened(shop)
    people = snapshot.shop.people.show != "none"
    return worklist(snapshot, folder=shop, asked=waiting(snapshot), people=people)
