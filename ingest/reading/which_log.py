"""Which [[log]] of shop.toml reads a file, and of a workbook which of its tabs."""

from collections.abc import Sequence
from fnmatch import fnmatch
from functools import partial

from ingest.reading.card_sheet import KIND, is_card
from ingest.reading.on_disk import Data
from ingest.reading.workbook import Tabs, tab_names
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.terms.questions import FileProblem


def log_for(name: str, shop: Shop) -> Log:
    """The first [[log]] whose `files` matches the name; without any [[log]] the defaults. A sheet of Card has a kind of
    its own. FileProblem where none matches.
    """
    if is_card(name):
        return KIND
    if not shop.logs:
        return Log()
    for log in shop.logs:
        if matches(log, name):
            return log
    patterns = ", ".join(dict.fromkeys(log.files for log in shop.logs))
    raise FileProblem(
        f"{name}: no [[log]] of shop.toml matches this file name; wanted one like {patterns}, or a [[log]] for it: "
        "`truerun new` proposes one"
    )


def matches(log: Log, name: str) -> bool:
    """Is a [[log]] for files of this name?"""
    return fnmatch(name.replace("\\", "/").rsplit("/", 1)[-1].casefold(), log.files.casefold())


def logs_of(data: Data, name: str, shop: Shop) -> list[tuple[Log, Tabs | None]]:
    """The [[log]]s that read a file: the first that matches its name; of a workbook, each with the tabs of its own.

    FileProblem where none matches, or none of a workbook's tabs.
    """
    first = log_for(name, shop)
    matching = [log for log in shop.logs if matches(log, name)]
    if not any(log.tab for log in matching):
        return [(first, None)]
    tabs = tab_names(data)
    if not tabs:
        return [(next((log for log in matching if not log.tab), first), None)]
    owned = _owners(tabs, matching)
    logs = [log for log in matching if log in owned.values()]
    if not logs:
        wanted = ", ".join(repr(log.tab) for log in matching)
        raise FileProblem(f"{name}: it has the tabs {', '.join(map(repr, tabs))}; wanted one such as {wanted}")
    return [(log, partial(_is_own, owned, log)) for log in logs]


def _is_own(owned: dict[str, Log], log: Log, tab: str) -> bool:
    return owned.get(tab) is log


def _owners(tabs: Sequence[str], logs: Sequence[Log]) -> dict[str, Log]:
    """The [[log]] of each tab: the first that names it, else the first that names none."""
    owned = {}
    for tab in tabs:
        naming = [log for log in logs if log.tab and fnmatch(tab.strip().casefold(), log.tab.strip().casefold())]
        owner = next(iter([*naming, *(log for log in logs if not log.tab)]), None)
        if owner is not None:
            owned[tab] = owner
    return owned


def left_tabs(data: Data, name: str, shop: Shop) -> list[str]:
    """The tabs of a workbook that no [[log]] reads, where its [[log]]s name tabs."""
    matching = [log for log in shop.logs if matches(log, name)]
    if not any(log.tab for log in matching):
        return []
    tabs = tab_names(data)
    owned = _owners(tabs, matching)
    return [tab for tab in tabs if tab not in owned]
