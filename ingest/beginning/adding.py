"""What a shop lacks, put into its shop.toml by the program itself; and the way back."""

import re
import tomllib
from pathlib import Path

from ingest.beginning.new import Proposal
from ingest.shopfiles.shop import checked_shop

BEFORE, TAKEN_BACK = "shop.toml.before", ".taken-back"
_LOG = re.compile(r"(?m)^\[\[\s*log\s*\]\]")
_TABLE = re.compile(r"(?m)^(?=\[\[\w+\]\])|^(?=# \[\[stage\]\] tables)")


def add_to_shop(folder: Path, proposal: Proposal) -> Path:
    """Put the tables of a proposal into shop.toml, new kinds of sheet before those there are, and keep the file as it
    was beside it. ShopProblem where the whole would not stand; then nothing is changed.
    """
    path = folder / "shop.toml"
    held = path.read_text(encoding="utf-8-sig")
    logs = proposal.shop_toml[first.start() :] if (first := _LOG.search(proposal.shop_toml)) else ""
    rest = proposal.shop_toml[: len(proposal.shop_toml) - len(logs)].strip()
    at = found.start() if (found := _LOG.search(held)) else len(held)
    text = "\n\n".join(part.strip() for part in (held[:at], rest, logs, held[at:]) if part.strip()) + "\n"
    checked_shop(tomllib.loads(text))
    (folder / BEFORE).write_text(held, encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    return path


def take_back(folder: Path) -> list[Path]:
    """Undo what was written last: shop.toml as it was before an addition, else both first files put aside. Says which
    files stand where they were put.
    """
    if (folder / BEFORE).exists():
        (folder / BEFORE).replace(folder / "shop.toml")
        return [folder / "shop.toml"]
    moved = []
    for name in ("shop.toml", "specs.csv"):
        if (folder / name).exists():
            moved.append((folder / name).replace(folder / f"{name}{TAKEN_BACK}"))
    return moved
