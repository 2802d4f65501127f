"""The words of a week: each carries its number, its uncertainty and its denominator; nobody is named or blamed; small
is called small.
"""

import copy
import re
import tomllib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from analysis.brings import Brought
from analysis.review import MatterSeen, Review
from analysis.studies.matters import records
from analysis.studies.matters.records import Candidate, Matter, MovesWith, Planned, TellApart
from analysis.studies.people.catchers import Caught
from analysis.studies.people.touched import Touched
from dashboard import numbers
from dashboard.sentences import drift, ended, findings, going_with, matters
from dashboard.sentences import shared as sentences
from dashboard.sentences import week as sentences_week
from ingest.shopfiles.shop import checked_shop
from ingest.shopfiles.specs import read_specs
from tests.dashboard.pages import moving_shop
from tests.ingest.small_shop import TABLE, small_shop

WEEK = date(2026, 3, 30)
SHOP = checked_shop(tomllib.loads(moving_shop.SHOP.format(judging="", people='names"\npurpose = "coaching')))
BLAME = r"mistake|fault of|blame|bad|poor|fail|worst|worse than|careless|wrong|error|guilty|should have"
NOTHING = MovesWith()


def at(day, hour=9):
    return datetime(2026, 3, day, hour, tzinfo=UTC)


def candidate(factor, level, *, named=True, **more):
    return Candidate(factor, level, effect=0.1, low=0.05, high=0.15, probability=0.9, named=named, **more)


def matter(moves=NOTHING, *, new=True, **given):
    main = {
        "characteristic": "action",
        "position": "treble",
        "model": "LARK-25",
        "stage": "final_inspection",
        "tech": "",
    }
    record = Matter(
        key="a1",
        opened_at=at(27),
        closed_at=None,
        moves_with=moves,
        characteristics=["action"],
        positions=["treble"],
        models=["LARK-25"],
        stages=["final_inspection"],
        techs=[],
        size=0.11,
        size_low=0.08,
        size_high=0.14,
        sizes=None,
        sigmas=1.1,
        touched=60,
        share_of_tolerance=0.138,
        began_at=at(25),
        began_low=at(24),
        began_high=at(26),
        signals=[],
        streams=1,
        only_some=False,
        real=1.0,
        tell_apart=[],
        check=[],
        planned=None,
        state="open",
        action="",
        owner="",
        due=None,
        known_until=None,
        main={**main, **given.pop("main", {})},
    )
    return MatterSeen(replace(record, **given), new, [0.0] * 8 + [0.5] * 4, 8)


def lot(**given):
    row = {
        "supplier": "Marrow and Pine",
        "lot": "MP-2291",
        "characteristic": "relief",
        "n": 50,
        "outside": 0.12,
        "outside_low": 0.0453,
        "outside_high": 0.243,
        "verdict": "reject",
        "agreed_limit": 0.25,
    }
    return row | given


def flows(*rows):
    names = ("caused_at", "caught_at", "count", "minutes", "count_confirmed", "minutes_confirmed")
    types = (pl.String, pl.String, pl.Int64, pl.Float64, pl.Int64, pl.Float64)
    return pl.DataFrame(list(rows), schema=dict(zip(names, types, strict=True)), orient="row")


def weeks(*rows):
    schema = {
        "week": pl.Date,
        "finished": pl.Int64,
        "judged": pl.Int64,
        "never_sent_back": pl.Float64,
        "signals_opened": pl.Int64,
    }
    return pl.DataFrame(list(rows), schema=schema, orient="row")


BEFORE = [(WEEK - timedelta(weeks=k), 40, 40, 0.9, 0) for k in (4, 3, 2, 1, 0)]  # four weeks before, and this one


def found(**given):
    """The review of a week on which nothing stands, but what is given."""
    lots = given.pop("lots", [])
    empty = Review(
        week=WEEK,
        last_day=date(2026, 4, 5),
        arrived=pl.DataFrame(schema={"stage": pl.String, "question": pl.Boolean}),
        questions=0,
        weeks=weeks(*BEFORE),
        usual={},
        matters=[],
        known=[],
        streams=0,
        steady=0,
        moved=0,
        thin=0,
        coarse=pl.DataFrame(schema={"characteristic": pl.String, "model": pl.String}),
        lots=pl.DataFrame(lots) if lots else pl.DataFrame(schema=dict.fromkeys(lot(), pl.String)),
        flows=flows(),
        flows_before=flows(),
        outside=pl.DataFrame(),
        shipped=pl.DataFrame(),
        settling=pl.DataFrame(),
        actions=pl.DataFrame(),
        decision=None,
        due=[],
        finished=40,
        bench=pl.DataFrame(),
        computed_from={},
    )
    return replace(empty, **given)


def plain(text):
    return text.replace(numbers.NBSP, " ")


def told(review):
    return [plain(one.text) for one in findings.week(review, SHOP)]


FULL = {
    "matters": [
        matter(),
        matter(
            main={"characteristic": "relief", "position": ""},
            characteristics=["relief"],
            positions=[],
            size=-0.03,
            size_low=-0.04,
            size_high=-0.02,
            share_of_tolerance=0.1,
        ),
    ],
    "lots": [lot()],
    "flows": flows(
        ("bridge_fitting", "final_inspection", 12, 318.0, 7, 168.0), ("unknown", "final_inspection", 1, 20.0, 0, 0.0)
    ),
    "flows_before": flows(("bridge_fitting", "final_inspection", 40, 1116.0, 20, 560.0)),
    "steady": 137,
    "thin": 9,
    "streams": 148,
    "moved": 2,
    "coarse": pl.DataFrame({"characteristic": ["action"] * 5, "model": ["K1", "K2", "K3", "K4", "K4"]}),
}


