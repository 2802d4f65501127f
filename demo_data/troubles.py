"""What goes wrong on the way: which visit leaves a trouble, where it is caught, and the way back of the instruments
that have one.

Only instruments with a trouble or an early end are walked in Python, one at a time; all others keep the plain route.
"""

from dataclasses import dataclass

import numpy as np

from demo_data import scenario as shop
from demo_data.flow import DRAWN, FINAL, PACKING, PLAY, RECEIVING, REPAIR, REST, Instruments, Visits, learning
from demo_data.scenario import PLACE, PLANTED, STAGES

Row = tuple[int, str, str, str, str, str, int]  # stage, outcome, fault, fault_at, cause, sent_back_to, extra wait


@dataclass(frozen=True)
class Trouble:
    """One kind of trouble: where it is caused, where it is caught, how often."""

    cause: int
    caught: int
    name: str
    where: str


def left_behind(
    rng: np.random.Generator, visits: Visits, instruments: Instruments, days: np.ndarray
) -> dict[int, Trouble]:
    """Which instruments carry a trouble out of a first pass; at most one each."""
    share = np.zeros(len(STAGES))
    for name, kind in shop.TROUBLES.items():
        share[PLACE[name]] = kind.share
    odds = share[visits.stage]
    nut = PLANTED["nut_rework"]
    odds = odds * np.where(
        (visits.stage == PLACE[nut["stage"]]) & (visits.tech == shop.TECH[nut["tech"]]), nut["times"], 1.0
    )
    odds *= 1 + PLANTED["learners"]["size"] * learning(visits.tech, days[instruments.day[visits.instrument]])
    order = np.lexsort((DRAWN[visits.stage], visits.instrument))  # drawn as the bench stood when the seed was first run
    hits = order[rng.random(len(odds)) < odds[order]]
    found: dict[int, Trouble] = {}
    for row in rng.permutation(hits):
        number, stage = int(visits.instrument[row]), int(visits.stage[row])
        kind = shop.TROUBLES[STAGES[stage]]
        fault = str(rng.choice(list(kind.names), p=list(kind.names.values())))
        caught = PLACE[str(rng.choice(list(kind.caught), p=list(kind.caught.values())))]
        found[number] = Trouble(
            stage, caught, fault, _where(rng, kind.where, int(shop.STRINGS[instruments.model[number]]), fault)
        )
    return found


def _where(rng: np.random.Generator, kind: str, strings: int, name: str) -> str:
    string = int(rng.integers(1, strings + 1))
    if kind == "fret":
        low, high = (1, 4) if "1-3" in name else (5, 13)
        fret = int(rng.integers(low, high))
        return f"fret {fret}" if "all strings" in name else f"{string} fret {fret}"
    return str(string) if kind == "string" else ""


