"""The eight shops that a mending may look at, and the two kept aside until it is done."""

from tests.trials.abroad import america, britain, france, germany, kept_aside, lowlands, poland, sweden

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
ASIDE = {"danish": kept_aside.danish, "german": kept_aside.german}