def test_a_move_of_one_of_several_is_no_move_of_the_whole_shop():
    one = candidate(records.SET_BY, "T02")
    [said] = told(found(matters=[matter(MovesWith([one], 3), over_all=0.03, levels=3)]))
    assert said.startswith("Action treble on LARK-25 moved up 0.11 mm (0.08 to 0.14) at one of three who set it, 14 %")
    [said] = told(found(matters=[matter(MovesWith([candidate(records.LOT, "MP-2291")], 3), over_all=0.03, levels=3)]))
    assert "who set it" not in said


def test_where_the_same_instruments_lay_as_usual_before_stands_in_the_sentence():
    seen = matter(stages=["final_inspection"], usual_at="bridge_fitting")
    said = (
        "The same instruments lay as usual at bridge fitting: it came after that, or lies in how final inspection reads"
    )
    assert said in told(found(matters=[seen]))[0]
    assert "as usual at" not in told(found(matters=[matter()]))[0]


def test_what_would_fit_is_told_though_it_does_not_stand_out():
    damp = candidate(records.HUMIDITY, "", change=18.0, named=False)
    for probability, says in ((0.43, True), (0.1, False)):
        other = replace(candidate(records.LOT, "L1", named=False), probability=0.05)
        looked = MovesWith([replace(damp, probability=probability), other], 9, nothing=0.05)
        words = going_with.together(looked, SHOP)
        assert ("damper air" in words and words.endswith("would fit.")) is says
        assert words.startswith("Nothing stands out")


def test_where_the_gauge_may_be_at_fault_it_is_measured_again_with_another():
    seen = matter(stages=["final_inspection"], usual_at="bridge_fitting")
    assert "again at final inspection with another gauge" in findings.next_step(found(matters=[seen]), SHOP)
    assert "another gauge" not in findings.next_step(found(matters=[matter()]), SHOP)


def test_two_that_are_back_say_at_which_stage_and_whose_they_were():
    at_one = MovesWith([candidate(records.SET_BY, "T02")], 3)
    two = [matter(at_one, over_all=0.03, levels=3, back_since=at(28)).matter, matter(back_since=at(28)).matter]
    said = str(ended.back(found(back=two), SHOP))
    assert "at one of three who set it: back since" in said
    each = [matter(stages=[stage]).matter for stage in ("bridge_fitting", "final_inspection")]
    same = str(ended.back(found(back=each), SHOP))
    assert "at bridge fitting: back since" in same
    assert "at final inspection: back since" in same


def test_ends_of_one_bench_say_of_which_lot_or_air_each_was_and_nobody_is_named():
    lot = matter(MovesWith([candidate(records.LOT, "BW-110")], 3), back_since=at(28)).matter
    air = matter(MovesWith([candidate(records.HUMIDITY, "", change=17.0)], 3), back_since=at(26)).matter
    said = ended.back(found(back=[lot, air]), SHOP)
    text = f"{said.lead}{said.rest}".replace("\u00a0", " ")
    assert text.startswith("Action treble on LARK-25: back since 28 Mar, with neck lot BW-110. It had moved up 0.11 mm")
    assert " Back since 26 Mar, with damper air (+17 %RH). It had moved up" in text
    assert text.count("Action treble on LARK-25") == 1
    who = ended.back(found(back=[matter(MovesWith([candidate(records.SET_BY, "T02")], 3)).matter]), SHOP)
    assert "T02" not in str(who)


def test_what_reads_the_same_is_told_to_be_back_once():
    said = ended.back(found(back=[matter(key=key, back_since=at(28)).matter for key in ("a1", "b2")]), SHOP)
    assert f"{said.lead}{said.rest}".count("back since") == 1


def test_what_may_be_chance_is_that_unless_its_readings_or_a_name_leave_it_out():
    assert matter(replace(NOTHING, nothing=0.2), real=0.6).matter.may_be_chance
    assert not matter(replace(NOTHING, nothing=0.2), real=0.8).matter.may_be_chance
    assert not matter(replace(NOTHING, nothing=0.01), real=0.6).matter.may_be_chance
    assert not matter(MovesWith([candidate(records.LOT, "BW-110")], 3), real=0.6).matter.may_be_chance


def test_two_of_one_name_say_at_which_stage():
    two = [matter(stages=["bridge_fitting"]), matter(key="m2", stages=["final_inspection"], new=False)]
    first, second = told(found(matters=two))
    assert first.startswith("Action treble on LARK-25 at bridge fitting moved up")
    assert second.startswith("Action treble on LARK-25 at final inspection moved up")
    assert " at " not in told(found(matters=two[:1]))[0].partition("moved")[0]


@pytest.mark.parametrize(
    ("named", "over_all", "levels", "said"),
    [
        (candidate(records.SET_BY, "T2"), 0.03, 4, "At one of four who set it 0.11 mm; over all of them 0.03 mm."),
        (candidate(records.GAUGE, "DG-2"), 0.06, 2, "With it 0.11 mm; over all readings 0.06 mm."),
        (candidate(records.LOT, "MP-1"), 0.108, 9, ""),  # the same as it is written
        (candidate(records.SET_BY, "T2"), None, 1, ""),
    ],
)
def test_the_size_of_some_readings_stands_beside_that_of_all(named, over_all, levels, said):
    seen = matter(MovesWith([named], 3), over_all=over_all, levels=levels)
    told = matters.over_all(seen.matter, SHOP).replace("\u00a0", " ")
    assert told == said
    why = matters.moved(seen, SHOP, WEEK).why.replace("\u00a0", " ")
    assert (said in why) is bool(said) or not said
    assert "T2" not in why


