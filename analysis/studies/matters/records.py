"""What a matter is, as data: the candidates looked at, what would tell two of them apart, and the matter itself."""

from dataclasses import dataclass, field
from datetime import date, datetime

SET_BY, LOT, SUPPLIER, GAUGE, CHANGE = "set by", "lot", "supplier", "gauge", "change"
TECH_AT, STRING_SET, WEEKDAY, HUMIDITY, TEMPERATURE = "tech at", "string set", "weekday", "humidity", "temperature"
SET_WITH = "set with gauge"  # the gauge at the stage that sets what is read later
SHEET = "sheet"  # where no row names anybody: whoever keeps it
KIND = "kind of sheet"  # the [[log]] that reads it, and the unit typed
PEOPLE = (SET_BY, TECH_AT)  # outside Bench these show as "differs between people at this bench"
SURE = 2.576 / 1.96  # the half-width of a 99 % interval over that of the 95 % one
MOVED = 0.05  # that nothing moved, by the readings themselves: below it nothing is said of chance
MUCH = 0.3  # of such signals, that are chance: from here on it is said
FITS = 0.25  # probability from which on the likeliest of several is told, though it does not stand out
SLIGHT, SLIGHT_SIGMAS = 0.05, 0.25  # of its tolerance; where it has none of sigma: a smaller size stands first nowhere


@dataclass(frozen=True)
class Candidate:
    """One thing a shift may move together with: the level of it that goes best, and how much it explains, in the unit
    of the readings.
    """

    factor: str
    level: str  # the tech, lot, gauge ...; what changed; '' of the air
    stage: str = ""  # of an earlier stage's tech
    on: date | None = None  # of a dated change
    change: float | None = None  # of the air: % RH or degrees C between before and since
    lag_hours: int | None = None  # of the air
    effect: float | None = None  # None: nothing to compare with
    low: float | None = None  # 95 %
    high: float | None = None
    probability: float = 0.0  # that this is what moved it
    named: bool = False
    beside: bool = False  # of a kind of sheet: others are written on the same days

    @property
    def name(self) -> str:
        """As the figures write it: `tech at fretting`, `humidity`."""
        return f"{self.factor} {self.stage}" if self.stage else self.factor

    @property
    def value(self) -> str:
        """As the figures write it: the level, with the day of a change, with the size of a change of the air."""
        if self.on is not None:
            return f"{self.level}, {self.on:%Y-%m-%d}"
        if self.change is not None:
            unit = "%RH" if self.factor == HUMIDITY else "C"
            way = "up" if self.change >= 0 else "down"
            return f"{abs(self.change):.0f} {unit} {way}" + (f", {self.lag_hours} h before" if self.lag_hours else "")
        return self.level

    @property
    def of_people(self) -> bool:
        """Is it a person, who is named on Bench only?"""
        return self.factor in PEOPLE


@dataclass(frozen=True)
class MovesWith:
    """What was looked at: those named first, then by probability."""

    candidates: list[Candidate] = field(default_factory=list)
    looked_at: int = 0  # levels compared
    nothing: float = 1.0  # probability that nothing moved at all
    unexplained: float = 0.0  # probability that it moved and none of the candidates explains it
    nothing_of_all: float | None = None
    """That nothing moved, in the look that weighed the candidates; None: in that of `nothing`."""

    @property
    def named(self) -> list[Candidate]:
        """The likeliest, and those that cannot be told from it."""
        return [one for one in self.candidates if one.named]

    @property
    def fits(self) -> Candidate | None:
        """The likeliest, where nothing is named, if it is likely enough to be told, and likelier than that nothing
        moved, by the same look: of such hints as many are right as they promise (tests/trials/would_fit.md).
        """
        first = max(self.candidates, key=lambda one: one.probability, default=None)
        none = self.nothing if self.nothing_of_all is None else self.nothing_of_all
        if first is None or self.named or first.probability < max(FITS, none):
            return None
        return first


@dataclass(frozen=True)
class TellApart:
    """What would tell two candidates apart: instruments that have the one and not the other, and how many there are."""

    this: Candidate
    other: Candidate
    only_this: int  # instruments since the start with the one and not the other
    only_other: int


@dataclass(frozen=True)
class Planned:
    """A change made on purpose: what was aimed at, and whether the readings followed."""

    what: str
    on: date
    target: float | None
    mean: float  # of the readings since then
    low: float  # 95 %
    high: float
    followed: bool
    not_followed_by: list[str]  # who set them; for Bench only


@dataclass(frozen=True)
class Creeping:
    """How what moved moved on, little by little, in the unit of the readings; its size is where it stands by now."""

    a_week: float  # how much further each week; 0 since it came to rest
    a_week_low: float  # 95 %
    a_week_high: float
    rests_on: date | None  # the day on which it came to rest; None: it goes on
    models: tuple[tuple[str, float], ...] = ()  # where each model stands by now

    @property
    def goes_on(self) -> bool:
        """Does it move on still?"""
        return self.rests_on is None


