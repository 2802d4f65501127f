"""The shop's sheets as its people keep them: three a week and the testers' book of a month, each in its own notation.
See [[log]] in shop.toml.
"""

from collections.abc import Callable, Iterator

import numpy as np
import polars as pl

from demo_data import scenario as shop
from demo_data.climate import Climate
from demo_data.flow import FINAL, PACKING, PLAY, RECEIVING, REST, Chance, Instruments, Visits
from demo_data.measures import Measures
from demo_data.scenario import PLACE, STAGES

Sheet = dict[str, np.ndarray]  # heading -> cells as typed, '' = empty

STAGE_WORDS = {
    **{word: word for word in ("rest", "repair")},
    **{stage: word for word, stage in shop.SHOP["log"][1]["words"]["stage"].items()},
}
OUTCOME_WORDS = {"pass": "ok", "send back": "back", "return": "ret", "reject": "scrap", "second": "B"}
FAULT_WORDS = {
    "open-string buzz": "buzz open",
    "slot too narrow": "pinging",
    "buzz mid neck": "mid buzz",
    "action out after settling": "action out",
}
CHECKS = {  # of final inspection: the good word, and the word that goes with a fault
    "Finish": ("clean", {"finish flaw": "scratch"}),
    "Tuners": ("smooth", {"stiff tuner": "stiff", "string slips": "slip"}),
}
TYPED_MINUTES = [PLACE[name] for name in ("levelling", "crowning", "nut_slotting", "repair")]


def cells(values: np.ndarray, write: Callable[[float], str]) -> np.ndarray:
    """Values as text, each distinct one written once; NaN is ''."""
    known = ~np.isnan(values)
    distinct, place = np.unique(np.round(values[known], 6) + 0.0, return_inverse=True)  # no minus nought
    text = np.full(len(values), "", dtype=object)
    text[known] = np.array([write(float(value)) for value in distinct], dtype=object)[place] if len(distinct) else ""
    return text


def inches(value: float) -> str:
    """mm as decimals of an inch, the leading nought left out: .063"""
    return f"{value / 25.4:.3f}".replace("0.", ".", 1)


def sixty_fourths(value: float, point: str = ".") -> str:
    """mm as a fraction, read to the half: 4.5/64\""""
    halves = round(value / 25.4 * 128)
    return f'{halves // 2}{point + "5" if halves % 2 else ""}/64"'


def thou(value: float) -> str:
    """A length in thousandths of an inch, as a hand writes it."""
    return f"{value / 0.0254:.0f}"


def comma(digits: int) -> Callable[[float], str]:
    """A number with a decimal comma."""
    return lambda value: f"{value:.{digits}f}".replace(".", ",")


def pitch(value: float) -> str:
    """Cents with their sign."""
    return f"{value:.1f}"


def stamps(minutes: np.ndarray, days: np.ndarray, pattern: str) -> np.ndarray:
    """Wall-clock minutes since the first midnight as text."""
    at = days[0].astype("datetime64[ms]") + minutes * np.timedelta64(60_000, "ms")
    return pl.Series(at).dt.strftime(pattern).to_numpy(allow_copy=True).astype(object)


def words(values: np.ndarray, table: dict[str, str]) -> np.ndarray:
    """Each value in the bench's own word for it where there is one."""
    distinct, place = np.unique(values.astype(str), return_inverse=True)
    return np.array([table.get(value, value) for value in distinct], dtype=object)[place] if len(distinct) else values


def words_or(values: np.ndarray, table: dict[str, str], otherwise: str) -> np.ndarray:
    """The word that goes with each value, `otherwise` where none does."""
    distinct, place = np.unique(values.astype(str), return_inverse=True)
    return np.array([table.get(value, otherwise) for value in distinct], dtype=object)[place]


