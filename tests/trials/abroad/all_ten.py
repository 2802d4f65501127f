"""The eight shops that a mending may look at, the two kept aside until it was done, and four written after them."""

from tests.trials.abroad import (
    america,
    austria,
    britain,
    france,
    germany,
    harbour,
    kept_aside,
    lowlands,
    poland,
    ridge,
    spain,
    sweden,
)

EIGHT = {
    "germany": germany.shop,
    "britain": britain.shop,
    "lines": america.lines,
    "board": america.board,
    "lowlands": lowlands.shop,
    "sweden": sweden.shop,
    "france": france.shop,
    "poland": poland.shop,
}
NEWER = {"austria": austria.shop, "harbour": harbour.shop, "ridge": ridge.shop, "spain": spain.shop}
ASIDE = {"danish": kept_aside.danish, "german": kept_aside.german}