@dataclass(frozen=True)
class Member:
    """One signal of a matter."""

    table: str  # found | others
    row: int  # in signals.found or signals.others


@dataclass(frozen=True)
class Matter:
    """What one cause moved, told once."""

    key: str  # of the signal that opened first for it; entries hang on signals
    opened_at: datetime
    closed_at: datetime | None
    moves_with: MovesWith
    characteristics: list[str]  # the one that moved most first
    positions: list[str]
    models: list[str]
    stages: list[str]
    techs: list[str]  # whose own charts opened; for Bench only
    size: float | None  # unit of the first characteristic: since the start, or by now where it creeps; off the baseline
    size_low: float | None  # 95 %
    size_high: float | None
    sizes: tuple[float, float] | None  # smallest and largest over the models where they differ
    sigmas: float | None  # the size in sigma
    touched: int  # readings since the start
    share_of_tolerance: float | None
    began_at: datetime | None
    began_low: datetime | None
    began_high: datetime | None
    signals: list[Member]
    streams: int
    only_some: bool  # only charts of single techs opened
    real: float  # 1 - expected false / observed openings of its kind over the last year
    tell_apart: list[TellApart]
    check: list[str]  # what the shop checks first, in order
    planned: Planned | None
    state: str  # open | action | done | known | closed; whether it moved is the register's to say
    action: str
    owner: str
    due: date | None
    known_until: date | None
    main: dict[str, object]  # the signal that stands for it: columns of signals.found
    to_target: bool = False  # it moved to its target: at most half as far off it as before
    base_moved: bool = False  # the baseline that its main signal is held against holds a shift of its own
    back_since: datetime | None = None  # the first reading without its cause, where a chart of it is open still
    known_over: datetime | None = None  # by when its end was sure to be told; None: not yet, or it lasts
    ended_at: datetime | None = None  # the first reading without its cause; None: it lasts, or no reading says when
    over_all: float | None = None
    """What the size comes to over all readings of its models since then, where what is named has only some of them."""
    one_reading: bool = False  # one that lies far out makes it, the others say nothing
    levels: int = 0  # of what is named: so many people, lots, gauges ... since then
    usual_at: str = ""  # the last stage before it that reads the same, where what it touches lay as usual
    earlier: tuple[tuple[date, date], ...] = ()  # its times before the one that began then, oldest first
    earlier_lots: tuple[str, ...] = ()  # of each the lot, where it is lots that come again
    every_other: str = ""  # the supplier of whom every other lot is such
    creeping: Creeping | None = None  # how it moves on, little by little; None: one step
    lines: tuple[int, ...] = ()  # numbers of the lines of the bench book that were written about it
    keys: tuple[str, ...] = ()  # of each of its signals: matters that become one are found by what each was called

    def goes_by(self, key: str) -> bool:
        """Is it, or was it before it became one with others, called so?"""
        return key == self.key or key in self.keys

    @property
    def slow(self) -> bool:
        """Is it a slow drift: it goes on moving away, little by little, and nothing is named for it?"""
        one = self.creeping
        away = one is not None and one.goes_on and one.a_week * (self.size or 0.0) > 0
        return away and self.open and not self.moves_with.named and self.planned is None

    @property
    def open(self) -> bool:
        """Not closed as of the snapshot."""
        return self.closed_at is None

    @property
    def shown(self) -> bool:
        """Do its readings, taken together, show that anything moved? What nothing explains was looked at because a
        chart lay out, so that its size must leave out 0 at 99 %; that of a weekly share, of all weeks since, at 95 %.
        One reading that lies far out is no move, whatever it goes with.
        """
        if self.one_reading:
            return False
        if self.moves_with.named or self.planned is not None or self.size is None:
            return True
        if self.size_low is None or self.size_high is None:
            return True
        if not self.characteristics:  # a share, whose interval is longer to its upper side
            return self.size_low * self.size_high > 0
        return abs(self.size) > SURE * (self.size_high - self.size_low) / 2

    @property
    def may_be_chance(self) -> bool:
        """Is much of such signals chance, and do neither its readings nor what is named leave that out?"""
        sure = self.size_low is not None and self.moves_with.nothing < MOVED
        return not sure and not self.moves_with.named and 1 - self.real >= MUCH

    @property
    def stands_back(self) -> bool:
        """Does it stand after others and in no headline: too small, or with nothing that explains it off a baseline
        that had moved itself?
        """
        return self.slight or (self.base_moved and not self.moves_with.named)

    @property
    def slight(self) -> bool:
        """Too small to ask for anything: under a twentieth of its tolerance, without one under a quarter sigma."""
        if self.share_of_tolerance is not None:
            return self.share_of_tolerance < SLIGHT
        return self.sigmas is not None and abs(self.sigmas) < SLIGHT_SIGMAS

    @property
    def few(self) -> bool:
        """Under 30 readings since the start: a size is said to be about so much."""
        return self.touched < 30
