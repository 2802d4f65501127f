"""Card's side of the counter: what a bench is told of an instrument, what is kept, undone and due.

Nothing here opens the big tables: what is on file of a serial and a stream comes from a small index of one store
version (`ingest.store.at_bench`), what was kept since from the cards themselves.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from threading import RLock, Timer, current_thread
from time import monotonic
from typing import Any

from analysis.methods.problems import UnusableData
from analysis.studies.gauges.register import Standing, register
from dashboard.desk import signed
from dashboard.desk.card_fields import Fields
from dashboard.desk.desk import Desk
from dashboard.desk.gauge_in_hand import held, in_hand, note_of, typed
from dashboard.desk.kept_cards import Kept, clock_off, last_days, time_of, when, whole_number
from dashboard.desk.whereabouts import BACK, Whereabouts
from ingest.reading import card_sheet
from ingest.reading.card_sheet import CARD
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Stage
from ingest.store import at_bench
from ingest.store.store import stands
from ingest.verbs import cards as sheets

PASS, FIXED, HOLD = "pass", "fixed", "hold"
OUTCOMES = (PASS, FIXED, BACK, HOLD)
TAKEN_IN = 40.0  # seconds between two loads of the day's sheets, at least: what opened is said within a minute
REST = 4.0  # times the processor time of the last one, with what studies say, at least: a quarter of one core
AGAIN = 1.0  # seconds before it is looked whether a load that runs has ended
FAULTS = 12
PATIENCE = 30.0  # seconds for the first index of a shop
LONGEST = 400  # characters of a remark


@dataclass
class CardDesk:
    """The benches of one shop."""

    desk: Desk
    clock: Any = lambda: datetime.now(UTC)
    by_itself: bool = True  # the day's sheets are loaded without being asked for
    _kept: list[Kept] | None = None
    _lock: RLock = field(default_factory=RLock)
    _taken_in: float = -TAKEN_IN
    _job: int = 0
    _later: Timer | None = None

    @property
    def shop(self) -> Shop:
        """The shop as it stands."""
        return self.desk.snapshot().shop

    def card(self, stage_key: str, serial: str, *, model: str = "", tech: str = "") -> dict[str, Any]:
        """Everything a bench shows of one instrument: what it is, where it was, what is asked here. `model`: what the
        bench says of a serial that is not on file; `tech`: who works there, who alone is told of their own charts.
        """
        self._follow()
        serial = " ".join(serial.split())
        if not serial:
            raise UnusableData("a card needs a serial; scan it or type it")
        shop, stage = self.shop, self._stage(stage_key)
        serial = at_bench.spelled(self.desk.folder, serial, loose=shop.shop.serials != "exact")
        seen, own = at_bench.serial(self.desk.folder, serial), self._of(serial)
        named = [seen.model if seen else "", *(one.row["model"] for one in own), model]
        model_key = next((one for one in named if one in shop.by_model), "")
        guessed = "" if model_key else at_bench.model_like(self.desk.folder, serial) or _only(shop)
        kind = shop.by_model.get(model_key or guessed)
        at = Whereabouts(shop, stage, kind, seen, own)
        return {
            "serial": serial,
            "on_file": seen is not None or bool(own),
            "model": kind.key if kind else "",
            "model_guessed": bool(guessed),
            "family": kind.family if kind else "",
            "strings": (kind.strings or 0) if kind else 0,
            "lot": seen.lot if seen else "",
            "order": seen.order if seen else "",
            "goes_to": seen.goes_to if seen else "",
            "route": at.route(),
            "came_back": at.came_back,
            "opened_at": self.clock().isoformat(timespec="seconds"),
            "due": at.due(),
            "quiet": self._quiet(at, serial, tech),
            "here_before": next(({"card": k.card, "at": k.row["finished_at"]} for k in reversed(own)
                                 if k.row["stage"] == stage.key), None),
            "fields": self._fields.asked(stage, kind, self._all(), self._notes()) if kind else [],
        }  # fmt: skip

    def judge(
        self, stage: str, model: str, characteristic: str, position: str, text: str, gauge: str, *, beside: Any = ()
    ) -> dict[str, Any]:
        """How one typed value lies (`card_fields.Fields.judge`)."""
        return self._fields.judge(stage, model, characteristic, position, text, gauge, beside=beside)

    @property
    def _fields(self) -> Fields:
        return Fields(self.desk, self.clock)

    def _quiet(self, at: Whereabouts, serial: str, tech: str) -> list[str]:
        """Lines of where it was sent, of what is known of this instrument, then of what moved at this bench; what to do
        stands in each.
        """
        folder, stage, now = self.desk.folder, at.stage, self.clock()
        said = [
            line for where, line in at_bench.said_of(folder, serial) if where in ("", stage.key) or stage.role == "test"
        ]
        setup = self.shop.setups.get(at.model.key, at.model.key) if at.model else ""
        lines = [at.sent(now), *said, at.further_on(now), *at_bench.moved_at(folder, stage.key, setup, tech)]
        return [line for line in lines if line]

    def keep(self, given: dict[str, Any]) -> dict[str, Any]:
        """Write one card into the day's sheet of its bench; on the disk when this answers."""
        shop, stage = self.shop, self._stage(str(given.get("stage", "")))
        serial, card, bench = (" ".join(str(given.get(name, "")).split())[:80] for name in ("serial", CARD, "bench"))
        faults = given.get("faults", [])
        outcome, model = str(given.get("outcome", "")), str(given.get("model", ""))
        if not serial or not card:
            raise UnusableData("a card needs a serial and its own number")
        if outcome not in OUTCOMES:
            raise UnusableData(f"{outcome!r} is no outcome; wanted one of {', '.join(OUTCOMES)}")
        if model and model not in shop.by_model:
            raise UnusableData(f"{model!r} is no model of this shop")
        sent_to = str(given.get("sent_to", ""))
        if sent_to and sent_to not in {*shop.by_stage, "supplier", "unknown"}:
            raise UnusableData(f"{sent_to!r} is no stage of this shop")
        now = self.clock()
        finished, started = when(given, now)
        row = {
            "serial": serial,
            "model": model,
            "stage": stage.key,
            "tech": str(given.get("tech", ""))[:80],
            "started_at": (started or time_of(str(given.get("opened_at", "")), finished)).isoformat(timespec="seconds"),
            "finished_at": finished.isoformat(timespec="seconds"),
            "outcome": outcome,
            "fault": "; ".join(str(one) for one in faults[:FAULTS]) if isinstance(faults, list) else "",
            "fault_at": str(given.get("fault_at", ""))[:80],
            "sent_back_to": sent_to,
            "gauge": str(given.get("gauge", ""))[:80],
            "note": str(given.get("note", ""))[:LONGEST],
            CARD: card,
        }
        noted = [tuple(each) for each in at_bench.measured(self.desk.folder, stage.key)]
        headings = card_sheet.header(shop, [(each[1], each[2]) for each in noted])
        for name, text in self._cells(given.get("values", []), headings).items():
            row[name] = text
        day = finished.astimezone(shop.zone).date()
        with self._lock:
            before = self._all()  # read before the row is written, so that it stands there once
            there = any(one.card == row[CARD] for one in before) or sheets.was_undone(self.desk.folder, row[CARD])
            new = not there and sheets.keep(self.desk.folder, day, bench, headings, row)
            if new:
                before.append(Kept(card_sheet.name_of(day, bench), row, finished))
                before.sort(key=lambda one: one.at)
        self._soon()
        off = clock_off(given, now)
        if new:
            signed.did("kept a card", ", ".join(each for each in (f"{serial} at {stage.key}", row["tech"]) if each))
        signed.told_by_tablet(whole_number(given.get("waits")), off)
        return {"kept": True, "new": new, "at": row["finished_at"], "clock_off": off, "today": self.today(bench)}

    def undo(self, bench: str, card: str) -> dict[str, Any]:
        """Take a card back; refused once a later stage has opened the instrument."""
        now = self.clock()
        day = now.astimezone(self.shop.zone).date()
        with self._lock:
            mine = next((one for one in self._all() if one.card == card), None)
            if mine is not None:
                later = [one for one in self._all() if one.row["serial"] == mine.row["serial"] and one.at > mine.at]
                if later:
                    there = self.shop.stage_name(later[-1].row["stage"])
                    raise UnusableData(f"{there} has it already; what is wrong is corrected on Logs, with a reason")
                day = date.fromisoformat(mine.sheet[5:15])
            row = sheets.undo(self.desk.folder, day, bench, card, now=now)
            if row is None:
                raise UnusableData("no sheet of this bench and day holds that card")
            self._kept = [one for one in self._all() if one.card != card]
        signed.did("took a card back", row["serial"])
        self._soon()
        return {"undone": True, "row": row, "today": self.today(bench)}

    def today(self, bench: str) -> dict[str, Any]:
        """Counts of the day's cards at a bench, and the last one."""
        day = self.clock().astimezone(self.shop.zone).date()
        mine = [one for one in self._all() if one.sheet == card_sheet.name_of(day, bench)]
        counts = {outcome: sum(one.row["outcome"] == outcome for one in mine) for outcome in OUTCOMES}
        last = mine[-1] if mine else None
        return {"cards": len(mine), "outcomes": counts,
                "last": {"card": last.card, "serial": last.row["serial"], "outcome": last.row["outcome"],
                         "at": last.row["finished_at"]} if last else None}  # fmt: skip

    def benches(self) -> dict[str, Any]:
        """What a tablet must know once: stages, techs where they may be shown, faults, models."""
        self._follow()
        shop = self.shop
        people = shop.people.show != "none"
        return {
            "shop": shop.shop.name,
            "stages": [{"key": one.key, "name": shop.stage_name(one.key), "role": one.role}
                       for one in shop.stages if one.role not in ("rest",)],
            "techs": [{"key": one.key, "name": one.name if shop.people.show == "names" else ""}
                      for one in shop.techs] if people else [],
            "models": [{"key": one.key, "name": one.name or one.key} for one in shop.models],
            "shapes": at_bench.shapes(self.desk.folder),
        }  # fmt: skip

    def faults(self, stage_key: str) -> dict[str, Any]:
        """The faults most often caught here, then those most often caught elsewhere, then all others; where each would
        be sent, how many are shown at first, and how many of all were caught here.
        """
        shop, folder = self.shop, self.desk.folder
        suspects = {one.key: one.suspect for one in shop.faults}
        here = [one for one in at_bench.caught(folder, stage_key) if one in suspects]
        told = dict.fromkeys([*here, *at_bench.caught(folder, ""), *sorted(suspects)])
        faults = [{"key": one, "suspect": suspects[one]} for one in told if one in suspects]
        return {"faults": faults, "often": FAULTS, "here": len(here)}

    def register(self) -> tuple[Standing, ...]:
        """Every gauge with a master piece, as it stands now."""
        return register(self.shop, sheets.gauge_checks(self.desk.folder), now=self.clock())

    def gauges(self) -> dict[str, Any]:
        """The gauges to be checked, each with the marks round its master piece."""
        out = []
        for one in self.register():
            hand = held(self.shop, one.gauge)
            out.append(
                {"key": one.gauge, "name": one.name, "due": one.due, "note": note_of(one, hand),
                 "master": hand.says(one.master), "step": hand.step, "shown": hand.shown}
            )  # fmt: skip
        return {"gauges": out}

    def check(self, gauge: str, text: str, who: str) -> dict[str, Any]:
        """Keep what a gauge read on its master piece."""
        if gauge not in {one.gauge for one in self.register()}:
            raise UnusableData(f"{gauge!r} is no gauge with a master piece in shop.toml")
        told = typed(text, held(self.shop, gauge))
        if told.value is None:
            raise UnusableData(f"{text!r} cannot be read; wanted {told.why or 'a value'}")
        sheets.check_gauge(self.desk.folder, gauge, told.value, who[:80], now=self.clock())
        return self.gauges()

    def _notes(self) -> dict[str, str]:
        """What is to be known of the gauges that are not in order, by their key."""
        shop = self.shop
        return {one.gauge: note_of(one, held(shop, one.gauge)) for one in self.register() if one.due or one.drifts}

    def _cells(self, values: Any, headings: list[str]) -> dict[str, str]:
        """The cells of a card: each value as its gauge writes it, as typed where it cannot be read."""
        shop, out = self.shop, {}
        for one in values if isinstance(values, list) else []:
            item = shop.by_characteristic.get(str(one.get("characteristic", ""))) if isinstance(one, dict) else None
            if item is None:
                continue
            hand = in_hand(shop, item, str(one.get("gauge", "")))
            for moment in ("found", "left"):
                name = card_sheet.heading(item.key, str(one.get("position", "")), moment)
                text = str(one.get(moment) or "")[:80]
                if text and name in headings:
                    out[name] = typed(text, hand).cell
        return out

    def _stage(self, key: str) -> Stage:
        stage = self.shop.by_stage.get(key)
        if stage is None:
            raise UnusableData(f"{key!r} is no stage of this shop")
        return stage

    def _of(self, serial: str) -> list[Kept]:
        seen = at_bench.serial(self.desk.folder, serial)
        since = seen.last_at if seen else datetime.fromtimestamp(0, UTC)
        return [one for one in self._all() if one.row["serial"] == serial and one.at > since]

    def _all(self) -> list[Kept]:
        """Cards kept in the last days, oldest first."""
        with self._lock:
            if self._kept is None:
                self._kept = last_days(self.desk.folder, self.shop.zone, self.clock)
            return self._kept

    def _follow(self) -> None:
        """Have the index made anew where the store has moved on; what is there serves meanwhile. The first one is
        waited for, without what studies say.
        """
        made = at_bench.version_of(self.desk.folder)
        if stands(self.desk.folder)[0] == made:
            return
        first = self.desk.jobs.bench_index(plain=True) if made < 0 else None
        if not self._busy():
            self._job = self.desk.jobs.bench_index()
        if first is not None:
            with suppress(TimeoutError):
                self.desk.jobs.wait(first, PATIENCE)

    def _soon(self) -> None:
        """Have the day's sheets loaded, now or when it is time; a shop for which that is long work waits longer."""
        if not self.by_itself:
            return
        with self._lock:
            last = self.desk.jobs.look(self._job)
            left = self._taken_in + max(TAKEN_IN, REST * last.used if last else 0.0) - monotonic()
            if left <= 0 and not self._busy():
                self._taken_in = monotonic()
                self._job = self.desk.jobs.cards()
            elif self._later is None or not self._later.is_alive() or self._later is current_thread():
                self._later = Timer(max(left, AGAIN), self._soon)
                self._later.daemon = True
                self._later.start()

    def _busy(self) -> bool:
        job = self.desk.jobs.look(self._job)
        return job is not None and job.state in ("waiting", "running")


def _only(shop: Shop) -> str:
    return shop.models[0].key if len(shop.models) == 1 else ""
