"""A second telling of every story in plain Python: simple loops over dict rows, written from the words alone, sharing
no code with the studies.

It is slow and means to be read. Tests hold the studies against it, to the last digit.
"""

from collections import defaultdict
from datetime import date, datetime, timedelta
from math import prod
from statistics import median
from zoneinfo import ZoneInfo

from tests.analysis.studies.recount_days import in_days, in_order, local_day, place, role, taken_at, way_of

DAYS = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]
CARRIED = ["model", "supplier", "lot", "neck", "job", "string_set", "grade", "hand"]


def week_of(shop, day: date) -> date:
    while DAYS[day.weekday()] != shop.shop.week_starts:
        day -= timedelta(days=1)
    return day


def runs_in_a_circle(shop, rows: list[dict]) -> bool:
    """Does the pairwise rule contradict itself among these visits? Then any order will do and nothing is compared."""
    ordered = in_order(shop, rows)
    return any(
        in_order(shop, [ordered[j], ordered[i]]) != [ordered[i], ordered[j]]
        for i in range(len(ordered))
        for j in range(i + 1, len(ordered))
    )


def usual_of(shop, visits: list[dict]) -> dict[tuple[str, str], float]:
    """By stage and family what the clocks usually say, where thirty and more say it."""
    clocks = defaultdict(list)
    for visit in visits:
        stamps = visit["started_at"], visit["finished_at"]
        clocked = visit["minutes"] is None and visit["time_known"] and all(stamps)
        if clocked and stamps[1] >= stamps[0]:
            clocks[visit["stage"], family_of(shop, visit)].append((visit["tech"], *stamps))
    usual = {}
    for key, held in clocks.items():
        middle = median(paid(shop, start, finish) for _, start, finish in held)
        if len(held) >= 30 and middle > 0 and at_once(held) <= 3:
            step = 0
            while 2 ** (step / 3) < middle * (1 - 1e-9):
                step += 1
            while 2 ** ((step - 1) / 3) >= middle * (1 - 1e-9):
                step -= 1
            usual[key] = 2 ** (step / 3)
    return usual


def at_once(held: list[tuple]) -> float:
    """How many visits of one person are open at a time, minute by minute."""
    spent, covered = 0, set()
    for tech, start, finish in held:
        whose = tech or f"nobody {start} {finish}"
        minute = start
        while minute < finish:
            spent += 1
            covered.add((whose, minute if tech else (minute, start, finish)))
            minute += timedelta(minutes=1)
    return spent / len(covered) if covered else 1.0


def family_of(shop, visit: dict) -> str:
    return next((model.family for model in shop.models if model.key == visit["model"]), "")


def minutes_of(shop, visit: dict, usual: dict[tuple[str, str], float]) -> tuple[float, str]:
    stage = next(item for item in shop.stages if item.key == visit["stage"])
    family = family_of(shop, visit)
    planned = (
        stage.minutes
        if not isinstance(stage.minutes, dict)
        else stage.minutes.get(family, stage.minutes.get("other", 0.0))
    )
    if visit["minutes"] is not None:
        worked, source = visit["minutes"], "typed"
    else:
        worked, source = planned, "planned"
        if (
            visit["time_known"]
            and visit["started_at"]
            and visit["finished_at"]
            and visit["finished_at"] >= visit["started_at"]
        ):
            clock = paid(shop, visit["started_at"], visit["finished_at"])
            if planned == 0 or clock <= max(30, 4 * planned, 4 * usual.get((stage.key, family), 0)):
                worked, source = clock, "clock"
    return (0.0 if stage.role == "rest" else worked), source


def paid(shop, start: datetime, finish: datetime) -> float:
    """Minute by minute: each minute of the wall clock is paid or not. For stamps on whole minutes."""
    calendar, zone = shop.calendar, ZoneInfo(shop.shop.timezone)
    count, now = 0, start
    while now < finish:
        wall = now.astimezone(zone)
        clock = wall.strftime("%H:%M")
        shut = any(part.split("/")[0] <= wall.date().isoformat() <= part.split("/")[-1] for part in calendar.closed)
        resting = any(pause.split("-")[0] <= clock < pause.split("-")[1] for pause in calendar.breaks)
        is_open = not calendar.open or calendar.open.split("-")[0] <= clock < calendar.open.split("-")[1]
        count += is_open and not shut and not resting
        now += timedelta(minutes=1)
    return float(count)