def test_what_moved_says_how_much_since_when_and_between_which_days():
    assert told(found(matters=[matter()]))[0] == (
        "Action treble on LARK-25 moved up 0.11 mm (0.08 to 0.14), 14 % of its tolerance, since about 25 Mar. New this "
        "week. Began between 24 Mar and 26 Mar."
        " Too few readings since then to see what it moves together with."
    )


def test_a_day_is_told_once():
    at = datetime(2026, 3, 25, 10, tzinfo=UTC)
    one = told(found(matters=[matter(began_at=at, began_low=at, began_high=at)]))[0]
    assert one.count("25 Mar") == 1
    assert "Began" not in one
    other = told(found(matters=[matter(began_at=at, began_low=at - timedelta(1), began_high=at - timedelta(1))]))[0]
    assert "Began on 24 Mar." in other


def test_what_was_open_before_the_week_is_not_called_new():
    assert "New" not in told(found(matters=[matter(new=False)]))[0]


def test_a_shift_without_a_known_start_or_limits_says_so():
    said = told(
        found(
            matters=[
                matter(
                    began_at=None,
                    began_low=None,
                    began_high=None,
                    size_low=None,
                    size_high=None,
                    share_of_tolerance=None,
                )
            ]
        )
    )[0]
    assert "moved up 0.11 mm, since about 27 Mar. New this week. When it began cannot be said yet." in said


def test_it_moves_together_with_things_and_is_never_called_caused_by_them():
    moves = MovesWith(
        [
            candidate(records.CHANGE, "saddle blanks", on=date(2026, 3, 25)),
            candidate(records.LOT, "MP-2291"),
            candidate("gauge", "x", named=False),
        ],
        9,
    )
    said = told(found(matters=[matter(moves)]))[0]
    assert said.endswith(
        "Moves together with the change of 25 Mar: saddle blanks; neck lot MP-2291 cannot be told apart."
    )
    assert not re.search(r"caus|because|due to|comes from", said, re.I)


def test_where_nothing_stands_out_the_number_looked_at_is_told():
    assert told(found(matters=[matter(MovesWith([candidate("gauge", "x", named=False)] * 9, 9))]))[0].endswith(
        "Nothing stands out among the nine things looked at."
    )


@pytest.mark.parametrize(
    ("change", "lag", "said"),
    [(-5.2, 48, "drier air (−5 %RH, 48 h before)"), (7.0, 0, "damper air (+7 %RH)"), (0.1, 0, "humidity")],
)
def test_the_air_is_drier_or_damper(change, lag, said):
    assert (
        plain(going_with.candidate_words(candidate(records.HUMIDITY, "", change=change, lag_hours=lag), SHOP)) == said
    )


@pytest.mark.parametrize(("factor", "stage"), [(records.SET_BY, ""), (records.TECH_AT, "bridge_fitting")])
def test_a_tech_is_told_as_a_difference_between_people_whatever_the_shop_shows(factor, stage):
    said = told(found(matters=[matter(MovesWith([candidate(factor, "T02", stage=stage)], 4))]))[0]
    assert said.endswith("It differs between people at this bench.")
    assert not re.search("T02|Mara|Lindqvist", said)


def test_bench_names_who_set_it_and_who_worked_before():
    assert going_with.candidate_words(candidate(records.SET_BY, "T02"), SHOP, people=True) == "who set it (T02)"
    before = candidate(records.TECH_AT, "T02", stage="bridge_fitting")
    assert going_with.candidate_words(before, SHOP, people=True) == "who worked at Bridge fitting (T02)"


def test_one_cause_on_many_models_is_one_line():
    assert told(found(matters=[matter(models=[f"M-{k}" for k in range(10)])]))[0].startswith(
        "Action treble on ten models moved up 0.11 mm"
    )
    assert "on LARK-25 and WREN moved" in told(found(matters=[matter(models=["LARK-25", "WREN"])]))[0]


def test_models_that_moved_by_different_amounts_are_told_as_a_range():
    assert "moved up 0.05 mm to 0.20 mm, model by model" in told(found(matters=[matter(sizes=(0.05, 0.2))]))[0]


def test_a_size_of_few_readings_is_about_so_much():
    assert "moved up about 0.11 mm" in told(found(matters=[matter(touched=12)]))[0]


def test_two_that_cannot_be_told_apart_say_what_would_tell():
    this, other = candidate(records.LOT, "MP-2291"), candidate(records.GAUGE, "leaves B")
    said = told(found(matters=[matter(MovesWith([this, other], 9), tell_apart=[TellApart(this, other, 0, 3)])]))[0]
    assert said.endswith(
        "with neck lot MP-2291 and not gauge leaves B, or the other way round, would tell: only 3 since then."
    )


@pytest.mark.parametrize("turned", [False, True])
def test_a_lot_is_of_its_supplier_so_that_only_other_lots_of_theirs_would_tell(turned):
    lot, supplier = candidate(records.LOT, "MP-2291"), candidate(records.SUPPLIER, "Nordhals")
    pair = TellApart(supplier, lot, 4, 0) if turned else TellApart(lot, supplier, 0, 4)
    both = [pair.this, pair.other]
    said = told(found(matters=[matter(MovesWith(both, 9), tell_apart=[pair])]))[0]
    assert said.endswith("Instruments with supplier Nordhals and not neck lot MP-2291 would tell: only 4 since then.")


