"""What a shop lacks, put into its shop.toml by the program itself; and the way back."""

import re
import tomllib
from pathlib import Path

from ingest.beginning.new import Proposal
from ingest.shopfiles.shop import checked_shop

BEFORE, TAKEN_BACK = "shop.toml.before", ".taken-back"
_LOG = re.compile(r"(?m)^\[\[\s*log\s*\]\]")
_OTHER = re.compile(r"(?m)^\[(?!log\.|\s*log\s*\.)")  # the next table that is no part of a [[log]]


def add_to_shop(folder: Path, proposal: Proposal) -> Path:
    """Put the tables of a proposal into shop.toml, new kinds of sheet before those there are, and keep the file as it
    was beside it. ShopProblem where the whole would not stand; then nothing is changed.
    """
    path = folder / "shop.toml"
    held = before = path.read_text(encoding="utf-8-sig")
    logs = proposal.shop_toml[first.start() :] if (first := _LOG.search(proposal.shop_toml)) else ""
    rest = proposal.shop_toml[: len(proposal.shop_toml) - len(logs)].strip()
    mine = {_name(block): block for block in _blocks(logs)}
    for block in _blocks(held):
        if completed := mine.pop(_name(block), ""):  # it takes the place of the one there
            held = held.replace(block, completed.strip() + "\n\n", 1)
    logs = "\n\n".join(block.strip() for block in mine.values())
    at = found.start() if (found := _LOG.search(held)) else len(held)
    text = "\n\n".join(part.strip() for part in (held[:at], rest, logs, held[at:]) if part.strip()) + "\n"
    checked_shop(tomllib.loads(text))
    (folder / BEFORE).write_text(before, encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    return path


def _blocks(text: str) -> list[str]:
    """The [[log]] tables of a shop file, each with its own parts and comments."""
    starts = [found.start() for found in _LOG.finditer(text)]
    ends = [found.start() for found in _OTHER.finditer(text)] + [len(text)]
    return [text[at : min(end for end in ends if end > at)] for at in starts]


def _name(block: str) -> str:
    """The name of the [[log]] of a block."""
    return str(tomllib.loads(block)["log"][0].get("name", "logs"))


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