def tell(shop, visits: list[dict], faults: list[dict], as_of: datetime) -> dict[str, list[dict]]:
    """Every instrument's visits in time order with all that is worked out; `loops` hang on the visits that opened
    them.
    """
    by_serial = defaultdict(list)
    for row in visits:
        if taken_at(row) <= as_of and row["serial"]:
            by_serial[row["serial"]].append(dict(row))
    undated = defaultdict(list)
    for rows in by_serial.values():
        seen: set[str] = set()
        for row in sorted(rows, key=lambda x: (taken_at(x), x["line"], place(shop, x["stage"]), x["log_id"])):
            row["again"] = row["stage"] in seen
            seen.add(row["stage"])
            if not row["time_known"]:
                undated[row["log_id"]].append(row)
    ways = {log: way_of(shop, rows) for log, rows in undated.items()}
    said = defaultdict(list)
    for fault in faults:
        said[fault["log_id"], fault["line"], fault["stage"]].append(fault["fault"])
    told = {}
    for serial in sorted(by_serial):
        told[serial] = in_days(shop, by_serial[serial], ways)
        for name in CARRIED:
            given = [row[name] for row in told[serial] if row[name]]
            for row in told[serial]:
                row[name] = given[0] if given else ""
    usual = usual_of(shop, [row for rows in told.values() for row in rows])
    for ordered in told.values():
        for i, row in enumerate(ordered):
            follow = [other for other in ordered[i + 1 :] if role(shop, other["stage"]) != "repair"]
            later = (
                follow
                if role(shop, row["stage"]) == "repair"
                else [x for x in follow if place(shop, x["stage"]) > place(shop, row["stage"])]
            )
            if row["outcome"] == "open" and later:
                row["outcome"] = "pass"
        turn, packed = 1, False
        for row in ordered:
            if packed or row["outcome"] == "return":
                turn += 1
            packed = role(shop, row["stage"]) == "packing" and row["outcome"] == "pass"
            row["round"] = turn
        for i, row in enumerate(ordered):
            row["pass_no"] = 1 + sum(
                1 for x in ordered[:i] if x["stage"] == row["stage"] and x["round"] == row["round"]
            )
            row["minutes"], row["minutes_from"] = minutes_of(shop, row, usual)
            row["day"] = local_day(shop, taken_at(row))
            row["faults"] = said[row["log_id"], row["line"], row["stage"]]
            row["caused_at"], row["confirmed"] = cause_of(shop, row)
            row["charged"] = charged_to(ordered[:i], row)
        for turn in {row["round"] for row in ordered}:
            loops_of(shop, [row for row in ordered if row["round"] == turn], as_of, turn < ordered[-1]["round"])
    return told


def cause_of(shop, row: dict) -> tuple[str, bool]:
    places = {item.key for item in shop.stages} | {"supplier", "handling"}
    if row["outcome"] not in ("send back", "fixed", "reject"):
        return "", False
    if row["cause"] in places:
        return row["cause"], True
    return (row["sent_back_to"] if row["sent_back_to"] in places else "unknown"), False


def charged_to(before: list[dict], row: dict) -> str:
    at = [other for other in before if other["stage"] == row["caused_at"]]
    if row["outcome"] not in ("send back", "fixed", "reject") or not at or set(at[-1]["tech"]) & set("/+&,"):
        return ""
    return at[-1]["tech"]


def loops_of(shop, visits: list[dict], as_of: datetime, another_round: bool) -> None:
    """Hangs a `loop` on each send-back of one round: its visits, how it closed, its minutes and hours."""
    going: list[dict] = []
    for row in visits:
        if going:
            inner = going[-1]
            repeats = row["pass_no"] > 1 or role(shop, row["stage"]) == "repair"
            row["in_loop"] = inner
            if repeats:
                inner["minutes"] += row["minutes"]
        ends = row["outcome"] in ("reject", "second", "pulled") or (
            role(shop, row["stage"]) == "packing" and row["outcome"] == "pass"
        )
        for depth, loop in enumerate(list(going)):
            caught = loop["caught"]
            passes = (
                role(shop, row["stage"]) != "repair"
                and role(shop, caught["stage"]) != "repair"
                and place(shop, row["stage"]) >= place(shop, caught["stage"])
            )
            if ends or passes:
                for closed in going[depth:]:
                    closed["closed"] = row
                del going[depth:]
                break
        if row["outcome"] == "send back":
            row["loop"] = {"caught": row, "closed": None, "minutes": 0.0, "parent": going[-1] if going else None}
            going.append(row["loop"])
    for loop in going:
        if another_round or taken_at(visits[-1]) < as_of - timedelta(days=30):  # gone on, or not seen for 30 days
            loop["closed"] = visits[-1]
    for row in visits:
        if "loop" in row:
            end = taken_at(row["loop"]["closed"]) if row["loop"]["closed"] else as_of
            row["loop"]["hours"] = max((end - taken_at(row)).total_seconds() / 3600, 0.0)