def test_what_the_shop_checks_first_is_told_in_its_order():
    said = told(found(matters=[matter(check=["saddle blank", "gauge on the master block"])]))[0]
    assert said.endswith("Look first at saddle blank, then gauge on the master block.")


@pytest.mark.parametrize(
    ("real", "said"),
    [(0.97, ""), (0.75, ""), (0.65, "a third to a half of such signals are"),
     (0.2, "half of such signals or more are")],
)  # fmt: skip
def test_much_chance_is_told_beside_what_nothing_explains_and_little_is_not(real, said):
    words = f"By the false signals that the shop allows, {said} chance: wait before acting on it alone." if said else ""
    assert matters.chance(matter(real=real).matter) == words
    assert matters.chance(matter(MovesWith(nothing=0.01), real=real).matter) == ""  # the readings leave little doubt
    named = MovesWith([candidate(records.LOT, "MP-2291")], 4)
    assert matters.chance(matter(named, real=real).matter) == ""


@pytest.mark.parametrize(
    ("followed", "by", "said"),
    [(True, [], "Done, and the benches followed."),
     (True, ["T02"], "Done, and followed by most; who has not yet is on Bench."),
     (False, ["T02"], "The readings have not followed.")],
)  # fmt: skip
def test_a_planned_change_is_done_and_followed_or_not(followed, by, said):
    aim = Planned("lower action", date(2026, 3, 25), 2.1, 2.12, 2.08, 2.16, followed, by)
    text = told(found(matters=[matter(planned=aim)]))[0]
    assert f"Planned: lower action of 25 Mar, to 2.10 mm. {said}" in text
    assert "T02" not in text


def test_who_has_not_followed_a_planned_change_reads_it_on_bench():
    aim = Planned("lower action", date(2026, 3, 25), 2.1, 2.12, 2.08, 2.16, True, ["T02"])
    said = matters.not_yet(matter(planned=aim).matter, SHOP, date(2026, 3, 27))
    assert plain(said) == "lower action of 25 Mar: Action treble set here has not followed to 2.10 mm yet."
    assert matters.not_yet(matter().matter, SHOP, date(2026, 3, 27)) == ""


def test_a_matter_on_one_line_says_what_since_when_and_with_what():
    lot_moved = MovesWith([candidate(records.LOT, "MP-2291")], 4)
    lead, why = matters.line(matter(lot_moved).matter, SHOP, date(2026, 3, 27))
    assert plain(lead) == "Action treble on LARK-25 up 0.11 mm (0.08 to 0.14) since about 25 Mar"
    assert why == "Moves together with neck lot MP-2291."
    share = matter(characteristics=[], main={"characteristic": ""}).matter
    assert plain(matters.line(share, SHOP, date(2026, 3, 27))[1]).startswith(
        "More than its last weeks would give, since"
    )


def test_what_came_back_to_its_target_is_told_as_that():
    said = told(found(matters=[matter(only_some=True, to_target=True, techs=["T02"], main={"tech": "T02"})]))[0]
    assert "to its target for some who set it" in said
    assert (
        said.startswith("nearer ") or "nearer" in findings.week(found(matters=[matter(to_target=True)]), SHOP)[0].word
    )
    assert matters.TO_TARGET in said
    assert "T02" not in said


def test_what_came_nearer_to_its_target_wears_no_alarm_and_stands_after_what_went_away():
    week = found(matters=[matter(new=False, to_target=True), matter(new=False)], steady=5)
    assert [(one.state, one.word) for one in findings.week(week, SHOP)][:2] == [
        ("moved-up", "moved up"),
        ("take", "nearer"),
    ]
    assert findings.headline(week, SHOP) == "One thing moved, one came nearer to target, and the rest ran true."
    only = found(matters=[matter(to_target=True)], steady=5)
    assert findings.headline(only, SHOP) == "One new thing came nearer to target, and the rest ran true."
    assert "to its target" in findings.first(only, SHOP)


def test_what_moved_for_one_tech_only_names_none():
    said = told(found(matters=[matter(only_some=True, techs=["T02"], main={"tech": "T02"})]))[0]
    assert "for some who set it, not for all" in said
    assert "T02" not in said


def test_a_lot_says_n_of_n_what_was_agreed_and_the_interval():
    assert told(found(lots=[lot()]))[0] == (
        "Neck lot MP-2291: 6 of 50 outside the limits for neck relief, the agreed limit is 0.25 mm. 12 %, and between "
        "5 and 24 % in the whole lot."
    )
    assert "Few necks so far." in told(found(lots=[lot(n=20, outside=0.1)]))[0]
    assert "agreed" not in told(found(lots=[lot(agreed_limit=None)]))[0]


def test_what_came_back_says_the_confirmed_part_and_the_weeks_before():
    said = told(found(**{name: FULL[name] for name in ("flows", "flows_before")}))[0]
    assert said == (
        "Final inspection sent 12 instruments back to bridge fitting, 5.3 h of work, 94 % of what came back this week."
        " 2.8 h confirmed, the rest sent there and not confirmed. The four weeks before: 4.7 h a week."
    )
    asked = {name: FULL[name] for name in ("flows", "flows_before")}
    young = told(found(weeks=weeks(*BEFORE[1:]), **asked))[0]  # a week without logs is none without send-backs
    assert young.endswith("The three weeks before: 6.2 h a week.")  # 1,116 min over three
    assert told(found(weeks=weeks(BEFORE[-1]), **asked))[0].endswith("No week before it is on file.")


