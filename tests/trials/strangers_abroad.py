"""Shops from abroad by the README's commands and a few truthful answers, 600 instruments each, held against what is
true: python -m tests.trials.strangers_abroad [NAME ...]

Seeds stand with each shop and were fixed before the first run. Only named shops print; the table of all is written.
"""

import sys
import tempfile
from pathlib import Path

from tests.trials.abroad.all_ten import ASIDE, EIGHT, NEWER
from tests.trials.abroad.walk import walk
from tests.trials.written import write

HEAD = (
    "| shop | answers | right | unread | wrong | share right | send-backs right | planted |\n"
    "|---|---|---|---|---|---|---|---|"
)


def main() -> None:
    """The shops named, else all fourteen; a row of the table each, printed as it comes."""
    names = [word for word in sys.argv[1:] if not word.startswith("-")]
    shops = EIGHT | ASIDE | NEWER
    rows = []
    for name in names or shops:
        with tempfile.TemporaryDirectory() as place:
            came = walk(shops[name](), Path(place))
        rows.append(came.row())
        print(rows[-1], *came.examples, sep="\n  ", flush=True)  # noqa: T201 - a trial tells its result
        if "--words" in sys.argv:
            print(came.words)  # noqa: T201 - what the commands said
    if not names:
        write(__file__, "\n".join([HEAD, *rows]))


if __name__ == "__main__":
    main()
