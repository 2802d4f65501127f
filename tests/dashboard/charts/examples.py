"""Charts of every kind with full, empty and one-point data: what the tests walk and the browser draws. Names and
numbers are invented.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from dashboard.charts.against import SideView, against
from dashboard.charts.band import BandView, band
from dashboard.charts.capability_map import MapCell, MapView, capability_map
from dashboard.charts.cost import CostView, cost
from dashboard.charts.evidence import EvidenceView, evidence
from dashboard.charts.funnel import FunnelView, funnel
from dashboard.charts.gauge_checks import ChecksView, gauge_checks
from dashboard.charts.histogram import HistogramView, histogram
from dashboard.charts.lanes import Catch, Lane, LanesView, lanes
from dashboard.charts.learning import LearningView, learning
from dashboard.charts.lots import LotRow, LotsView, lots
from dashboard.charts.moved import MatterRow, Moved, MovedView, moved
from dashboard.charts.moves_with import Candidate, moves_with
from dashboard.charts.normal_week import WeeksView, normal_week
from dashboard.charts.parts_of_whole import ages, variance
from dashboard.charts.rack import RackCell, RackColumn, RackRow, RackView, rack
from dashboard.charts.room_left import Need, NeedRow, room_left
from dashboard.charts.run import RunView, run
from dashboard.charts.savings import Saving, savings
from dashboard.charts.settling import SettlingRow, settling
from dashboard.charts.shares import BarRow, ShareRow, pareto, shares
from dashboard.charts.shops import DAYS, ShopRow, ShopsView, shops
from dashboard.charts.stream.chart import Asked, Began, Change, Limits, Odd, Run, Signal, StreamView, stream
from dashboard.charts.walked import Board, Loop, WalkView, walked

START, MOVED, ANEW = datetime(2026, 8, 17), datetime(2026, 11, 3), datetime(2026, 10, 5)
CLOSED = datetime(2026, 10, 1)


def wobble(k: int) -> float:
    """A repeatable wobble between -1 and 1."""
    return math.sin(1.7 * k) * 0.6 + math.sin(0.31 * k + 1) * 0.4


def stream_view(
    *, direction: str = "up", judged: bool = True, spec: tuple[float | None, float | None] = (2.10, 2.70)
) -> StreamView:
    """Thirteen weeks of action bass with a closed signal in September and an open one since 3 November."""
    taken = [
        START + timedelta(days=d, hours=8 + 2 * k)
        for d in range(90)
        for k in range(4)
        if (START + timedelta(days=d)).weekday() < 5
    ]
    sign = 1 if direction == "up" else -1
    values = [round(2.39 + 0.09 * wobble(i) + (0.1 * sign if t >= MOVED else 0), 2) for i, t in enumerate(taken)]
    base = 100
    average, gap, running = [], 0.066, 2.39
    for i, value in enumerate(values):
        running = 0.9 * running + 0.1 * value if i >= base else running
        average.append(running if i >= base else math.nan)
    low = [2.39 - gap if i >= base else math.nan for i in range(len(taken))]
    high = [2.39 + gap if i >= base else math.nan for i in range(len(taken))]
    lower, upper = spec
    return StreamView(
        taken,
        values,
        [f"HO-{23000 + i}" for i in range(len(taken))],
        average=average if judged else None,
        gap_low=low if judged else None,
        gap_high=high if judged else None,
        limits=[Limits(taken[0], ANEW, 2.39, 2.12, 2.66), Limits(ANEW, taken[-1], 2.39, 2.13, 2.64)],
        asked=[Asked(taken[0], taken[-1], 2.40, lower, upper)] if lower is not None or upper is not None else [],
        baseline=base,
        judged_from=taken[base],
        signals=[
            Signal(MOVED + timedelta(days=1), None, direction, "signal, 4 Nov", MOVED),
            Signal(
                datetime(2026, 9, 24), CLOSED, "up", "closed: feeler card worn, replaced 1 Oct", datetime(2026, 9, 22)
            ),
        ],
        began=Began(MOVED, datetime(2026, 10, 30), datetime(2026, 11, 5), "began 3 Nov, 30 Oct to 5 Nov"),
        changes=[Change(MOVED, "new saddle blanks, 3 Nov")],
        anew=[Change(ANEW, "limits set anew, 5 Oct")],
        runs=[
            Run(datetime(2026, 9, 23), datetime(2026, 9, 25), "one side"),
            Run(datetime(2026, 11, 9), datetime(2026, 11, 12), "one side"),
        ],
        odd=[Odd(taken[180], values[180], "odd instrument HO-23180, 2.02 mm")],
        outside=[20, 200],
    )


ONE_READING = StreamView([START], [2.4], ["HO-1"])
CROWDED = replace(
    stream_view(),
    changes=[Change(START + timedelta(days=7 * k, hours=9), f"change number {k}, with many words") for k in range(12)],
    odd=[
        Odd(START + timedelta(days=60, hours=8 + k), 2.02 + 0.001 * k, f"odd instrument HO-{k}, 2.02 mm")
        for k in range(6)
    ],
)

RACK = RackView(
    [RackRow("Relief"), RackRow("In tune at 12, string 1"), RackRow("string 2", within=True)],
    [
        RackColumn("WREN-S", "soprano ukulele, 74"),
        RackColumn("LARK-25", "tenor ukulele, 81"),
        RackColumn("KITE-M2", "mandolin, new, 11"),
    ],
    [
        RackCell(0, 0, "steady", [0.2 * wobble(k) for k in range(40)], key="a"),
        RackCell(
            0, 1, "moved", [None, None, *[0.2 * wobble(k) + (0.8 if k > 30 else 0) for k in range(38)]], 32, key="b"
        ),
        RackCell(1, 2, "thin", key="c"),
        RackCell(2, 0, "steady", [0.1], key="d"),
    ],
    chosen="b",
)
STAGES = (
    "Receiving inspection",
    "Neck straightening",
    "Levelling",
    "Conditioning",
    "Nut slotting",
    "Play test",
    "Final inspection",
    "Packing",
)
FIGURES = ["28.1|21 to 38", "22.1", "1,066", "87", "45 %"]
LANES = LanesView(
    STAGES,
    [(8, "Play test", "33.8 h"), (9, "Final inspection", "25.2 h"), (5, "Levelling", "0.9 h")],
    [
        Lane("Nut slotting", 7, [Catch(8, 17.4, "17.4"), Catch(9, 6.8, "6.8")], 0.46, FIGURES, key="n|", told="Nut"),
        Lane("Supplier", 0, [Catch(8, 0.8, "0.8"), Catch(9, 1.8, "1.8")], 1.0, FIGURES, main=False),
        Lane("Unknown", None, [Catch(8, 1.0, "1.0")], 0.0, FIGURES, main=False),
        Lane("Play test", 8, [Catch(8, 0.4, "")], 0.5, FIGURES, main=False),
    ],
    ["hours|95 %", "4 weeks|before", "EUR", "sent|back", "cause|confirmed"],
    [("Two others: packing 0.3", FIGURES), ("All that came back", FIGURES)],
)
LOTS = LotsView(
    [
        LotRow(
            "Marrow & Pine",
            "MP-2291",
            "2 Nov",
            [0.025 * round((0.17 + 0.1 * wobble(k)) / 0.025) for k in range(50)],
            [f"n{k}" for k in range(50)],
            -0.10,
            0.25,
            0.17,
            0.02,
            "6 of 50 outside",
            "5 to 24 % in the lot",
            "bring",
            "bring to the supplier",
            True,
            "/necks?lot=MP-2291",
            "9 on the limit",
        ),
        LotRow(
            "Tollgate Necks",
            "T 618",
            "9 Nov",
            [-0.12, 0.05, 0.05],
            ["a", "b", "c"],
            -0.10,
            0.25,
            -0.01,
            0.04,
            "1 of 3 outside",
            "1 to 91 % in the lot",
            "too-few",
            "measure 29 more",
        ),
        LotRow("Orrin Woodworks", "OW-77", "26 Oct", [0.02], ["x"], None, None, 0.02, None, "no limit agreed", ""),
    ]
)
MAP = MapView(
    ["Action 12, bass", "Relief"],
    ["WREN-S", "LARK-25"],
    [
        MapCell(0, 0, 0.1, 0.4, 0.5, 0.6, 0.9, ppk="1.52", bounds="1.31 to 1.73"),
        MapCell(0, 1, -0.2, 0.2, 0.35, 0.5, 1.3, ppk="0.76", bounds="0.65 to 0.87", flags="not steady, coarse"),
        MapCell(1, 0),
        MapCell(1, 1, 0.2, 0.5, 0.6, 0.7, 1.1, has_lower=False, ppk="0.94", bounds="0.82 to 1.06"),
    ],
)
SHARES = [
    ShareRow("Action bass", 0.08, 0.05, 0.117, "24 of 301"),
    ShareRow("Relief", 0.0, 0.0, 0.012, "0 of 301", subject=True),
    ShareRow("Head tension", None, None, None, "none measured"),
]
BARS = [
    BarRow("Open-string buzz", 46, 33, 61),
    BarRow("Buzz at frets 1 to 3, treble side", 3, 0.6, 8.8),
    BarRow("All others, 9 faults", 39, 27, 52, True),
]
MOVES = [
    Candidate("Saddle blanks of 3 Nov", 0.10, 0.07, 0.14, True),
    Candidate("Humidity at the bench, +6 % RH", 0.09, 0.04, 0.13, True),
    Candidate("Differs between people at this bench", -0.02, -0.06, 0.02),
    Candidate("Weekday", None, None, None),
]
SETTLING = [
    SettlingRow("LARK-25, relief", 0.012, 0.006, 0.018, 48, 6),
    SettlingRow("DRAY-5, action", -0.008, -0.027, 0.011, 28, 5),
    SettlingRow("KITE-M2, action", None, None, None, 1, 0),
]
SAVINGS = [
    Saving("Nut slotting first time right", 22.8, 18, 27, "22.8 h, 866 EUR"),
    Saving("High frets found at levelling, not at play test", 8.1, -1, 11, "8.1 h, 308 EUR"),
]
WEEKS = WeeksView([290, math.nan, 310, 300, 301], 270, 322, "270", "322")
GRID = [0.8 + 0.4 * k for k in range(60)]
FUNNEL = FunnelView(
    GRID,
    [max(0.0, 1 - 2.2 / math.sqrt(x)) for x in GRID],
    [1 + 2.2 / math.sqrt(x) for x in GRID],
    [(6, 1.4), (12, 0.9), (21, 1.1)],
    (3.1, 1.6, 0.6, 3.1),
    "5 came back, 3.1 expected",
    "5, expected 3.1",
)
NTH = list(range(1, 143))
FIT = [11 + 10 * k**-0.4 for k in NTH]
LEARNING = LearningView(
    [f + 2 * wobble(k) for k, f in enumerate(FIT)],
    [f"s{k}" for k in NTH],
    NTH,
    FIT,
    [f - 0.9 for f in FIT],
    [f + 0.9 for f in FIT],
    (8.5, 12.5),
    "12.7 min now",
    "8.5 to 12.5",
)
BAND = BandView(
    [round(2 * (14 + 2 * wobble(k))) / 2 for k in range(64)],
    [f"s{k}" for k in range(64)],
    12,
    16,
    14,
    14.4,
    14.1,
    14.7,
    "12",
    "16 thou",
    "14",
)
EVIDENCE = EvidenceView([0.08 * k + 0.3 * wobble(k) for k in range(44)], 3, -3, "44")
COST = CostView(
    [0.0, 0.1, 0.2, 0.3],
    [15, 15.5, 16, 19],
    [14, 15, 15, 17],
    [16, 16, 17, 21],
    [30, 60, 40, 9],
    [0.0, 0.25, 0.3],
    [15, 16, 19],
    agreed=0.25,
    agreed_words="agreed: 0.25 mm",
    words="2.9 min a tenth",
)

Chart = Callable[..., dict[str, Any]]
WHAT_MOVED = MovedView(
    [
        MatterRow(
            "Action bass and treble on FINCH-T, HERON-OM and five more moved up",
            "14 streams. Largest: FINCH-T, action treble, up 0.19 mm, 32 % of the tolerance.",
            ["since 3 Nov", "Moves together with the change of", "3 Nov: bridge blanks.", "action: Mara by 25 Nov"],
            [Moved(32 - k, f"stream {k}", f"a||M{k}|final") for k in range(14)],
            "FINCH-T treble",
            "a||M0|final",
            True,
        ),
        MatterRow("In tune at 12 on KITE-M2 moved down", "", [], [Moved(-161, "one", "b||K|final", False)], "KITE-M2"),
    ],
    [k / 4 - 9 for k in range(70)],
    "70 series ran true, between 9 % below and 9 % above their centre line",
    "11 thin: fewer than 25 readings, or no spread",
)
LYING = HistogramView(
    [-6.5 + k for k in range(14)],
    [1, 2, 6, 15, 33, 52, 60, 55, 34, 16, 7, 3, 1],
    [1, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, 3, 1],
    [f"bar {k}" for k in range(13)],
    [-7 + k / 4 for k in range(57)],
    [62 * math.exp(-((-7 + k / 4) ** 2) / 8) for k in range(57)],
    0.0,
    -5.0,
    5.0,
    0,
    "cents",
)
NEEDS = [
    NeedRow(
        "In tune at 12, string 4",
        [
            Need("KITE-M2", 1.8, 1.6, 2.1, True, "in_tune|4|KITE-M2", "KITE-M2 needs 1.8 times its tolerance"),
            Need("LARK-25", 0.9, 0.8, 1.0, True, "in_tune|4|LARK-25", "LARK-25 needs 0.9 times its tolerance"),
            Need("WREN-S", None, None, None, False, "in_tune|4|WREN-S", "WREN-S: its mean lies beyond a limit"),
        ],
        "1 of 3 need more; KITE-M2: 59 of 750 out",
    ),
    NeedRow("Relief", [Need("LARK-25", 0.6, 0.5, 0.7, False)], "none clearly needs more"),
]
AGAINST = (
    SideView(
        "HERON-D in October", [1.8, 1.9, 1.7, 1.85], ["HD-1", "HD-2", "HD-3", "HD-4"], 1.81, 1.7, 1.92, "1 Oct", "4 Oct"
    ),
    SideView("all else of HERON-D", [2.0, 2.1, 2.2], ["HD-5", "HD-6", "HD-7"], 2.1, 1.9, 2.3, "1 Sep", "30 Sep"),
)


def against_two(sides: tuple[SideView, SideView], **more: Any) -> dict[str, Any]:
    """Both sides on limits that hold for all."""
    return against(*sides, lower=1.5, upper=2.5, unit="mm", **more)


WALK = WalkView(
    [f"Stage {k}" for k in range(1, 20)],
    [1] * 8 + [0] * 5 + [3, 1, 0, 0, 1, 0],
    18,
    "last seen: final inspection",
    [
        Loop(
            "high fret", 15, 4, False, "Play test back to fret levelling, not confirmed: 0.6 h of work, 1.2 days away"
        ),
        Loop("open-string buzz", 9, 9, True, "Nut slotting back to nut slotting: 0.1 h of work, 0.1 days away"),
        Loop("no fault named", 15, None, False, "Play test back to unknown, not confirmed: 0.0 h of work, still open"),
    ],
    [
        Board(
            "Neck relief",
            [0.05, 0.12, 0.15],
            [True, False, False],
            "0.05, 0.12, then 0.15 mm",
            0.1,
            0.3,
            0.2,
            "0.15 mm",
            "0.10",
            "0.30",
        ),
        Board("Intonation string 1", [6.0], [True], "6.0 cents, limit 5.0", -5.0, 5.0, 0.0, "", "−5.0", "5.0"),
        Board("Bridge height", [9.1], [False], "9.10 mm"),
    ],
)

SHOPS = ShopsView(
    [
        ShopRow("alder-street", 9812.0, 9810.0, 9815.0, "+0.080 mm", ours=True),
        ShopRow("fen-street", 9820.0, 9819.0, 9821.0, "+0.120 mm", out=True),
        ShopRow("weir-lane-instruments-and-necks", 9806.0, 9800.0, 9811.0, "n 1,204"),
    ],
    "mm",
    3,
    zero=True,
)
EXAMPLES: dict[str, tuple[Chart, Any]] = {
    "stream, moved up": (stream, stream_view()),
    "stream, moved down": (stream, stream_view(direction="down")),
    "stream in width mode": (stream, stream_view(judged=False)),
    "stream, one limit": (stream, stream_view(spec=(None, 2.70))),
    "stream, nothing asked": (stream, stream_view(spec=(None, None))),
    "stream, one reading": (stream, ONE_READING),
    "stream, crowded": (stream, CROWDED),
    "stream, empty": (stream, StreamView([], [], [])),
    "walked": (walked, WALK),
    "walked, nothing but a visit": (walked, WalkView(["Final inspection"], [1], 1, "last seen: final inspection")),
    "rack": (rack, RACK),
    "rack, empty": (rack, RackView([], [], [])),
    "lanes": (lanes, LANES),
    "lanes, one": (lanes, replace(LANES, lanes=LANES.lanes[:1], last=())),
    "lanes, empty": (lanes, replace(LANES, lanes=[])),
    "lots": (lots, LOTS),
    "lots, one neck": (lots, LotsView(LOTS.lots[2:])),
    "lots, empty": (lots, LotsView([])),
    "capability map": (capability_map, MAP),
    "capability map, empty": (capability_map, MapView([], [], [])),
    "shares": (shares, SHARES),
    "shares, one": (shares, SHARES[1:2]),
    "shares, empty": (shares, []),
    "pareto": (pareto, BARS),
    "pareto, one": (pareto, BARS[:1]),
    "pareto, empty": (pareto, []),
    "moves with": (moves_with, MOVES),
    "moves with, one": (moves_with, MOVES[3:]),
    "moves with, empty": (moves_with, []),
    "settling": (settling, SETTLING),
    "settling, one": (settling, SETTLING[2:]),
    "settling, empty": (settling, []),
    "savings": (savings, SAVINGS),
    "savings, empty": (savings, []),
    "shops": (shops, SHOPS),
    "shops, of days": (shops, replace(SHOPS, unit=DAYS, zero=False)),
    "shops, one": (shops, replace(SHOPS, rows=SHOPS.rows[:1])),
    "shops, empty": (shops, replace(SHOPS, rows=[])),
    "weeks": (normal_week, WEEKS),
    "weeks, one": (normal_week, WeeksView([7], None, None)),
    "weeks, empty": (normal_week, WeeksView([], None, None)),
    "funnel": (funnel, FUNNEL),
    "funnel, nobody chosen": (funnel, replace(FUNNEL, subject=None)),
    "funnel, empty": (funnel, FunnelView([], [], [], [])),
    "learning": (learning, LEARNING),
    "learning, one": (learning, LearningView([12.0], ["s1"])),
    "learning, empty": (learning, LearningView([], [])),
    "band": (band, BAND),
    "band, one-sided": (band, replace(BAND, lower=None, lower_words="")),
    "band, one": (band, BandView([3.0], ["s"], None, None, None, 3.0, None, None)),
    "band, empty": (band, BandView([], [], None, None, None, None, None, None)),
    "evidence": (evidence, EVIDENCE),
    "evidence, none yet": (evidence, EvidenceView([], 3, -3)),
    "cost": (cost, COST),
    "cost, empty": (cost, CostView([], [], [], [], [])),
    "what moved": (moved, WHAT_MOVED),
    "what moved, only steady": (moved, replace(WHAT_MOVED, rows=[])),
    "what moved, empty": (moved, MovedView([], [], "", "")),
    "histogram": (histogram, LYING),
    "histogram, one reading": (histogram, HistogramView([0.1, 0.2], [1], [0], ["a"], [], [], None, None, 0.3, 2, "mm")),
    "histogram, empty": (histogram, HistogramView([0, 1], [0], [0], [""], [], [], None, None, None, 2, "mm")),
    "room left": (room_left, NEEDS),
    "room left, empty": (room_left, []),
    "run": (run, RunView([0.1, 0.3, -0.12], ["HO-1", "HO-2", "HO-3"], [("MP-11", 2), ("MP-12", 1)], -0.1, 0.25)),
    "gauge checks": (gauge_checks, ChecksView([0.0, 0.02, -0.01, 0.06], ["1 Nov", "2 Nov", "3 Nov", "4 Nov"], 0.025)),
    "gauge checks, one": (gauge_checks, ChecksView([0.0], ["1 Nov"], 0.025)),
    "gauge checks, empty": (gauge_checks, ChecksView([], [], 0.025)),
    "run, one neck without limits": (run, RunView([0.1], ["HO-1"], [("MP-11", 1)], None, None)),
    "against": (against_two, AGAINST),
    "against, one side bare": (against_two, (AGAINST[0], SideView("all else", [], [], None, None, None))),
    "against, one reading each": (against_two, (SideView("a", [1.0], ["x"], 1.0, None, None),) * 2),
    "against, empty": (against_two, (SideView("a", [], [], None, None, None),) * 2),
    "run, empty": (run, RunView([], [], [], None, None)),
    "variance": (variance, [("between suppliers", 0.14), ("between lots of one supplier", 0.0), ("the gauge", 0.86)]),
    "variance, empty": (variance, []),
    "ages": (ages, [("today", 61), ("1", 0), ("2", 3)]),
    "ages, empty": (ages, []),
}