@pytest.mark.parametrize(
    ("cause", "words"), [("unknown", "a stage not known"), ("supplier", "the supplier"), ("handling", "handling")]
)
def test_a_cause_that_is_no_stage_is_never_dropped(cause, words):
    assert (
        f"sent 1 instrument back to {words},"
        in told(found(flows=flows((cause, "final_inspection", 1, 20.0, 1, 20.0))))[0]
    )


def test_work_that_took_no_minutes_is_told_by_its_number():
    said = told(found(flows=flows(("unknown", "final_inspection", 1, 0.0, 1, 0.0))))
    assert said[0].startswith("Final inspection sent 1 instrument back, and no log says what caused it.")


def test_never_more_than_seven_sentences_and_what_is_left_out_is_counted():
    many = found(
        **FULL | {"matters": [matter(models=[f"M-{k}"]) for k in range(9)], "lots": [lot(), lot(lot="B"), lot(lot="C")]}
    )
    said = told(many)
    assert len(said) == findings.MOST
    assert sum("moved up" in one for one in said) == findings.MOST_MATTERS
    assert "Five more moved: see Book." in said[3]
    assert said[-1] == "The other 137 series ran true."


def test_the_order_is_moved_lots_came_back_coarse_thin_steady():
    assert [one.state for one in findings.week(found(**FULL), SHOP)] == [
        "moved-up",
        "moved-down",
        "in-doubt",
        "came-back",
        "coarse",
        "thin",
        "steady",
    ]


@pytest.mark.parametrize(
    ("low", "high", "moves", "shown"),
    [
        (0.08, 0.14, NOTHING, True),
        (0.01, 0.21, NOTHING, False),  # 95 % leave out 0, 99 % do not: a chart that lay out chose these readings
        (-0.02, 0.24, NOTHING, False),
        (-0.02, 0.24, MovesWith([candidate(records.LOT, "MP-2291")], 9), True),
        (None, None, NOTHING, True),
    ],
)
def test_what_nothing_explains_is_shown_where_its_size_leaves_out_none_at_99_in_100(low, high, moves, shown):
    assert matter(moves, size_low=low, size_high=high).matter.shown is shown


def test_a_chart_whose_readings_show_no_move_is_no_headline_but_a_line_that_asks_nothing():
    unsure = matter(size=-0.01, size_low=-0.03, size_high=0.01)
    week = found(unshown=[unsure, matter(models=["WREN"])], steady=5)
    assert findings.first(week, SHOP) == "Nothing is shown to have moved."
    assert told(week)[0] == (
        "Two charts have left their limits, and all readings since then do not show a move: Action treble on LARK-25; "
        "action treble on WREN."
    )
    assert "One chart has left its limits" in told(found(unshown=[unsure]))[0]


def test_what_has_ended_leads_no_week_and_is_told_back_with_its_day():
    gone = replace(matter(size=0.12).matter, back_since=datetime(2026, 11, 11, 9, tzinfo=UTC))
    week = found(back=[gone], steady=5)
    assert findings.first(week, SHOP) == "Everything that can be judged ran true."
    said = told(week)[0]
    assert said.startswith("Action treble on LARK-25: back since 11 Nov. It had moved up 0.12 mm (")


def test_a_slight_move_is_told_and_stands_in_no_headline():
    slight, large = matter(share_of_tolerance=0.02), replace(matter(), matter=replace(matter().matter, key="b2"))
    assert findings.first(found(matters=[slight]), SHOP) == "One new thing moved."
    assert "2 % of its tolerance" in told(found(matters=[slight]))[0]
    assert findings.first(found(matters=[slight, large], steady=5), SHOP).endswith("Nobody has taken it yet.")
    assert matter(share_of_tolerance=None, sigmas=0.2).matter.slight


def test_an_interval_whose_ends_are_written_as_its_size_is_left_out():
    assert "0.11 mm," in told(found(matters=[matter(size_low=0.109, size_high=0.111)]))[0]


@pytest.mark.parametrize(
    ("size", "began", "more", "before", "when"),
    [(0.03, at(9), "More", 2, "since about the week of 9 Mar."), (-0.03, None, "Fewer", 8, "in the week of 27 Mar.")],
)
def test_a_share_that_left_its_limits_says_how_much_and_which_way(size, began, more, before, when):
    share = {"characteristic": "", "stage": "bridge_fitting", "value": 0.05, "size": size}
    seen = matter(main=share, characteristics=[], models=[], size=size, size_low=None, size_high=None, began_at=began)
    assert told(found(matters=[seen]))[0].startswith(
        f"{more} came back to bridge fitting than its last weeks would give: 5 % of its instruments, {before} % "
        f"before, {when}"
    )


def test_a_share_of_an_earlier_week_is_told_since_then():
    share = {"characteristic": "", "stage": "bridge_fitting", "value": 0.05, "size": 0.03}
    seen = replace(matter(main=share, characteristics=[], models=[], size=0.03, began_at=None), new=False)
    assert "before, since the week of 27 Mar." in told(found(matters=[seen]))[0]


