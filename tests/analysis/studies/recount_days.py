"""The order of one instrument's visits in plain Python: see recount."""

from collections import defaultdict
from datetime import date, datetime
from functools import cmp_to_key
from itertools import pairwise
from zoneinfo import ZoneInfo


def taken_at(row: dict) -> datetime:
    return row["finished_at"] or row["started_at"]


def place(shop, stage: str) -> int:
    return [item.key for item in shop.stages].index(stage)


def role(shop, stage: str) -> str:
    return next(item.role for item in shop.stages if item.key == stage)


def local_day(shop, time: datetime) -> date:
    return time.astimezone(ZoneInfo(shop.shop.timezone)).date()


def in_order(shop, rows: list[dict]) -> list[dict]:
    """One instrument's visits in time order."""

    def before(a: dict, b: dict) -> int:
        if local_day(shop, taken_at(a)) == local_day(shop, taken_at(b)) and not (a["time_known"] and b["time_known"]):
            return (
                -1
                if (place(shop, a["stage"]), a["line"], a["log_id"]) < (place(shop, b["stage"]), b["line"], b["log_id"])
                else 1
            )
        mine, other = ((taken_at(x), x["line"], place(shop, x["stage"]), x["log_id"]) for x in (a, b))
        return -1 if mine < other else 1

    return sorted(rows, key=cmp_to_key(before))


def sends(row: dict) -> bool:
    return row["outcome"] in ("send back", "return")


def asked_for(shop, row: dict, back: dict, before: list[dict], *, only: bool) -> str:
    """May `back` have asked for `row`: '' (no), 'there' (to the stage it named), 'on the way'. before : visits behind;
    only : no other visit at that stage is to come.
    """
    repair = role(shop, row["stage"]) == "repair"
    to, here, caught = back["sent_back_to"], place(shop, row["stage"]), place(shop, back["stage"])
    named = to in {item.key for item in shop.stages}
    been = any(other["stage"] == row["stage"] for other in before)
    if not repair and (here >= caught or not (been or (row["outcome"] == "fixed" and to == row["stage"] and only))):
        return ""
    if to == row["stage"]:
        return "there"
    on_the_way = here < caught and (not named or place(shop, to) < here)
    return "on the way" if on_the_way or (repair and not named) else ""


def must_wait(shop, row: dict, to_come: list[dict], before: list[dict]) -> bool:
    """Does a send-back still to come today have to stand before the row?"""
    last, since = None, []
    for other in before:
        since.append(other["stage"])
        if (
            last
            and role(shop, other["stage"]) != "repair"
            and place(shop, other["stage"]) >= place(shop, last["stage"])
        ):
            last = None
        if sends(other):
            last, since = other, []
    first = last is not None and row["stage"] not in since
    if first and last["sent_back_to"] == row["stage"]:
        return False
    only = [other["stage"] for other in to_come].count(row["stage"]) == 1
    asked = [
        asked_for(shop, row, other, before, only=only and row["only"])
        for other in to_come
        if sends(other) and other is not row
    ]
    going_back = first and asked_for(shop, row, last, [row], only=True) == "on the way"
    return "there" in asked or ("on the way" in asked and not going_back)