def judged(shop, visits: list[dict]) -> dict | None:
    """The visit of round 1 with which an instrument was judged: its first final inspection, or its end."""
    for row in visits:
        if row["round"] == 1 and (role(shop, row["stage"]) == "final" or row["outcome"] in ("reject", "second")):
            return row
    return None


def send_backs(shop, told: dict[str, list[dict]]) -> dict[tuple[str, str, str], list[float]]:
    """count, minutes, hours, cost by caused at, caught at, first fault."""
    table: dict[tuple[str, str, str], list[float]] = {}
    for visits in told.values():
        for row in visits:
            if row["round"] == 1 and "loop" in row:
                key = (row["caused_at"], row["stage"], row["faults"][0] if row["faults"] else "")
                sums = table.setdefault(key, [0, 0.0, 0.0, 0.0])
                sums[0] += 1
                sums[1] += row["loop"]["minutes"]
                sums[2] += row["loop"]["hours"]
                sums[3] += row["loop"]["minutes"] * shop.shop.labour_per_hour / 60
    return table


def stages(shop, told: dict[str, list[dict]]) -> dict[str, dict[str, float | None]]:
    table = {}
    backs = [row for visits in told.values() for row in visits if row["round"] == 1 and "loop" in row]
    for key in [item.key for item in shop.stages] + ["supplier", "handling", "unknown"]:
        counted = [[row for row in visits if row["round"] == 1] for visits in told.values() if judged(shop, visits)]
        here = [visits for visits in counted if any(row["stage"] == key for row in visits)]
        passed = [visits for visits in here if next(row for row in visits if row["stage"] == key)["outcome"] == "pass"]
        held = [visits for visits in here if not any(row["caused_at"] == key for row in visits)]
        at = [row for visits in here for row in visits if row["stage"] == key]
        mine = [row["loop"] for row in backs if row["caused_at"] == key]
        table[key] = {
            "instruments": len(here),
            "visits": len(at),
            "minutes": sum(row["minutes"] for row in at),
            "yield_caught": len(passed) / len(here) if here else None,
            "yield_caused": len(held) / len(here) if here else None,
            "caught_here": sum(1 for row in backs if row["stage"] == key),
            "caused_here": len(mine),
            "loop_minutes": sum(loop["minutes"] for loop in mine),
            "loop_hours": sum(loop["hours"] for loop in mine),
            "loop_cost": sum(loop["minutes"] for loop in mine) * shop.shop.labour_per_hour / 60,
        }
    return table


def weeks(shop, told: dict[str, list[dict]]) -> dict[date, dict[str, float | None]]:
    table = {}
    everything = [row for visits in told.values() for row in visits]
    for week in sorted({week_of(shop, row["day"]) for row in everything}):
        finished = 0
        for visits in told.values():
            packed = [
                row
                for row in visits
                if row["round"] == 1 and role(shop, row["stage"]) == "packing" and row["outcome"] == "pass"
            ]
            finished += bool(packed) and week_of(shop, packed[0]["day"]) == week
        mine = []
        for visits in told.values():
            judging = judged(shop, visits)
            if judging and week_of(shop, judging["day"]) == week:
                mine.append([row for row in visits if row["round"] == 1])
        loops = [
            row["loop"]
            for row in everything
            if row["round"] == 1 and "loop" in row and week_of(shop, row["day"]) == week
        ]
        of_model = {
            model: [visits for visits in mine if visits[0]["model"] == model]
            for model in {visits[0]["model"] for visits in mine}
        }
        rolled = sum(len(same) * rolled_yield(shop, same) for same in of_model.values())
        table[week] = {
            "finished": finished,
            "judged": len(mine),
            "rolled_yield": rolled / len(mine) if mine else None,
            "never_sent_back": sum(not any(row["outcome"] == "send back" for row in visits) for visits in mine)
            / len(mine)
            if mine
            else None,
            "loop_minutes": sum(loop["minutes"] for loop in loops),
            "loop_cost": sum(loop["minutes"] for loop in loops) * shop.shop.labour_per_hour / 60,
        }
    return table


def rolled_yield(shop, same_model: list[list[dict]]) -> float:
    """Product of the yields caught over the stages of one model's route."""
    family = next((model.family for model in shop.models if model.key == same_model[0][0]["model"]), "")
    yields = []
    for stage in shop.stages:
        if stage.role != "repair" and (not stage.families or family in stage.families):
            at = [[row for row in visits if row["stage"] == stage.key] for visits in same_model]
            first = [rows[0] for rows in at if rows]
            if first:
                yields.append(sum(row["outcome"] == "pass" for row in first) / len(first))
    return prod(yields)
