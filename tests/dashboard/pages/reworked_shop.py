"""A small invented shop on disk whose work comes back: one model, four weeks, every tenth instrument sent back from
final to bridge fitting.
"""

from datetime import datetime, timedelta
from pathlib import Path

from ingest.verbs.load import load
from tests.dashboard.pages import moving_shop

N, EVERY, A_DAY = 160, 10, 8
HEAD = "serial,model,stage,tech,started_at,finished_at,outcome,sent_back_to,fault,fault_at,relief (mm)"
FAULT, WHERE = "open-string buzz", "2"


def stands(folder: Path, *, every: int = EVERY) -> Path:
    """The shop folder, its log loaded; every 0: nothing is sent back."""
    moving_shop.stands(folder, with_logs=False)
    text = (
        (folder / "shop.toml")
        .read_text()
        .replace("[judging]", 'currency = "EUR"\nlabour_per_hour = 30.0\n\n[judging]', 1)
    )
    (folder / "shop.toml").write_text(text + f'\n[[fault]]\nkey = "{FAULT}"\n')
    path = folder / "bench.csv"
    path.write_text("\n".join([HEAD, *rows(every)]) + "\n")
    load(folder, [path], now=moving_shop.NOW)
    return folder


def rows(every: int) -> list[str]:
    """Bridge 6 minutes, final 5, packing 2; one that comes back goes to the bridge once more, and to final, an hour
    later each.
    """
    lines = []
    for k in range(N):
        day, place = divmod(k, A_DAY)
        week, of_week = divmod(day, 5)
        at = datetime(2026, 3, 2, 8, 0) + timedelta(weeks=week, days=of_week, minutes=6 * place)
        back = every and k % every == 0
        visits = [("bridge_fitting", "pass", 6), ("final_inspection", "send back" if back else "pass", 5)]
        visits += [("bridge_fitting", "pass", 6), ("final_inspection", "pass", 5)] if back else []
        visits.append(("packing", "pass", 2))
        for hour, (stage, outcome, minutes) in enumerate(visits):
            start = at + timedelta(hours=hour)
            told = f"bridge_fitting,{FAULT},{WHERE}" if outcome == "send back" else ",,"
            relief = "0.20" if stage == "final_inspection" else ""
            stamp = f"{start:%Y-%m-%d %H:%M},{start + timedelta(minutes=minutes):%Y-%m-%d %H:%M}"
            lines.append(f"R-{k:04d},LARK-25,{stage},T01,{stamp},{outcome},{told},{relief}")
    return lines