def way_of(shop, rows: list[dict]) -> tuple[int, bool]:
    """Of one log's rows without a clock: do they run forth (1) or back (-1), and do they tell what came first in a
    day?
    """
    rows = sorted(rows, key=lambda row: (row["line"], place(shop, row["stage"])))
    by_serial, by_day = defaultdict(list), defaultdict(list)
    for row in rows:
        by_serial[row["serial"]].append(row)
        by_day[row["serial"], local_day(shop, taken_at(row))].append(row)
    steps = 0
    for mine in by_serial.values():
        days = [local_day(shop, taken_at(row)) for row in mine]
        steps += sum((b > a) - (b < a) for a, b in pairwise(days))
    fell, rose, behind = [], [], []
    for day in by_day.values():
        if len(day) > 1 and not any(sends(row) or row["again"] for row in day):
            places = [place(shop, row["stage"]) for row in day]
            fell.append(any(b < a for a, b in pairwise(places)))
            rose.append(any(b > a for a, b in pairwise(places)))
    share_fell, share_rose = (sum(x) / len(x) if x else None for x in (fell, rose))
    plainly_back = fell and share_fell > 0.9 and share_rose < 0.1
    forth = -1 if steps < 0 or (steps == 0 and plainly_back) else 1
    for day in by_day.values():
        pairs = [
            forth * (row["line"] - back["line"]) > 0
            for back in day
            if sends(back)
            for row in day
            if row["again"] or role(shop, row["stage"]) == "repair" or row["outcome"] == "fixed"
            if place(shop, row["stage"]) < place(shop, back["stage"])
            or (role(shop, row["stage"]) == "repair" and row["stage"] != back["stage"])
        ]
        if pairs:
            behind.append(any(pairs))
    against = (share_fell if forth == 1 else share_rose) or 0.0
    return forth, bool(behind) and sum(behind) / len(behind) >= 0.5 and against < 0.5


def in_days(shop, rows: list[dict], ways: dict[str, tuple[int, bool]]) -> list[dict]:
    """One instrument's visits in time order, a day at a time: by the clock and the bench, but where work was done again
    and the clock does not tell, by the rows of a log that tells, else by what was sent back.
    """
    done: list[dict] = []
    for row in rows:
        row["only"] = [other["stage"] for other in rows].count(row["stage"]) == 1
    for day in sorted({local_day(shop, taken_at(row)) for row in rows}):
        today = in_order(shop, [row for row in rows if local_day(shop, taken_at(row)) == day])
        logs = {row["log_id"] for row in today}
        done_again = [r for r in today if r["again"] or role(shop, r["stage"]) == "repair" or r["outcome"] == "fixed"]
        sent = any(sends(row) for row in today)
        if all(row["time_known"] for row in today) or not (sent or any(row["again"] for row in today)):
            done += today
        elif len(logs) == 1 and not any(row["time_known"] for row in today) and ways[today[0]["log_id"]][1]:
            done += sorted(today, key=lambda row: (row["line"] * ways[row["log_id"]][0], place(shop, row["stage"])))
        elif not (sent and done_again):
            done += today
        else:
            done += one_by_one(shop, today, done, ways)
    return done


def one_by_one(shop, today: list[dict], done: list[dict], ways: dict[str, tuple[int, bool]]) -> list[dict]:
    taken: list[dict] = []
    to_come = list(today)

    def line(row: dict) -> int:
        return row["line"] * ways.get(row["log_id"], (1, False))[0]

    def before(a: dict, b: dict) -> bool:
        """Is it known that a comes before b?"""
        if a["time_known"] and b["time_known"]:
            return today.index(a) < today.index(b)
        told = a["log_id"] == b["log_id"] and not a["time_known"] and not b["time_known"] and ways[a["log_id"]][1]
        return told and (line(a), place(shop, a["stage"])) < (line(b), place(shop, b["stage"]))

    while to_come:
        heads = [row for row in to_come if not any(before(other, row) for other in to_come)]

        def turn(row: dict) -> tuple:
            last, since = None, []
            for other in done + taken:
                since.append(other["stage"])
                if last and role(shop, other["stage"]) != "repair" and place(shop, other["stage"]) >= last[0]:
                    last = None
                if sends(other):
                    last, since = (place(shop, other["stage"]), other["sent_back_to"]), []
            called = (
                last and last[1] == row["stage"] and row["stage"] not in since and role(shop, row["stage"]) == "repair"
            )
            waits = must_wait(shop, row, to_come, done + taken)
            return waits, not called, place(shop, row["stage"]), line(row), row["log_id"]

        chosen = min(heads, key=turn)
        to_come.remove(chosen)
        taken.append(chosen)
    return taken
