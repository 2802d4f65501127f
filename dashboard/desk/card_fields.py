"""What a card asks of an instrument at a stage, between which limits, and how a typed value lies there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl

from analysis.methods.problems import UnusableData
from analysis.studies.story.conformity import with_specs
from dashboard.desk.desk import Desk
from dashboard.desk.gauge_in_hand import InHand, gauges, in_hand, typed
from dashboard.desk.kept_cards import Kept
from ingest.reading import card_sheet
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Characteristic, Model, Stage
from ingest.store import at_bench

INSIDE, ON_LIMIT, OUTSIDE, KEPT, UNREAD, ASKS = "inside", "on the limit", "outside", "kept", "unread", "asks"
USUAL = 2.0  # sigmas said to be usual here
LOOKED_AT = 20  # last cards in which the last five values of a stream are looked for


@dataclass(frozen=True)
class Fields:
    """The fields of the cards of one shop."""

    desk: Desk
    clock: Callable[[], datetime]

    @property
    def shop(self) -> Shop:
        """The shop as it stands."""
        return self.desk.snapshot().shop

    def judge(
        self, stage: str, model: str, characteristic: str, position: str, text: str, gauge: str, *, beside: Any = ()
    ) -> dict[str, Any]:
        """How one typed value lies: inside, on the limit, outside (the one conformity rule), kept, unread or asks.
        beside : what was typed at its other positions, where they must read alike.
        """
        shop = self.shop
        item = shop.by_characteristic.get(characteristic)
        if item is None:
            raise UnusableData(f"{characteristic!r} is no characteristic of this shop")
        hand = in_hand(shop, item, gauge)
        if item.quantity == "class":
            good = not item.good or text in item.good
            known = text in item.values
            state = (INSIDE if good else OUTSIDE) if known else UNREAD if text else KEPT
            return {"state": state, "cell": text, "value": None, "why": "" if known or not text else "one of the words"}
        told = typed(text, hand)
        if told.value is None:
            return {"state": UNREAD if told.why else "", "cell": told.cell, "value": None, "why": told.why}
        bounds = item.plausible_range
        state, asked = self._lies(stage, model, item, position, told.value, hand)
        if bounds and not bounds[0] - 1e-9 <= told.value <= bounds[1] + 1e-9:
            return {"state": ASKS, "cell": told.cell, "value": told.value, "shown": hand.says(told.value),
                    "why": f"readings lie within {hand.within(*bounds)}: type it again"}  # fmt: skip
        if apart := _apart(item, hand, told.value, beside):
            return {"state": OUTSIDE, "cell": told.cell, "value": told.value, "shown": hand.says(told.value),
                    "why": apart, "asked": True}  # fmt: skip
        advice = (
            self._reaction(item.key) if state == OUTSIDE else self._odd(stage, model, item, position, told.value, hand)
        )
        return {"state": state, "cell": told.cell, "value": told.value, "shown": hand.says(told.value),
                "why": advice, "asked": asked}  # fmt: skip

    def asked(self, stage: Stage, model: Model, kept: list[Kept], notes: dict[str, str]) -> list[dict[str, Any]]:
        """What is asked at this stage of this family, in the order of shop.toml. kept : the cards of the last days;
        notes : what is to be known of a gauge, by its key.
        """
        shop = self.shop
        setup = shop.setups.get(model.key, model.key)
        lasts = at_bench.lasts(self.desk.folder, stage.key, setup)
        places = self._places(stage, model)
        if not places:
            return []
        limits = self._limits(stage, model, places)
        recent = [one for one in kept if one.row["stage"] == stage.key and shop.setups.get(one.row["model"]) == setup]
        out = []
        for (key, position), row in zip(places, limits, strict=True):
            item = shop.by_characteristic[key]
            own = gauges(shop, item)
            since = self._since(recent, item, position, lasts, own[0])
            five = [value for value, _ in [*lasts.get((key, position), []), *since][-at_bench.LAST :]]
            out.append(
                {
                    "characteristic": key,
                    "position": position,
                    "name": shop.characteristic_name(key),
                    "quantity": item.quantity,
                    "values": list(item.values),
                    "good": list(item.good),
                    "gauges": [_in_its_unit(hand, row, item, five) | {"note": notes.get(hand.key, "")} for hand in own],
                    "even": item.most_apart is not None,
                    "set_here": item.set_stage(model.family) == stage.key,
                }
            )  # fmt: skip
        return out

    def _places(self, stage: Stage, model: Model) -> list[tuple[str, str]]:
        """(characteristic, position) asked: set here, seen here before, or, at a stage that never measured, what its
        role usually looks at.
        """
        shop = self.shop
        seen = {(key, place) for family, key, place in at_bench.measured(self.desk.folder, stage.key)
                if family == model.family}  # fmt: skip
        wanted: dict[tuple[str, str], None] = {}
        for item in shop.characteristics:
            here = item.set_stage(model.family) == stage.key
            usual = not seen and (
                (stage.role == "final" and item.quantity != "class" and bool(item.set_stages))
                or (stage.role == "receiving" and not item.set_stages)
            )
            every = [(item.key, place) for place in item.positions or ("",)]
            mine = [one for one in every if here or usual or one in seen]
            mine += sorted(one for one in seen if one[0] == item.key and one not in every)
            wanted |= dict.fromkeys(one for one in mine if _has_string(model, one[1]))
        return list(wanted)

    def _limits(self, stage: Stage, model: Model, places: list[tuple[str, str]]) -> list[dict[str, Any]]:
        rows = self._judged(stage.key, model.key, [(key, place, None, "") for key, place in places])
        return list(rows.select("lower", "target", "upper").iter_rows(named=True))

    def _lies(
        self, stage: str, model: str, item: Characteristic, position: str, value: float, hand: InHand
    ) -> tuple[str, bool]:
        row = self._judged(stage, model, [(item.key, position, value, hand.key)]).row(0, named=True)
        if row["outside"] is None:
            return KEPT, False
        return (OUTSIDE if row["outside"] else ON_LIMIT if row["on_limit"] else INSIDE), True

    def _judged(self, stage: str, model: str, asked: list[tuple[str, str, float | None, str]]) -> pl.DataFrame:
        """Values with their specs and verdicts, as everywhere else (`story.conformity.with_specs`)."""
        snapshot = self.desk.snapshot()
        today = self.clock().astimezone(snapshot.shop.zone).date()
        rows = pl.DataFrame(
            asked, schema={"characteristic": pl.String, "position": pl.String, "value": pl.Float64, "gauge": pl.String},
            orient="row",
        ).with_columns(
            pl.lit(snapshot.shop.families.get(model, "")).alias("family"),
            pl.lit(model).alias("model"),
            pl.lit(stage).alias("stage"),
            pl.lit("").alias("supplier"),
            pl.lit(today).alias("set_on"),
        )  # fmt: skip
        return with_specs(snapshot, rows)

    @staticmethod
    def _since(
        recent: list[Kept],
        item: Characteristic,
        position: str,
        lasts: dict[Any, list[tuple[float, float]]],
        hand: InHand,
    ) -> list[tuple[float, float]]:
        """Readings of a stream from cards kept since the index was made; recent : cards of its stage and setup."""
        on_file = lasts.get((item.key, position), [])
        since = on_file[-1][1] if on_file else 0.0
        name, out = card_sheet.heading(item.key, position), []
        for one in recent[-LOOKED_AT:]:
            if one.at.timestamp() > since and one.row.get(name):
                value = typed(one.row[name], hand).value
                if value is not None:
                    out.append((value, one.at.timestamp()))
        return out

    def _odd(self, stage: str, model: str, item: Characteristic, position: str, value: float, hand: InHand) -> str:
        """A single value as far from its stream as the studies call odd."""
        setup = self.shop.setups.get(model, model)
        usual = at_bench.usual(self.desk.folder, stage, setup, (item.key, position))
        if usual is None or abs(value - usual[0]) <= usual[2]:
            return ""
        low, high = (hand.about(usual[0] + way * USUAL * usual[1]) for way in (-1, 1))
        return f"far from the usual {low} to {high}: measure it again"

    def _reaction(self, characteristic: str) -> str:
        check = next((one.check for one in self.shop.reactions if one.characteristic == characteristic), ())
        return f"First look at: {check[0]}" if check else ""


def _in_its_unit(hand: InHand, row: dict[str, Any], item: Characteristic, five: list[float]) -> dict[str, Any]:
    """A gauge, with what is asked and the last readings as it says them."""
    return {
        "key": hand.key, "name": hand.name, "unit": hand.unit, "shown": hand.shown, "step": hand.step,
        **{name: None if row[name] is None else hand.says(row[name]) for name in ("lower", "target", "upper")},
        "asked": {
            name: None if row[name] is None else hand.limit(row[name], way)
            for name, way in (("lower", 1), ("target", 0), ("upper", -1))
        },
        "plausible": [hand.says(one) for one in item.plausible_range] if item.plausible_range else None,
        "last": [hand.says(value) for value in five],
    }  # fmt: skip


def _apart(item: Characteristic, hand: InHand, value: float, beside: Any) -> str:
    """That the points of one instrument read further apart than they may; '' where they do not."""
    texts = [one for one in beside if isinstance(one, str)] if isinstance(beside, list | tuple) else []
    values = [value, *(read for one in texts if (read := typed(one, hand).value) is not None)]
    if item.most_apart is None or max(values) - min(values) <= item.most_apart + 1e-9:
        return ""
    low, high, most = (f"{hand.says(one):g}" for one in (min(values), max(values), item.most_apart))
    return f"uneven: {low} to {high}, at most {most} apart; small equal turns across the rim"


def _has_string(model: Model, position: str) -> bool:
    """Does the model have the string that a position names?"""
    number = position.partition(" ")[0]
    return not (model.strings and number.isdigit() and int(number) > model.strings)
