"""Each instrument's way along the bench: intake, lots, people, troubles and the way back, and the clock on the wall.

Time inside is working minutes from the first morning (540 to a day: 07:30 to 17:00 less lunch), as whole numbers.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from zlib import crc32

import numpy as np

from demo_data import scenario as shop
from demo_data.scenario import PLACE, PLANTED, STAGES

DAY = 540  # working minutes
MORNING, LUNCH, LUNCH_MINUTES = 450, 270, 30  # 07:30; lunch after 270 worked minutes
RECEIVING, RETENSION, PLAY, REST, FINAL, PACKING, REPAIR = (
    PLACE[name]
    for name in ("receiving", "head_retension", "play_test", "rest", "final_inspection", "packing", "repair")
)


DRAWN = np.arange(len(STAGES))  # column of a stage in what is drawn: where the stage stood when the seed was first run
DRAWN[[RETENSION, PLACE["stringing"]]] = PLACE["stringing"], RETENSION


class Chance:
    """Numbers drawn by name: the first pass of an instrument at a stage gets the same ones whatever is drawn around
    it.
    """

    def __init__(self, seed: int, instruments: int) -> None:
        self.seed, self.shape = seed, (instruments, len(STAGES))
        self._kept: dict[str, np.ndarray] = {}

    def rng(self, name: str) -> np.random.Generator:
        """A generator of its own for each name."""
        return np.random.default_rng([self.seed, crc32(name.encode())])

    def first(self, name: str, draw: Callable[[np.random.Generator, tuple[int, ...]], np.ndarray]) -> np.ndarray:
        """One number per instrument and stage, kept under its name."""
        if name not in self._kept:
            self._kept[name] = draw(self.rng(name), self.shape)
        return self._kept[name]

    def of(
        self, visits: "Visits", name: str, draw: Callable[[np.random.Generator, tuple[int, ...]], np.ndarray]
    ) -> np.ndarray:
        """One number per visit: the kept one for a first pass, a new one for a repeat."""
        values = self.first(name, draw)[visits.instrument, DRAWN[visits.stage]]
        repeats = visits.repeat > 0
        values[repeats] = draw(self.rng(name + " again"), (int(repeats.sum()),))
        return np.asarray(values)

    def normal(self, visits: "Visits", name: str) -> np.ndarray:
        """A normal draw a visit, kept for first passes."""
        return self.of(visits, name, lambda rng, size: rng.standard_normal(size))


@dataclass
class Lot:
    """One lot of necks."""

    model: int  # place in MODELS
    supplier: int  # place in SUPPLIERS
    quantity: int
    necks: np.ndarray  # places of its instruments
    opened: np.datetime64  # the day its first neck came to the bench
    received_on: np.datetime64
    hours_acclimatised: int
    name: str = ""


@dataclass(frozen=True)
class Instruments:
    """Every instrument that is built."""

    model: np.ndarray  # (n,) place in MODELS
    day: np.ndarray  # (n,) working day of intake, from 0
    minute: np.ndarray  # (n,) working minute of that day
    serial: np.ndarray  # (n,) text
    supplier: np.ndarray  # (n,) place in SUPPLIERS
    lot: np.ndarray  # (n,) text
    lots: list[Lot]


@dataclass
class Visits:
    """One row a visit, instrument after instrument, in the order they were made."""

    instrument: np.ndarray
    stage: np.ndarray
    repeat: np.ndarray  # how often the instrument was at that stage before
    wait: np.ndarray  # working minutes of waiting on top of the usual
    outcome: np.ndarray
    fault: np.ndarray
    fault_at: np.ndarray
    cause: np.ndarray
    sent_back_to: np.ndarray
    tech: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=int))
    start: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=int))  # wall minutes since the first midnight
    finish: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=int))
    minutes: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=int))  # paid

    def __len__(self) -> int:
        return len(self.instrument)

    def only(self, rows: np.ndarray) -> "Visits":
        """Some of the visits."""
        return Visits(**{name: values[rows] for name, values in vars(self).items()})


def intake(rng: np.random.Generator, days: np.ndarray) -> Instruments:
    """What comes in day by day, with serials, suppliers and lots."""
    models, places, minutes = [], [], []
    for place, day in enumerate(days):
        share = np.where(day >= shop.FIRST_DAY, shop.PER_DAY, 0)
        count = int(rng.integers(shop.DAY_FROM, shop.DAY_TO + 1))
        models.append(rng.choice(len(shop.MODELS), size=count, p=share / share.sum()))
        places.append(np.full(count, place))
        minutes.append(np.sort(rng.integers(0, 330, size=count)))
    model, day = np.concatenate(models), np.concatenate(places)
    serial = np.empty(len(model), dtype=object)
    pair = rng.integers(0, 2, size=len(model))
    supplier = np.array(shop.SUPPLIERS_OF)[model, pair]
    lot = np.empty(len(model), dtype=object)
    lots: list[Lot] = []
    for number, prefix in enumerate(shop.PREFIX):
        mine = np.flatnonzero(model == number)
        serial[mine] = [f"{prefix}-{20101 + 1111 * number + place:05d}" for place in range(len(mine))]
        for maker in shop.SUPPLIERS_OF[number]:
            necks = mine[supplier[mine] == maker]
            quantity = int(rng.choice([54, 60, 72, 84]))
            for begin in range(0, len(necks), quantity):
                part = necks[begin : begin + quantity]
                opened = days[day[part[0]]]
                received = np.busday_offset(opened, -int(rng.integers(3, 7)))
                lots.append(Lot(number, maker, quantity, part, opened, received, int(rng.integers(72, 121))))
    _name(lots, lot, days[0])
    return Instruments(model, day, np.concatenate(minutes), serial.astype(str), supplier, lot.astype(str), lots)


def _name(lots: list[Lot], lot: np.ndarray, first_day: np.datetime64) -> None:
    """Number the lots as they were opened; the bowed one has its name in planted.toml."""
    bowed = PLANTED["bowed_lot"]
    since = np.datetime64(bowed["from_date"])
    lots.sort(key=lambda row: (row.opened, row.model, row.supplier))
    for number, row in enumerate(lots):
        row.name = f"{shop.LOT_PREFIX[row.supplier]}-{2080 + 3 * number}"
    whose = (shop.MODELS.index(bowed["model"]), shop.SUPPLIERS.index(bowed["supplier"]))
    late = [row for row in lots if (row.model, row.supplier) == whose and row.opened >= since]
    if late and first_day < since:
        late[0].name = bowed["lot"]
    for row in lots:
        lot[row.necks] = row.name


def base_visits(rng: np.random.Generator, instruments: Instruments) -> Visits:
    """Every instrument along its route, nothing going wrong."""
    route = shop.routes()[instruments.model]
    ukulele = np.array(["ukulele" in family for family in shop.FAMILY])[instruments.model]
    needed = rng.random(len(ukulele)) < shop.AS_NEEDED["levelling"]
    for name in shop.AS_NEEDED:
        route[:, PLACE[name]] &= ~ukulele | needed
    instrument, stage = np.nonzero(route)
    blank = np.full(len(stage), "", dtype=object)
    zero = np.zeros(len(stage), dtype=int)
    return Visits(
        instrument,
        stage,
        zero,
        zero.copy(),
        np.full(len(stage), "pass", dtype=object),
        blank,
        blank.copy(),
        blank.copy(),
        blank.copy(),
    )


def staffed(visits: Visits, instruments: Instruments, days: np.ndarray, chance: Chance) -> np.ndarray:
    """Who did each visit, (n,): drawn from the stage's team, a new tech from the day they started."""
    draw = chance.of(visits, "tech", lambda rng, size: rng.random(size))
    date = days[np.minimum(instruments.day[visits.instrument], len(days) - 1)]
    tech = np.full(len(visits), shop.NOBODY)
    for stage, team in shop.TEAMS.items():
        rows = np.flatnonzero(visits.stage == PLACE[stage])
        people = np.array([shop.TECH[name] for name in team])
        share = np.where(date[rows, None] >= shop.STARTED[people][None, :], np.array(list(team.values())), 0.0)
        edges = np.cumsum(share, axis=1) / share.sum(axis=1, keepdims=True)
        tech[rows] = people[np.minimum((draw[rows, None] > edges).sum(axis=1), len(people) - 1)]
    return tech


