"""A week of 300 instruments entered through Card alone, then Monday's review:
python -m tests.trials.card_week [FOLDER], where a folder that is named is made and stays, to be looked at.

Sixty instruments a working day pass nut slotting, bridge fitting and, the next day, final inspection and packing: each
visit is opened, its values are judged one by one as they are typed, and it is kept, through the counter the page asks.
One instrument in twenty is sent back by final inspection, one card in fifty is sent twice, one in sixty is undone and
entered again. The sheets are taken in every evening, as the page does it. Then the review of that week is worked out.
"""

import shutil
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from analysis.review import review
from dashboard.desk.cards import CardDesk
from dashboard.desk.desk import Desk, use
from dashboard.papers import week as paper
from ingest.store.store import open_snapshot
from tests.trials.written import write

SEED, DAYS, A_DAY = 20270917, 5, 60
MONDAY = datetime(2026, 11, 16, 8, tzinfo=UTC)
SHOP = """
[shop]
name = "Card Lane"
timezone = "UTC"
[[stage]]
key = "nut_slotting"
[[stage]]
key = "bridge_fitting"
[[stage]]
key = "final_inspection"
role = "final"
[[stage]]
key = "packing"
role = "packing"
[[characteristic]]
key = "nut"
set_at = "nut_slotting"
positions = ["bass", "treble"]
plausible = ["0 mm", "2 mm"]
[[characteristic]]
key = "action"
set_at = "bridge_fitting"
positions = ["bass", "treble"]
plausible = ["0.5 mm", "6 mm"]
[[gauge]]
key = "rule"
measures = ["action"]
resolution = "0.5/64 in"
[[gauge]]
key = "leaves"
measures = ["nut"]
resolution = "0.001 in"
[[model]]
key = "LARK-25"
family = "tenor ukulele"
[[fault]]
key = "open-string buzz"
suspect = "nut_slotting"
[[tech]]
key = "T01"
"""
SPECS = """characteristic,target,lower,upper,unit
nut,0.52,0.35,0.70,mm
action,2.55,2.15,2.95,mm
"""


class Typing:
    """Somebody at the benches, by a clock of the trial's own."""

    def __init__(self, folder: Path) -> None:
        self.at, self.number, self.answers = MONDAY, 0, []
        self.rng = np.random.default_rng(SEED)
        self.desk = Desk(folder)
        self.desk.jobs.clock = lambda: self.at + timedelta(minutes=1)
        self.cards = CardDesk(self.desk, clock=lambda: self.at)
        self.cards.by_itself = False  # taken in of an evening, not by the machine's clock

    def timed(self, ask, *given, **more):
        """Ask, and note the processor time of this answer."""
        begun = time.thread_time()
        answer = ask(*given, **more)
        self.answers.append(time.thread_time() - begun)
        return answer

    def visit(self, stage: str, serial: str, outcome: str = "pass") -> dict:
        """One instrument at one bench."""
        card = self.timed(self.cards.card, stage, serial, model="LARK-25")
        values = []
        for field in card["fields"]:
            hand, aim = field["gauges"][0], field["gauges"][0]["target"]
            text = f"{round((aim + 2 * hand['step'] * self.rng.normal()) / hand['step']) * hand['step']:g}"
            asked = (stage, "LARK-25", field["characteristic"], field["position"], text, hand["key"])
            self.timed(self.cards.judge, *asked)
            values.append({"characteristic": field["characteristic"], "position": field["position"], "found": text,
                           "left": "", "gauge": hand["key"]})  # fmt: skip
        self.number += 1
        self.at += timedelta(seconds=40)
        one = {"card": f"c{self.number}", "bench": stage, "stage": stage, "tech": "T01", "serial": serial,
               "model": "LARK-25", "opened_at": card["opened_at"], "outcome": outcome, "values": values,
               "faults": ["open-string buzz"] if outcome == "send back" else [],
               "sent_to": "nut_slotting" if outcome == "send back" else ""}  # fmt: skip
        self.timed(self.cards.keep, one)
        return one


def main(days: int = DAYS, a_day: int = A_DAY, *, kept: str = "") -> None:
    """The week, and what stands on Monday. kept : a folder for the shop, which then stays."""
    folder = Path(kept or tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_text(SHOP)
    (folder / "specs.csv").write_text(SPECS)
    typing, wanted, serial = Typing(folder), 0, 0
    waiting: list[str] = []
    for day in range(days + 1):
        typing.at = MONDAY + timedelta(days=day if day < 5 else 7)
        for name in waiting:
            back = typing.rng.random() < 0.05
            typing.visit("final_inspection", name, "send back" if back else "pass")
            wanted += 2
            if back:
                typing.visit("nut_slotting", name)
                typing.visit("final_inspection", name)
                wanted += 2
            typing.visit("packing", name)
        waiting = []
        for _ in range(a_day if day < days else 0):
            serial += 1
            name = f"CL-{serial:04d}"
            for stage in ("nut_slotting", "bridge_fitting"):
                one = typing.visit(stage, name)
                wanted += 1
                if typing.number % 50 == 0:
                    typing.cards.keep(one)  # sent twice
                if typing.number % 60 == 0:
                    typing.cards.undo(stage, one["card"])
                    typing.visit(stage, name)
            waiting.append(name)
        typing.desk.jobs.wait(typing.desk.jobs.cards(), 600)
    snapshot = open_snapshot(folder)
    visits = snapshot.table("visits")
    use(typing.desk)
    found = typing.desk.ask(review, week=MONDAY.date())
    _, page = paper.paper(week=MONDAY.date())
    answers = np.array(typing.answers) * 1000
    lines = [
        f"{days * a_day} instruments, {typing.number} cards, seed {SEED}.",
        "",
        f"- visits wanted {wanted}, on file {visits.height}, serials {visits['serial'].n_unique()}; "
        f"set aside {snapshot.table('set_aside').height}",
        f"- logs on file {snapshot.table('logs').height}, originals {len(list((folder / 'originals').glob('*.json')))}",
        f"- the review's paper: {len(page):,} characters; parts not worked out: {len(found.gaps)}",
        f"- processor time of an answer, ms: median {np.median(answers):.1f}, 95 % {np.quantile(answers, 0.95):.1f}, "
        f"largest {answers.max():.1f}, of {len(answers)}",
    ]
    write(__file__, "\n".join(lines))
    if not kept:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main(kept="".join(sys.argv[1:2]))