class Walk:
    """The walk of one instrument after another; draws in order from one generator."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng

    def chance(self, share: float) -> bool:
        """True so often."""
        return bool(self.rng.random() < share)

    def minutes(self, mean: float) -> int:
        """Whole minutes about a mean."""
        return int(self.rng.exponential(mean))

    def walk(self, route: list[int], trouble: Trouble | None, end: str | None, end_stage: int) -> list[Row]:
        """The stages one instrument visits, in order."""
        rows: list[Row] = []
        if trouble and trouble.caught not in route:
            trouble = Trouble(trouble.cause, PLAY, trouble.name, trouble.where)
        for stage in route:
            if end and stage == end_stage and end != "return":
                if end == "hold":
                    rows += [
                        (stage, "hold", "", "", "", "", 0),
                        (stage, "pass", "", "", "", "", 540 * int(self.rng.integers(1, 5))),
                    ]
                    continue
                fault = {"reject": "twist", "second": "finish flaw", "pulled": ""}[end]
                cause = (
                    "" if end == "pulled" else "supplier" if self.chance(0.7) else "handling" if end == "second" else ""
                )
                return [*rows, (stage, end, fault, "", cause, "", 0)]
            if trouble and stage == trouble.caught:
                if self.chance(shop.SHARE_SENT_BACK):
                    rows += self.way_back(route, trouble, 0)
                else:
                    cause = self.named(trouble.cause) if self.chance(shop.SHARE_CAUSE_WRITTEN) else ""
                    rows.append((stage, "fixed", trouble.name, trouble.where, cause, "", 0))
                continue
            rows.append((stage, "pass", "", "", "", "", 0))
        if end == "return":
            rows += self.came_back(route)
        return rows

    @staticmethod
    def named(cause: int) -> str:
        """What somebody wrote down as the cause."""
        return "supplier" if cause == RECEIVING else STAGES[cause]

    def way_back(self, route: list[int], trouble: Trouble, depth: int) -> list[Row]:
        """The visit that sends back, the stages passed again, and the re-check."""
        target = REPAIR if trouble.cause == RECEIVING else trouble.cause
        astray = depth == 0 and target != REPAIR and self.chance(shop.SHARE_SENT_ASTRAY)
        if astray:
            target = int(
                self.rng.choice(
                    [stage for stage in route if RECEIVING < stage < trouble.caught and STAGES[stage] in shop.TROUBLES]
                )
            )
        written = shop.SHARE_SUPPLIER_WRITTEN if trouble.cause == RECEIVING else shop.SHARE_CAUSE_WRITTEN
        cause = self.named(trouble.cause) if self.chance(written) else ""
        rows: list[Row] = [(trouble.caught, "send back", trouble.name, trouble.where, cause, STAGES[target], 0)]
        again = [PLACE[name] for name in shop.TROUBLES[STAGES[target]].after] if target != REPAIR else []
        path = [target] + [stage for stage in again if stage in route and target < stage < trouble.caught]
        if PLAY in path and not self.chance(0.6):
            path = [stage for stage in path if stage not in (PLAY, REST)]
        elif REST in path and not self.chance(0.6):
            path.remove(REST)
        for place, stage in enumerate(path):
            wait = self.minutes(90) if place == 0 else 0
            if place and depth < 2 and stage != REST and self.chance(shop.SHARE_ANOTHER):
                earlier = [one for one in path[:place] if STAGES[one] in shop.TROUBLES and one != RECEIVING]
                if earlier:
                    origin = int(self.rng.choice(earlier))
                    name = next(iter(shop.TROUBLES[STAGES[origin]].names))
                    rows += self.way_back(route, Trouble(origin, stage, name, ""), depth + 1)
                    continue
            rows.append((stage, "pass", "", "", "", "", wait))
        if self.chance(shop.SHARE_NOT_CHECKED_AGAIN):
            return rows
        if depth < 3 and self.chance(0.6 if astray else shop.SHARE_BACK_AGAIN):
            return rows + self.way_back(route, trouble, depth + 1)
        return [*rows, (trouble.caught, "pass", "", "", "", "", 0)]

    def came_back(self, route: list[int]) -> list[Row]:
        """A customer sends it back after some weeks."""
        fault, stage = [
            ("open-string buzz", "nut_slotting"),
            ("back-bow", "repair"),
            ("loose fret", "repair"),
            ("string slips", "stringing"),
        ][int(self.rng.integers(0, 4))]
        later = [PLACE[stage], PLAY, REST, FINAL, PACKING]
        first: Row = (RECEIVING, "return", fault, "", "", stage, 540 * int(self.rng.integers(6, 40)))
        return [first] + [(one, "pass", "", "", "", "", 0) for one in later]


def early_ends(rng: np.random.Generator, visits: Visits, instruments: Instruments) -> dict[int, tuple[str, int]]:
    """Which instruments end early, wait on hold or come back from the customer, and at which stage."""
    count = len(instruments.model)
    names = list(shop.SHARES_OF_ENDS)
    kind = np.searchsorted(np.cumsum(list(shop.SHARES_OF_ENDS.values())), rng.random(count), side="right")
    starts = np.flatnonzero(np.diff(visits.instrument, prepend=-1))
    lengths = np.diff(starts, append=len(visits))
    ends: dict[int, tuple[str, int]] = {}
    for number in np.flatnonzero(kind < len(names)):
        name = names[kind[number]]
        anywhere = int(visits.stage[starts[number] + rng.integers(1, lengths[number] - 3)])
        stage = {"reject": RECEIVING if rng.random() < 0.6 else FINAL, "second": FINAL, "return": PACKING}.get(
            name, anywhere
        )
        ends[int(number)] = (name, stage)
    return ends


def walked(
    rng: np.random.Generator, visits: Visits, troubles: dict[int, Trouble], ends: dict[int, tuple[str, int]], count: int
) -> Visits:
    """All visits, with the instruments that have a trouble or an early end walked anew; times still to be filled."""
    walk = Walk(rng)
    touched = sorted(troubles.keys() | ends.keys())
    starts = np.searchsorted(visits.instrument, np.arange(count + 1))
    rows: list[tuple[int, Row]] = []
    for number in touched:
        end, end_stage = ends.get(number, (None, -1))
        route = visits.stage[starts[number] : starts[number + 1]].tolist()
        rows += [(number, row) for row in walk.walk(route, troubles.get(number), end, end_stage)]
    plain = visits.only(~np.isin(visits.instrument, touched))
    instrument = np.concatenate([plain.instrument, np.array([number for number, _ in rows], dtype=int)])
    order = np.argsort(instrument, kind="stable")

    def column(place: int, kept: np.ndarray) -> np.ndarray:
        return np.concatenate([kept, np.array([row[place] for _, row in rows], dtype=kept.dtype)])[order]

    result = Visits(
        instrument[order],
        column(0, plain.stage),
        np.zeros(len(order), dtype=int),
        column(6, plain.wait),
        column(1, plain.outcome),
        column(2, plain.fault),
        column(3, plain.fault_at),
        column(4, plain.cause),
        column(5, plain.sent_back_to),
    )
    result.repeat = occurrence(result.instrument, result.stage)
    return result


def occurrence(instrument: np.ndarray, stage: np.ndarray) -> np.ndarray:
    """How often the instrument was at that stage before, (n,)."""
    key = instrument * len(STAGES) + stage
    order = np.argsort(key, kind="stable")
    begins = np.flatnonzero(np.diff(key[order], prepend=-1))
    counted = np.arange(len(key)) - np.repeat(begins, np.diff(begins, append=len(key)))
    result = np.empty(len(key), dtype=int)
    result[order] = counted
    return result