def learning(tech: np.ndarray, day: np.ndarray) -> np.ndarray:
    """How much of a beginner's surplus is left, 1 on the first day and falling by 1/e in five weeks; 0 for the
    others.
    """
    left = np.zeros(len(tech))
    for name in PLANTED["learners"]["techs"]:
        mine = tech == shop.TECH[name]
        left[mine] = np.exp(-np.maximum((day[mine] - shop.STARTED[shop.TECH[name]]).astype(int), 0) / 35)
    return left


def clocked(visits: Visits, instruments: Instruments, days: np.ndarray, chance: Chance) -> None:
    """Fill tech, start, finish and paid minutes: one step of all instruments at a time."""
    visits.tech = staffed(visits, instruments, days, chance)
    model = instruments.model[visits.instrument]
    date = days[np.minimum(instruments.day[visits.instrument], len(days) - 1)]
    planned = shop.planned_minutes()[model, visits.stage]
    factor = np.exp(shop.MINUTES_SCATTER * chance.normal(visits, "minutes")) * (1 + 0.8 * learning(visits.tech, date))
    bowed = PLANTED["bowed_lot"]
    slow = (instruments.lot[visits.instrument] == bowed["lot"]) & (visits.stage == PLACE["neck_straightening"])
    factor *= np.where(slow, 1 + bowed["minutes_share"], 1.0)
    minutes = np.maximum(1, np.rint(planned * factor)).astype(int)
    queue = np.rint(chance.of(visits, "queue", lambda rng, size: rng.gamma(1.3, 14.0, size))).astype(int)
    morning = np.rint(chance.of(visits, "morning", lambda rng, size: rng.random(size)) * 200).astype(int)

    starts = np.flatnonzero(np.diff(visits.instrument, prepend=-1))
    lengths = np.diff(starts, append=len(visits))
    now = (instruments.day * DAY + instruments.minute)[visits.instrument[starts]]
    begin, end = np.zeros(len(visits), dtype=int), np.zeros(len(visits), dtype=int)
    for step in range(int(lengths.max())):
        live = np.flatnonzero(lengths > step)
        row = starts[live] + step
        stage = visits.stage[row]
        s = now[live] + queue[row] + visits.wait[row]
        s = np.where(stage == RETENSION, (s // DAY + 1) * DAY + morning[row], s)
        resting = stage == REST
        late = ~resting & (s % DAY + minutes[row] >= DAY)
        s = np.where(late, (s // DAY + 1) * DAY + morning[row] % 20, s)
        friday = (s // DAY) % 5 == 4
        rested = np.where(
            friday, (s // DAY + 1) * DAY + morning[row], s + DAY
        )  # a day by the clock; over a weekend, longer
        begin[row] = s
        end[row] = np.where(resting, rested, s + minutes[row])
        now[live] = end[row]
    visits.start, visits.finish = wall(begin), wall(end)
    visits.minutes = np.where(visits.stage == REST, 0, minutes)


def wall(working: np.ndarray) -> np.ndarray:
    """Wall-clock minutes since the midnight of the first Monday, of working minutes."""
    day, minute = working // DAY, working % DAY
    return np.asarray((day // 5 * 7 + day % 5) * 1440 + MORNING + minute + np.where(minute >= LUNCH, LUNCH_MINUTES, 0))