class Writer:
    """Turns visits and readings into sheets of a week."""

    def __init__(
        self,
        instruments: Instruments,
        visits: Visits,
        measures: Measures,
        air: Climate,
        days: np.ndarray,
        chance: Chance,
    ) -> None:
        self.instruments, self.visits, self.measures, self.air, self.days, self.chance = (
            instruments,
            visits,
            measures,
            air,
            days,
            chance,
        )
        model = instruments.model[visits.instrument]
        self.serial, self.model = (
            instruments.serial[visits.instrument].astype(object),
            np.array(shop.MODELS, dtype=object)[model],
        )
        self.prefix = np.array(shop.PREFIX, dtype=object)[model]
        self.tech = np.array([*shop.TECHS, ""], dtype=object)[visits.tech]
        self.initials = np.array([*[tech["words"][0] for tech in shop.SHOP["tech"]], ""], dtype=object)[visits.tech]
        self.start, self.finish = (stamps(minutes, days, "%Y-%m-%d %H:%M") for minutes in (visits.start, visits.finish))
        self.outcome = words(visits.outcome, OUTCOME_WORDS)
        rng = chance.rng("cells")
        self.draw = rng.random(len(visits))
        open_ = (visits.outcome == "pass") & (self.draw < shop.SHARE_OPEN) & (visits.stage != PACKING)
        self.outcome[open_] = ""
        trade = rng.random(len(visits)) < 0.4
        fixed = shop.FIXED_BRIDGE[model]
        fault = np.where(fixed, words(visits.fault, shop.OF_FIXED), visits.fault)
        self.fault = np.where(trade, words(fault, FAULT_WORDS), fault)
        self.packed_with = self._packing_of_finals()

    def _packing_of_finals(self) -> np.ndarray:
        """For each visit the row of the packing that follows it directly in the same instrument, -1 where none does;
        finals only.
        """
        v = self.visits
        following = np.append(
            (v.instrument[1:] == v.instrument[:-1]) & (v.stage[:-1] == FINAL) & (v.stage[1:] == PACKING), False
        )
        return np.where(following, np.arange(1, len(v) + 1), -1)

    def files(self) -> Iterator[tuple[str, str, Sheet]]:
        """(kind, 2026-W41 or 2026-10, sheet) in the order in which the sheets were closed: weeks on Friday, the
        testers' book at month's end.
        """
        v = self.visits
        day = self.days[0] + v.finish // 1440
        friday = self.days[0] + v.finish // (7 * 1440) * 7 + 4
        month = day.astype("datetime64[M]")
        receiving, play, final = (v.stage == RECEIVING) & (v.outcome != "return"), v.stage == PLAY, v.stage == FINAL
        bench = ~(receiving | play | final | np.isin(np.arange(len(v)), self.packed_with))
        kinds = (
            ("receiving", receiving, self.receiving, friday),
            ("bench", bench, self.bench, friday),
            ("final", final, self.final, friday),
            ("playtest", play, self.playtest, (month + 1).astype("datetime64[D]") - 1),
        )
        closings = sorted(
            (end, place) for place, (_, chosen, _, closed) in enumerate(kinds) for end in np.unique(closed[chosen])
        )
        for end, place in closings:
            kind, chosen, make, closed = kinds[place]
            rows = np.flatnonzero(chosen & (closed == end))
            year, number, _ = end.item().isocalendar()
            period = str(end)[:7] if kind == "playtest" else f"{year}-W{number:02d}"
            yield kind, period, make(rows[np.argsort(v.finish[rows], kind="stable")])

    def receiving(self, rows: np.ndarray) -> Sheet:
        """The sheet of the receiving bench."""
        v, read, number = self.visits, self.measures.columns, self.visits.instrument[rows]
        hours = v.finish[rows]
        return {
            "Serial": self.serial[rows],
            "Model": self.model[rows],
            "Supplier": np.array(shop.SUPPLIERS, dtype=object)[self.instruments.supplier[number]],
            "Lot": self.instruments.lot[number].astype(object),
            "Date": stamps(v.finish[rows], self.days, "%Y-%m-%d"),
            "Tech": self.tech[rows],
            "Bow B": cells(read["neck_bow bass"][rows], thou),
            "Bow T": cells(read["neck_bow treble"][rows], thou),
            "RH": cells(np.round(self.air.rh_at(hours, self.days[0])), lambda x: f"{x:.0f}"),
            "Temp": cells(np.round(self.air.temperature_at(hours, self.days[0])), lambda x: f"{x:.0f}"),
            "Result": self.outcome[rows],
            "Fault": self.fault[rows],
            "Cause": v.cause[rows],
        }

    def bench(self, rows: np.ndarray) -> Sheet:
        """The cards of the benches."""
        v, read = self.visits, self.measures.columns
        typed = np.isin(v.stage[rows], TYPED_MINUTES) & (self.draw[rows] > 0.6)
        start = np.where(
            (self.draw[rows] > 0.2) & (self.draw[rows] < 0.28) & (v.stage[rows] != REST), "", self.start[rows]
        )
        sheet: Sheet = {
            "S/N": self.serial[rows],
            "Model": self.model[rows],
            "Job": self.prefix[rows]
            + cells(self.instruments.day[v.instrument[rows]] // 5 + 1.0, lambda week: f"-w{week:02.0f}"),
            "Stage": np.array([STAGE_WORDS[name] for name in STAGES], dtype=object)[v.stage[rows]],
            "Tech": self.tech[rows],
            "Start": start,
            "End": self.finish[rows],
            "Min": np.where(typed, cells(v.minutes[rows].astype(float), lambda x: f"{x:.0f}"), ""),
            **self.findings(rows),
            "Relief in": cells(read["relief found"][rows], inches),
            "Relief out": cells(read["relief left"][rows], inches),
            "Head": self.head(rows),
            "Act. B @12": self.action("bass", rows),
            "Act. T @12": self.action("treble", rows),
            "Nut B": cells(read["nut bass"][rows], thou),
            "Nut T": cells(read["nut treble"][rows], thou),
        }
        for string in range(1, 7):
            sheet[f"Int {string}"] = cells(read[f"intonation {string}"][rows], pitch)
        sheet["Gauge"] = self.measures.gauge[rows]
        sheet["Note"] = np.where(v.outcome[rows] == "hold", "waiting for a part", "").astype(object)
        sheet["Angle"] = cells(read["neck_angle"][rows], pitch)
        return sheet

    def head(self, rows: np.ndarray) -> np.ndarray:
        """The head dial; where the head was tensioned again as found, then as left."""
        found, left = (cells(self.measures.columns[name][rows], pitch) for name in ("head", "head left"))
        return np.where((found != "") & (left != "") & (found != left), found + " -> " + left, found)

    def findings(self, rows: np.ndarray) -> Sheet:
        """What came of the visit: the same five columns on three sheets."""
        v = self.visits
        return {
            "Result": self.outcome[rows],
            "Fault": self.fault[rows],
            "Where": v.fault_at[rows],
            "Cause": v.cause[rows],
            "Back to": v.sent_back_to[rows],
        }

    def action(self, edge: str, rows: np.ndarray) -> np.ndarray:
        """Action as the benches write it: decimals of an inch, some in thou or mm; off the rule in 64ths."""
        values, draw = self.measures.columns[f"action {edge}"][rows], self.draw[rows]
        text = cells(values, inches)
        habits = (
            (0.30, 0.33, lambda x: f'{inches(x)}"'),
            (0.33, 0.36, lambda x: f"{thou(x)} thou"),
            (0.36, 0.38, lambda x: f"{x:.2f} mm"),
        )
        for low, high, write in habits:
            text = np.where((draw > low) & (draw < high), cells(values, write), text)
        fraction = np.where(draw < 0.85, cells(values, sixty_fourths), cells(values, lambda x: sixty_fourths(x)[:-1]))
        return np.where(self.measures.gauge[rows] == "rule 64", fraction, text)

    def playtest(self, rows: np.ndarray) -> Sheet:
        """The play test's sheet."""
        v, read = self.visits, self.measures.columns
        sheet: Sheet = {
            "Serial": self.serial[rows],
            "Model": self.model[rows],
            "When": self.finish[rows],
            "Tester": self.initials[rows],
            **self.findings(rows),
            "Relief": cells(read["relief"][rows], inches),
            "Act B": self.action("bass", rows),
            "Act T": self.action("treble", rows),
            "Gauge": self.measures.gauge[rows],
        }
        place = np.full(len(v), -1)
        place[self.measures.played] = np.arange(len(self.measures.played))
        frets = (
            np.where((place[rows] >= 0)[:, None, None], self.measures.frets[place[rows]], np.nan)
            if len(self.measures.played)
            else None
        )
        for string in range(6):
            for number, fret in enumerate(shop.FRETS):
                sheet[f"s{string + 1} f{fret}"] = cells(
                    frets[:, string, number] if frets is not None else np.full(len(rows), np.nan), pitch
                )
        return sheet

    def final(self, rows: np.ndarray) -> Sheet:
        """The final inspection's sheet."""
        v, read = self.visits, self.measures.columns
        rule = self.measures.gauge[rows] == "rule 64"
        two, one = comma(2), comma(1)
        packing = self.packed_with[rows]
        packed = packing >= 0
        sheet: Sheet = {
            "Serial": self.serial[rows],
            "Model": self.model[rows],
            "Inspected": stamps(v.finish[rows], self.days, "%d/%m/%Y %H:%M"),
            "Inspector": self.tech[rows],
            **self.findings(rows),
            "Relief": cells(read["relief"][rows], two),
        }
        for edge in ("bass", "treble"):
            values = read[f"action {edge}"][rows]
            text = np.where(rule, cells(values, lambda x: sixty_fourths(x, ",")), cells(values, two))
            mended = (
                (v.outcome[rows] == "fixed") & (v.fault[rows] == "action out after settling") & ~rule & (text != "")
            )
            target = shop.ACTION[self.instruments.model[v.instrument[rows]], 0 if edge == "bass" else 1]
            sheet[f"Action {edge}"] = np.where(mended, text + " -> " + cells(np.round(target / 0.05) * 0.05, two), text)
        for edge in ("bass", "treble"):
            sheet[f"Nut {edge}"] = cells(read[f"nut {edge}"][rows], two)
        for string in range(1, 7):
            sheet[f"I{string}"] = cells(read[f"intonation {string}"][rows], one)
        sheet["Gauge"] = self.measures.gauge[rows]
        for name, (good, bad) in CHECKS.items():
            sheet[name] = np.where(v.outcome[rows] == "hold", "", words_or(v.fault[rows], bad, good))
        sheet["Packed"] = np.where(packed, stamps(v.finish[packing], self.days, "%d/%m/%Y %H:%M"), "")
        sheet["Packer"] = np.where(packed, self.tech[packing], "")
        sheet["Pack result"] = np.where(packed, self.outcome[packing], "")
        return sheet