def test_a_share_that_stays_high_says_how_many_since_when_and_how_sure_it_is():
    counted = {"came_back": 31, "instruments": 190, "expected": 12.2, "times_low": 1.71, "times_high": 3.94}
    share = {"characteristic": "", "stage": "bridge_fitting", "value": 0.2, "size": 0.099, **counted}
    seen = matter(main=share, characteristics=[], models=[], size=0.099, size_low=0.046, size_high=0.19, began_at=at(9))
    assert told(found(matters=[seen]))[0].startswith(
        "More came back to bridge fitting since about the week of 9 Mar: 31 of 190 instruments (16 %) where some 12 "
        "(6 %) would be expected; 1.7 to 3.9 times as many."
    )
    one = Caught("final_inspection", 2, date(2026, 3, 9), 20, 90, 4, 100, 4, 100, 5, 100)
    assert (
        "Of those that one of two at final inspection tried since the week of 9 Mar 20 of 90 (22 %) came back, before "
        "4 of 100 (4 %); of the other's 4 of 100 (4 %), before 5 of 100 (5 %): look first at how they judge, together."
    ) in told(found(matters=[replace(seen, caught=one)]))[0]
    others = {"others_back": 23, "others_instruments": 660, "others_expected": 27.1}
    alone = matter(main=share | others, characteristics=[], models=["WREN"], size=0.099, began_at=at(9))
    assert told(found(matters=[alone]))[0].startswith(
        "More came back to bridge fitting on WREN since about the week of 9 Mar: 31 of 190 instruments (16 %) where "
        "some 12 (6 %) would be expected; 1.7 to 3.9 times as many. On the other models 23 of 660 instruments (3 %) "
        "where some 27 (4 %) would be expected."
    )
    assert matters.name(alone.matter, SHOP) == "Work that came back to bridge fitting on WREN"
    assert "model=WREN" in matters.moved(alone, SHOP, date(2026, 3, 27)).link
    assert "model" not in matters.moved(seen, SHOP, date(2026, 3, 27)).link
    line = matters.line(seen.matter, SHOP, date(2026, 3, 27))[1]
    assert plain(line).startswith("More than its last weeks would give: 31 of 190 instruments (16 %) where some 12")
    assert seen.matter.shown
    assert not matter(main=share, characteristics=[], size=0.01, size_low=-0.01, size_high=0.2).matter.shown


def test_what_came_back_of_a_move_is_told_with_it():
    counted = {"came_back": 31, "instruments": 190, "expected": 12.2, "times_low": 1.71, "times_high": 3.94}
    share = {"characteristic": "", "stage": "bridge_fitting", "value": 0.2, "size": 0.099, **counted}
    more = matter(main=share, key="more", characteristics=[], models=[], size=0.099, began_at=at(9)).matter
    seen = matter(new=False)
    assert "came back" not in told(found(matters=[seen]))[0]
    brought = replace(seen, brought=Brought(more, Touched(20, 60, 2, 80, 11, 130, 5, 90)))
    said = told(found(matters=[brought]))[0]
    counts = "31 of 190 instruments (16 %) where some 12 (6 %) would be expected"
    assert f"More came back with it to bridge fitting since the week of 9 Mar: {counts}; of those" in said
    assert "of those it touches 20 of 60 (33 %), of the others 11 of 130 (8 %)." in said
    late = replace(more, opened_at=datetime(2026, 3, 30, tzinfo=UTC))
    alone = Brought(late, Touched(31, 190, 2, 80, 0, 0, 0, 0))
    said = told(found(matters=[replace(seen, brought=alone)]))[0]
    assert f"New this week: more came back with it to bridge fitting since the week of 9 Mar: {counts}. " in f"{said} "
    apart = found(matters=[seen, matter(main=share, key="more", characteristics=[], size=0.099)])
    assert sentences_week.changed(apart, found(matters=[brought])) == []


def test_a_move_off_a_baseline_that_moved_itself_says_so_and_stands_in_no_headline():
    seen = matter(base_moved=True)
    assert (
        "Its first readings, which it is held against, had moved too: take weeks that ran true"
        in told(found(matters=[seen]))[0]
    )
    assert findings.first(found(matters=[seen]), SHOP) == "One new thing moved."
    named = matter(MovesWith([candidate(records.LOT, "MP-2291")], 9), base_moved=True)
    assert "held against" not in told(found(matters=[named]))[0]


def test_without_a_plan_no_lot_is_called_free_of_doubt():
    assert "No plan is agreed" in sentences_week.no_lot(found(), SHOP)
    rows = [{**lot(n=149, outside=43 / 149, outside_low=0.22, outside_high=0.37), "lot": "L05"},
            {**lot(n=2, outside=0.5, outside_low=0.01, outside_high=0.99), "lot": "L06"}]  # fmt: skip
    assert plain(sentences_week.no_lot(found(unjudged_lots=pl.DataFrame(rows)), SHOP)).endswith(
        "so that no lot is judged. Most outside its limits: lot L05, 43 of 149 (22 to 37 %)."
    )


def test_a_gauge_that_set_what_is_read_later_and_a_sheet_are_told_as_such():
    for factor, level, said in (
        (records.SET_WITH, "C07", "Moves together with what was set with gauge C07."),
        (records.SHEET, "c3bb7872", "Moves together with the rows of sheet c3bb7872."),
        (records.KIND, "export_*.csv", "Moves together with sheets export_*.csv, from their first on."),
        (records.KIND, "typed in thou", "Moves together with readings typed in thou, from their first on."),
    ):
        assert going_with.together(MovesWith([candidate(factor, level)], 9), SHOP) == said


def test_what_began_with_another_kind_of_sheet_is_measured_both_ways():
    named = matter(MovesWith([candidate(records.KIND, "export_*.csv (thou)")], 9))
    assert (
        "Measure some instruments both ways: with these came perhaps another gauge" in told(found(matters=[named]))[0]
    )
    assert "measure ten of them both ways" in findings.next_step(found(matters=[named]), SHOP)
    assert going_with.both_ways(MovesWith([candidate(records.GAUGE, "g2")], 9)) == ""


def test_what_goes_with_sheets_beside_others_did_not_begin_with_them():
    with_them = MovesWith([replace(candidate(records.KIND, "night_*.csv"), beside=True)], 9)
    said = "Moves together with sheets night_*.csv, and not with others of the same days."
    assert going_with.together(with_them, SHOP) == said
    assert "came perhaps" not in going_with.both_ways(with_them)
    assert "both ways" in going_with.both_ways(with_them)


def test_two_of_several_positions_are_named_and_all_are_not():
    text = moving_shop.SHOP.format(judging="", people="codes").replace("\n[[gauge]]", f"{PITCH}\n[[gauge]]", 1)
    shop = checked_shop(
        tomllib.loads(text.replace('quantity = "pitch"', 'quantity = "pitch"\npositions = ["1", "2", "3"]'))
    )
    names = [matters.name(matter(characteristics=["intonation"], positions=positions).matter, shop)
             for positions in (["2", "3"], ["2"], ["1", "2", "3"])]  # fmt: skip
    assert names == [
        "Intonation string 2 and string 3 on LARK-25", "Intonation string 2 on LARK-25", "Intonation on LARK-25"
    ]  # fmt: skip


def test_people_and_a_lot_that_cannot_be_told_apart_are_one_sentence():
    both = MovesWith([candidate(records.SET_BY, "T03"), candidate(records.LOT, "MP-2291")], 9)
    assert "It differs between people at this bench, or moves together with neck lot MP-2291: these cannot" in (
        going_with.together(both, SHOP)
    )
    assert going_with.together(MovesWith([candidate(records.WEEKDAY, "Friday", named=False)], 5), SHOP) == (
        "The one thing looked at does not stand out."
    )


def test_the_wording_never_blames_and_every_link_leads_to_a_page():
    for one in findings.week(found(**FULL), SHOP):
        assert not re.search(BLAME, one.text, re.I)
        assert one.link.startswith("/")
        assert one.text.endswith(".")
        assert "None" not in one.text
        assert "nan" not in one.text.split()


def test_a_shop_with_nothing_yet_says_that_it_is_too_early():
    assert findings.headline(found(), SHOP) == "Too few readings to say yet."
    assert told(found()) == []


def test_thin_streams_alone_are_called_too_few_to_say():
    assert told(found(thin=1)) == ["One series has fewer than 25 readings or no spread. Too few to say."]
    assert told(found(thin=9)) == ["Nine series have fewer than 25 readings or no spread. Too few to say."]


def test_a_quiet_week_is_one_line():
    assert findings.headline(found(steady=137), SHOP) == "Everything that can be judged ran true."
    assert told(found(steady=137)) == ["All 137 series that can be judged ran true."]
    assert told(found(steady=1)) == ["The one series that can be judged ran true."]


def test_the_headline_counts_in_words():
    assert (
        findings.headline(found(**FULL), SHOP)
        == "Two new things moved, one neck lot is in doubt, and the rest ran true."
    )
    assert findings.headline(found(matters=[matter()]), SHOP) == "One new thing moved."
    lasting = matter(new=False)
    assert findings.headline(found(matters=[lasting]), SHOP) == "One thing moved."
    assert (
        findings.headline(found(matters=[matter(), lasting, lasting]), SHOP) == "Three things moved, one of them new."
    )
    assert (
        findings.headline(found(lots=[lot(), lot(lot="B")], steady=3), SHOP)
        == "Two neck lots are in doubt, and the rest ran true."
    )


def test_a_normal_week_is_told_with_denominator_and_usual_range():
    rows = weeks((date(2026, 3, 23), 300, 300, 0.85, 0), (WEEK, 301, 301, 0.834, 2))
    usual = {"finished": (270.0, 322.0), "never_sent_back": (0.81, 0.88), "signals_opened": (0.0, 1.0)}
    said = [tuple(map(plain, each)) for each in sentences.normal(found(weeks=rows, usual=usual), SHOP)]
    assert said == [
        ("Instruments finished", "301", "As usual: 270 to 322 in nineteen weeks of twenty."),
        ("Never sent back", "83 %", "251 of 301 judged. As usual: 81 % to 88 % in nineteen weeks of twenty."),
        (
            "New signals",
            "2",
            "More than usual: 0 to 1 in nineteen weeks of twenty. One of them may be chance. One cause may raise "
            "several. The shop allows 1 false signal a week.",
        ),
    ]


def test_without_weeks_before_nothing_is_called_usual():
    said = [plain(each[2]) for each in sentences.normal(found(weeks=weeks((WEEK, 3, 0, None, 0))), SHOP)]
    assert all("What is usual is said from 20 weeks before this one on." in each for each in said)
    assert "None judged yet." in said[1]
    assert sentences.normal(found(weeks=weeks()), SHOP) == []


def test_a_small_week_is_called_few():
    assert "Few instruments so far." in sentences_week.under(found(weeks=weeks((WEEK, 3, 29, 1.0, 0))))
    assert "Few" not in sentences_week.under(found(weeks=weeks((WEEK, 30, 30, 1.0, 0))))
    assert "1 instrument reached" in plain(sentences_week.under(found(weeks=weeks((WEEK, 1, 1, 1.0, 0)))))


def test_what_the_rest_does_and_the_air_carry_their_intervals():
    row = {
        "characteristic": "action",
        "position": "bass",
        "model": "LARK-25",
        "n": 12,
        "left_out": 3,
        "mean": -0.139,
        "low": -0.21,
        "high": -0.07,
    }
    assert {name: plain(text) for name, text in sentences_week.settled(row, SHOP).items()} == {
        "what": "Action bass on",
        "model": "LARK-25",
        "mean": "−0.14 mm",
        "range": "−0.21 to −0.07",
        "pairs": "12 pairs, few",
        "left_out": "3",
    }
    air = {**row, "slope": 0.0047, "low": 0.0042, "high": 0.0052, "lag_hours": 48.0, "share_explained": 0.267, "n": 744}
    said = {name: plain(text) for name, text in sentences_week.with_the_air(air, SHOP).items()}
    assert said == {
        "what": "Action bass on",
        "model": "LARK-25",
        "mean": "+0.05 mm",
        "range": "+0.04 to +0.05",
        "lag": "48 h before",
        "share": "27 %",
    }


def test_a_limit_between_two_marks_is_told_with_the_marks_and_one_halfway_is_not(tmp_path):
    path = tmp_path / "specs.csv"
    path.write_text(
        "characteristic,target,lower,upper,unit,model\n"
        "relief,0.1,0,0.25,mm,\nrelief,0.1,0,0.2413,mm,LARK-25\nrelief,0.1,0,0.254,mm,DRAY-5\n"
    )
    held = small_shop()
    told = sentences.between_marks(read_specs(path, held).between, held)
    assert len(told) == 1
    assert "line 2, 0.250\u00a0mm, lies between two marks of leaves (0.229\u00a0mm and 0.254\u00a0mm)" in told[0]


PITCH = '\n[[characteristic]]\nkey = "intonation"\nname = "Intonation"\nquantity = "pitch"\n'
TUNER = '\n[[gauge]]\nkey = "tuner"\nmeasures = ["intonation"]\nresolution = "{} cents"\n'


@pytest.mark.parametrize(
    ("gauge", "told"),
    [
        ("", ("2.5 cents", "3 cents")),
        (TUNER.format("0.5"), ("2.5 cents", "3.0 cents")),
        (TUNER.format(1), ("2 cents", "3 cents")),
    ],
)
def test_half_cents_are_shown_where_half_cents_are_read(gauge, told):
    text = moving_shop.SHOP.format(judging="", people="codes").replace("\n[[gauge]]", f"{PITCH}\n[[gauge]]", 1) + gauge
    shop = checked_shop(tomllib.loads(text))
    said = tuple(sentences.amount(shop, "intonation", value).replace("\u00a0", " ") for value in (2.5, 3.0))
    assert said == told


def test_an_interval_has_the_decimals_of_its_size():
    text = moving_shop.SHOP.format(judging="", people="codes").replace("\n[[gauge]]", f"{PITCH}\n[[gauge]]", 1)
    shop = checked_shop(tomllib.loads(text + TUNER.format("0.5")))
    moved = matter(size=4.1, size_low=3.8, size_high=4.4, characteristics=["intonation"]).matter
    assert plain(matters.by(moved, shop)).startswith("up 4.1 cents (3.8 to 4.4)")


def test_what_is_new_and_barely_out_of_chance_says_that_first_sizes_are_too_large():
    for high, barely in ((0.14, False), (0.16, True)):  # five standard errors lie between
        seen = matter(size=0.11, size_low=0.22 - high, size_high=high)
        assert ("first sizes are often too large" in told(found(matters=[seen]))[0]) == barely
    old = matter(new=False, size=0.11, size_low=0.06, size_high=0.16)
    assert "first sizes" not in told(found(matters=[old]))[0]


@pytest.mark.parametrize(
    ("stages", "name"),
    [
        (["receiving"], "Neck bow, incoming and neck relief on LARK-25"),
        (["rest", "final_inspection"], "Neck bow at rest and neck relief on LARK-25"),
        (["final_inspection"], "Neck bow at final inspection and neck relief on LARK-25"),
    ],
)
def test_what_comes_in_is_named_by_the_bench_where_it_moved(stages, name):
    table = copy.deepcopy(TABLE)
    table["characteristic"][-1]["name"] = "Neck bow, incoming"
    shop = checked_shop(table)
    seen = matter(characteristics=["neck_bow", "relief"], positions=[], stages=stages)
    assert matters.name(seen.matter, shop) == name
    assert matters.moved(seen, shop, date(2026, 4, 6)).lead.startswith(f"{name} moved up")


@pytest.mark.parametrize(
    ("stage", "name"),
    [
        ("receiving", "LARK-25, neck bow, incoming"),
        ("rest", "LARK-25, neck bow, rest"),
        ("final_inspection", "LARK-25, neck bow, final inspection"),
    ],
)
def test_a_series_of_what_comes_in_is_named_by_the_bench_that_reads_it(stage, name):
    table = copy.deepcopy(TABLE)
    table["characteristic"][-1]["name"] = "Neck bow, incoming"
    shop = checked_shop(table)
    row = {"characteristic": "neck_bow", "position": "", "model": "LARK-25", "stage": stage}
    assert drift.stream_name(shop, row) == name


def test_models_that_moved_alike_are_told_one_size():
    seen = matter(sizes=(0.101, 0.104), models=["LARK-25", "WREN"])
    assert "moved up 0.10\u00a0mm, model by model" in matters.moved(seen, SHOP, date(2026, 4, 6)).lead
    apart = matter(sizes=(0.101, 0.14), models=["LARK-25", "WREN"])
    assert "moved up 0.10\u00a0mm to 0.14\u00a0mm, model by model" in matters.moved(apart, SHOP, date(2026, 4, 6)).lead
