"""What a column means by what stands beside its cells: small sheets, one step to either side of every line."""

from dataclasses import dataclass

import pytest

from ingest.beginning.among_rows import by_rows, earlier_first
from ingest.beginning.among_words import by_routes, by_send_backs, written_once
from ingest.beginning.guesses import Guess
from ingest.beginning.profiles import Profile, profile


@dataclass(frozen=True)
class Seen:
    guess: Guess
    cells: tuple[str, ...]

    @property
    def profile(self) -> Profile:
        return profile(self.cells)


def seen(heading, cells, field="", *, level="likely", **more):
    return Seen(Guess(heading, field, level=level if field else "", **more), tuple(cells))


def told(way, *columns):
    return way(list(columns), [c.guess for c in columns], [c.profile for c in columns])


def rows(*columns, order="ymd"):
    return by_rows(list(columns), [c.guess for c in columns], [c.profile for c in columns], order)


def fields(*columns):
    return [guess.field for guess in rows(*columns)]


def test_the_share_of_rows_in_which_one_comes_first():
    one, other = ["8:00", "9:00", "10:00", ""], ["8:30", "8:59", "10:00", "11:00"]
    assert earlier_first(one, other, "ymd") == pytest.approx(2 / 3)  # as early is not after
    assert earlier_first(["x"], ["8:00"], "ymd") == 0
    assert earlier_first([], [], "ymd") == 0
    long = ["8:00"] * 401 + ["9:00"] * 400
    assert earlier_first(long, ["8:30"] * 801, "ymd") == pytest.approx(201 / 401)  # every second of a long sheet


def stamps(many, minute, *, hour=8, day=None):
    return [f"2026-05-{(day or n) + 1:02d} {hour + n % 3:02d}:{minute:02d}" for n in range(many)]


def test_two_stamps_of_which_one_is_always_a_little_later_are_begin_and_end():
    begun, ended = seen("A", stamps(12, 5)), seen("B", stamps(12, 25))
    assert fields(begun, ended) == ["started_at", "finished_at"]
    assert fields(ended, begun) == ["finished_at", "started_at"]
    why = [guess.why for guess in rows(begun, ended)]
    assert why == [
        "its cells: a little before the other in every row",
        "its cells: a little after the other in every row",
    ]
    day = seen("C", [f"2026-05-{n + 1:02d}" for n in range(12)], "date", why="its cells")
    named = seen("C", day.cells, "date", why="its words")
    assert fields(begun, ended, day) == ["started_at", "finished_at", "other"]
    assert fields(begun, ended, named) == ["started_at", "finished_at", "date"]
    assert fields(begun, ended, seen("E", stamps(12, 55), "finished_at")) == ["", "", "finished_at"]
    assert fields(begun, seen("B", ended.cells, "date", level="said")) == ["", "date"]
    assert fields(begun, seen("B", ended.cells, "date", stage="packing")) == ["", "date"]
    assert fields(begun, seen("B", ended.cells, "note")) == ["", "note"]
    assert fields(begun, seen("B", ended.cells, "note", level="unsure")) == ["started_at", "finished_at"]
    assert fields(begun, seen("B", ended.cells, "date")) == ["started_at", "finished_at"]
    other_days = "its cells: days, but another column says when"
    assert fields(begun, seen("B", ended.cells, "other", why=other_days)) == ["started_at", "finished_at"]
    same = seen("B", begun.cells)
    assert fields(begun, same) == ["", ""]  # never later
    third = seen("D", stamps(12, 45))
    assert fields(begun, ended, third) == ["", "", ""]  # three pairs fit: nobody knows which


def test_no_visit_lasts_longer_than_half_a_day_and_one_row_in_fifty_may_be_wrong():
    def pair(*wrong):
        ended = stamps(50, 25, day=1)
        begun = stamps(50, 5, day=1)
        for place in wrong:
            begun[place] = "2026-05-02 23:00"
        return fields(seen("A", [f"{c[:8]}{n % 28 + 1:02d}{c[10:]}" for n, c in enumerate(begun)]), seen("B", [
            f"{c[:8]}{n % 28 + 1:02d}{c[10:]}" for n, c in enumerate(ended)
        ]))  # fmt: skip

    assert pair() == pair(3) == ["started_at", "finished_at"]
    assert pair(3, 4) == ["", ""]
    begun = seen("A", [f"2026-05-{n + 1:02d} 08:00" for n in range(12)])
    for last, found in (("20:00", True), ("20:01", False)):
        ended = seen("B", [f"2026-05-{n + 1:02d} {last}" for n in range(12)])
        assert (fields(begun, ended) == ["started_at", "finished_at"]) == found


def test_few_stamps_or_stamps_that_hardly_differ_say_nothing():
    def both(begun, ended):
        return fields(seen("A", begun), seen("B", ended)) == ["started_at", "finished_at"]

    assert both(stamps(6, 5), stamps(6, 25))
    assert not both(stamps(5, 5), stamps(5, 25))  # five different ones are none too many
    export = ["2026-05-30 23:00"] * 12
    assert not both(stamps(12, 5), export)
    six = [stamps(6, 5)[n % 6] for n in range(300)]
    assert not both(six, [stamps(6, 25)[n % 6] for n in range(300)])  # six of three hundred: an export's
    seven = [stamps(7, 5)[n % 7] for n in range(300)]
    assert both(seven, [stamps(7, 25)[n % 7] for n in range(300)])
    gaps = stamps(12, 25)
    gaps[5:] = [""] * 7
    assert not both(stamps(12, 5), gaps)


PLACES = ("neck", "nut", "final")


def visits(many=20):
    """Serial and stage of three visits an instrument."""
    serial = [f"A{n}" for n in range(many) for _ in PLACES]
    return seen("No", serial, "serial"), seen("Bench", PLACES * many, "stage")


def test_words_of_the_benches_in_few_rows_are_where_an_instrument_went_back():
    def back(cells, **more):
        return fields(*visits(), seen("X", cells, **more))[2]

    assert back(["", "", "nut"] * 6 + [""] * 42) == "sent_back_to"
    assert back([""] * 60) == ""
    assert back(["nut"] * 29 + [""] * 31) == "sent_back_to"
    assert back(["nut"] * 30 + [""] * 30) != "sent_back_to"  # half of the rows
    assert back(["nut"] * 18 + ["glue"] * 2 + [""] * 40) == "sent_back_to"
    assert back(["nut"] * 17 + ["glue"] * 2 + [""] * 41) != "sent_back_to"  # under nine in ten
    assert back(["nut"] * 6 + [""] * 54, field="note") == "note"
    assert back(["nut"] * 6 + [""] * 54, field="note", level="unsure") == "sent_back_to"
    two = rows(*visits(), seen("X", ["nut"] * 6 + [""] * 54), seen("Y", ["neck"] * 7 + [""] * 53))
    assert [(g.field, g.level) for g in two[2:]] == [("sent_back_to", "unsure")] * 2
    one = rows(*visits(), seen("X", ["nut"] * 6 + [""] * 54))[2]
    assert (one.level, one.why) == ("likely", "its cells: words of 'Bench' in 6 rows")
    taken = fields(*visits(), seen("X", ["nut"] * 6 + [""] * 54), seen("B", [""] * 60, "sent_back_to"))
    assert taken[2] == ""
    single = fields(seen("Bench", ["nut"] * 60, "stage"), seen("X", ["nut"] * 6 + [""] * 54))
    assert single[1] == ""  # one bench: to where else?


HANDS = {"neck": ("Al", "Bo"), "nut": ("Cy", "Di"), "final": ("Ed", "Fa")}


def hands(many=20):
    return [HANDS[place][n % 2] for n in range(many) for place in PLACES]


def test_names_that_change_along_the_way_and_go_with_the_stage_are_people():
    def tech(cells, **more):
        return fields(*visits(), seen("X", cells, **more))[2] == "tech"

    assert tech(hands())
    assert rows(*visits(), seen("X", hands()))[2].level == "likely"
    both = rows(*visits(), seen("X", hands()), seen("Y", [name * 2 for name in hands()]))
    assert [(g.field, g.level) for g in both[2:]] == [("tech", "unsure")] * 2
    assert not tech(hands(), field="note")
    assert not tech(hands(), why="its meaning is another column's")
    assert fields(*visits(), seen("X", hands()), seen("T", hands(), "tech"))[2] == ""
    assert not tech([cell if n > 6 else "" for n, cell in enumerate(hands())])  # seven of sixty rows without
    assert tech([cell if n > 5 else "" for n, cell in enumerate(hands())])
    assert not tech([f"{cell} of the second shift at noon" for cell in hands()])
    assert tech([cell + "x" * 18 for cell in hands()])  # twenty letters
    assert not tech([cell + "x" * 19 for cell in hands()])
    assert not tech(["Al"] * 60)
    numbers = {name: str(71 + place) for place, name in enumerate(("Al", "Bo", "Cy", "Di", "Ed", "Fa"))}
    assert tech([numbers[name] for name in hands()])  # numbers of people, as long all
    assert not tech([str(int(numbers[name]) - 70) for name in hands()])  # one figure: a count
    assert not tech([numbers[name] if name != "Al" else "171" for name in hands()])
    assert not tech([f"{numbers[name][0]}.{numbers[name][1]}" for name in hands()])
    assert not tech([f"2026-05-{n % 3 + 1:02d}" for n in range(60)])
    same = [HANDS[place][0] if n % 2 else "Al" for n in range(20) for place in PLACES]
    assert not tech(same)  # half of the instruments met one name only
    most = [HANDS[place][0] if n % 20 > 8 else "Al" for n in range(20) for place in PLACES]
    assert tech(most)
    anywhere = [("Al", "Bo", "Cy", "Di")[(n + k) % 4] for n in range(20) for k in range(3)]
    assert not tech(anywhere)  # every name at every stage


def test_at_most_forty_names_and_at_least_three_stages_tell_people():
    def tech(per_stage, stages):
        serial = [f"A{n}" for n in range(60) for _ in range(stages)]
        stage = [f"S{k}" for _ in range(60) for k in range(stages)]
        name = [f"N{'abcdefg'[k]}{'abcdefghijklmnopqrst'[n % per_stage]}" for n in range(60) for k in range(stages)]
        return fields(seen("No", serial, "serial"), seen("B", stage, "stage"), seen("X", name))[2] == "tech"

    assert [tech(10, 4), tech(14, 3), tech(8, 5), tech(2, 2)] == [True, False, True, False]


# -- by where words stand


def route(many=8, *, places=PLACES):
    serial = [f"A{n}" for n in range(many) for _ in places]
    return seen("No", serial, "serial"), seen("X", list(places) * many)


def test_words_that_instruments_meet_one_after_the_other_are_the_benches():
    def benches(*columns):
        return [c.guess.heading for c, g in zip(columns, told(by_routes, *columns), strict=True) if g.field == "stage"]

    serial, place = route()
    assert benches(serial, place) == ["X"]
    assert told(by_routes, serial, place)[1].level == "likely"
    assert benches(*route(5)) == ["X"]
    assert benches(*route(4)) == []  # too few instruments
    assert benches(*route(places=("neck", "nut"))) == []  # two words
    assert benches(serial, place, seen("Bench", place.cells, "stage")) == ["Bench"]
    assert benches(seen("No", serial.cells), place) == []  # nobody knows of which instrument
    assert benches(serial, seen("X", place.cells, "note")) == []
    assert benches(serial, seen("X", place.cells, "note", level="unsure")) == ["X"]
    assert benches(serial, place, seen("Y", place.cells)) == []  # which of the two?
    assert benches(serial, place, seen("D", serial.cells, "date", stage="packing")) == []
    gaps = ["" if n in (0, 5) else cell for n, cell in enumerate(place.cells)]
    assert benches(serial, seen("X", gaps)) == ["X"]
    assert benches(serial, seen("X", ["" if n in (0, 5, 9) else cell for n, cell in enumerate(place.cells)])) == []
    assert benches(serial, seen("X", [f"2026-05-0{n % 3 + 1}" for n in range(24)])) == []
    twice = [cell for cell in serial.cells for _ in range(2)], [cell for cell in place.cells for _ in range(2)]
    assert benches(seen("No", twice[0], "serial"), seen("X", twice[1])) == ["X"]  # two rows at a bench are one visit
    thirty = [f"w{'abcdefghijklmnopqrstuvwxyzäöüßéè'[k]}" for k in range(31)]
    assert benches(*route(places=tuple(thirty[:30]))) == ["X"]
    assert benches(*route(places=tuple(thirty))) == []


def test_benches_are_met_in_one_order_and_hardly_twice():
    def is_bench(routes):
        serial = [f"A{n}" for n, way in enumerate(routes) for _ in way]
        met = [word for way in routes for word in way]
        day = seen("D", [f"2026-{n // 28 % 12 + 1:02d}-{n % 28 + 1:02d}" for n in range(len(met))], "date")
        return told(by_routes, seen("No", serial, "serial"), seen("X", met), day)[1].field

    straight, turned = ["a1x", "b1x", "c1x"], ["a1x", "c1x", "b1x"]
    assert is_bench([straight] * 8 + [turned] * 2) == "stage"  # eighteen of twenty steps go with the order
    assert is_bench([straight] * 7 + [turned] * 3) == ""
    again = [*straight, "b1x", "a1x"]
    assert is_bench([straight] * 7 + [again] * 3) == "stage"  # 30 of 36 visits at a bench not met before
    assert is_bench([straight] * 6 + [again] * 4) == ""  # 30 of 38
    short = ["a1x", "b1x"]
    assert is_bench([straight] * 5 + [short] * 5) == "stage"  # two and a half visits each
    assert is_bench([straight] * 4 + [short] * 5) == ""
    assert is_bench([straight] * 5 + [["a1x"]] * 9) == "stage"  # one visit tells no order


def tail(gone, result=("good", "bad"), fault="buzz", many=20):
    """Serial, where it went back to, result and fault of one visit each; the rows of `gone` went back."""
    serial = seen("No", [f"A{n}" for n in range(many)], "serial")
    back = seen("Back", ["nut" if n in gone else "" for n in range(many)], "sent_back_to")
    words = seen("R", [result[n in gone] for n in range(many)])
    faults = seen("F", [fault if n in gone else "" for n in range(many)])
    return [serial, back, words, faults]


def test_results_split_with_the_way_back_and_faults_stand_nowhere_else():
    def two(columns):
        return [guess.field.replace("lot", "") for guess in told(by_send_backs, *columns)[2:]]

    assert two(tail({3, 7, 11})) == ["outcome", "fault"]
    assert two(tail({3, 7})) == ["", ""]  # two tell nothing
    columns = tail({3, 7, 11})
    assert two([*columns[:2], seen("R", columns[2].cells, "note"), columns[3]]) == ["note", "fault"]
    known = seen("O", ["ok"] * 20, "outcome")
    assert two([*columns, known])[:2] == ["", "fault"]
    assert two([*columns, seen("R2", columns[2].cells)])[0] == ""  # two columns split alike
    assert two([*columns, seen("Fault", [""] * 20, "fault")])[1] == ""
    ten = set(range(0, 20, 2))
    lone = tail(ten)
    for wrong, outcome in ((1, "outcome"), (2, "")):  # nine in ten of the rows that went back have the word
        cells = ["good" if n in sorted(ten)[:wrong] else cell for n, cell in enumerate(lone[2].cells)]
        assert two([*lone[:2], seen("R", cells), lone[3]])[0] == outcome
    for more, outcome in ((1, "outcome"), (2, "")):  # and the word stands elsewhere in one in ten
        cells = ["bad" if n in (1, 3)[:more] else cell for n, cell in enumerate(lone[2].cells)]
        assert two([*lone[:2], seen("R", cells), lone[3]])[0] == outcome
    half = ["" if n in range(1, 20, 2) else cell for n, cell in enumerate(lone[2].cells)]
    assert two([*lone[:2], seen("R", half), seen("F", [""] * 20)]) == ["fault", ""]  # one word: it splits nothing
    eight = [f"g{n % 7}" if n not in ten else "bad" for n in range(20)]
    assert two([*lone[:2], seen("R", [c.replace("g", "go") for c in eight]), lone[3]])[0] == "outcome"
    nine = [f"g{n % 16}" if n not in ten else "bad" for n in range(20)]
    assert two([*lone[:2], seen("R", nine), lone[3]])[0] == ""


def test_faults_are_filled_where_instruments_went_back_and_with_words_that_come_again():
    gone = set(range(20))

    def fault(cells):
        columns = tail(gone, many=60)[:3]
        return told(by_send_backs, *columns, seen("F", cells))[3].field

    assert fault(["buzz" if n in gone else "" for n in range(60)]) == "fault"
    assert fault(["buzz" if n < 10 else "" for n in range(60)]) == "fault"  # half of the rows that went back
    assert fault(["buzz" if n < 9 else "" for n in range(60)]) == ""
    assert fault(["buzz" if n <= 20 else "" for n in range(60)]) == "fault"  # one of 21 elsewhere
    assert fault(["buzz" if n <= 21 else "" for n in range(60)]) == ""
    assert fault([f"w{n // 2}" if n in gone else "" for n in range(60)]) == "fault"
    assert fault([f"w{min(n, 10)}" if n in gone else "" for n in range(60)]) == ""  # eleven words in twenty cells


def test_a_word_that_the_trade_knows_among_few_may_be_the_result():
    def result(cells, **more):
        columns = [seen("No", [f"A{n}" for n in range(20)], "serial"), seen("R", cells, **more)]
        guess = told(by_send_backs, *columns)[1]
        return "outcome" if (guess.field, guess.level) == ("outcome", "unsure") else ""

    assert result(["ok"] * 15 + ["aa"] * 5) == "outcome"
    assert result(["oo"] * 15 + ["aa"] * 5) == ""
    assert result(["ok"] * 20) == ""
    assert result(["ok"] * 15 + ["aa"] * 4 + [""]) == "outcome"
    assert result(["ok"] * 14 + ["aa"] * 4 + [""] * 2) == ""  # empty in one of ten rows
    assert result(["ok"] * 13 + [f"w{n}" for n in range(7)]) == "outcome"  # eight words
    assert result(["ok"] * 12 + [f"w{n}" for n in range(8)]) == ""
    assert result(["ok"] * 15 + ["7"] * 5) == ""
    assert result(["ok"] * 15 + ["aa"] * 5, field="note") == ""


def test_a_fault_is_found_by_a_result_that_the_trade_knows_where_no_column_says_where_to():
    gone = {2, 5, 9, 12}
    columns = [
        seen("No", [f"A{n}" for n in range(20)], "serial"),
        seen("R", ["rework" if n in gone else "ok" for n in range(20)], "outcome"),
        seen("F", ["buzz" if n in gone else "" for n in range(20)]),
    ]
    assert told(by_send_backs, *columns)[2].field == "fault"
    columns[1] = seen("R", columns[1].cells, "note")
    assert told(by_send_backs, *columns)[2].field == ""


def lots(words, *, many=None, **more):
    serial = [f"A{n}" for n in range(len(words))]
    return told(by_send_backs, seen("No", serial, "serial"), seen("L", words, **more))[1]


def test_a_word_shared_by_instruments_that_follow_each_other_is_asked_about_as_their_lot():
    five = [f"L{n // 5}" for n in range(20)]
    assert (lots(five).field, lots(five).level) == ("lot", "unsure")
    assert lots([f"L{n // 4}" for n in range(20)]).field == ""  # four an instrument
    assert lots(["L1"] * 20).field == ""
    assert lots(five, field="note").field == "note"
    blocks = [f"L{n // 20}" for n in range(60)]
    mixed = [f"L{n % 3}" for n in range(60)]
    assert (lots(blocks).field, lots(mixed).field) == ("lot", "")

    # of three lots twelve changes from one to the other are few enough, thirteen are not
    def changes(k):
        return [f"L{n % 2}" for n in range(k - 1)] + ["L0" if (k - 2) % 2 else "L1"] * 30 + ["L2"] * 30

    assert [lots(changes(12)).field, lots(changes(13)).field] == ["lot", ""]
    long = [f"L{n % 2}" for n in range(38)] + ["L2"] * 220  # 38 changes among 258: under fifteen in a hundred
    assert lots(long).field == "lot"
    assert lots([f"L{n % 2}" for n in range(42)] + ["L2"] * 220).field == ""
    assert lots([f"2026-05-{n // 5 + 1:02d}" for n in range(20)]).field == ""
    assert lots([f"{n // 5}.5" for n in range(20)]).field == ""
    both = told(by_send_backs, seen("No", [f"A{n}" for n in range(20)], "serial"), seen("L", five), seen("M", five))
    assert [guess.field for guess in both[1:]] == ["", ""]
    known = told(
        by_send_backs, seen("No", [f"A{n}" for n in range(20)], "serial"), seen("L", five), seen("K", five, "lot")
    )
    assert known[1].field == ""


def test_an_instrument_has_one_lot_but_for_a_slip_of_the_pen():
    serial = [f"A{n // 2}" for n in range(200)]
    words = [f"L{n // 20}" for n in range(200)]

    def lot(*slips):
        cells = ["L9" if n in slips else word for n, word in enumerate(words)]
        return told(by_send_backs, seen("No", serial, "serial"), seen("L", cells))[1].field

    assert [lot(), lot(1, 3), lot(1, 3, 5)] == ["lot", "lot", ""]  # two of a hundred


def test_a_day_written_once_for_all_rows_below_it():
    serial = seen("No", [f"A{n}" for n in range(10)], "serial")

    def once(cells, field="date", **more):
        return written_once([serial, seen("Day", cells, field, **more)])

    day = "2026-05-04"
    assert once([day, "", "", "", day, "", "", "", "", ""]) == ("Day",)
    assert once([day] * 5 + [""] * 5) == ("Day",)
    assert once([day] * 6 + [""] * 4) == ()  # six in ten have it
    assert once([day] + [""] * 9) == ()  # one day only
    assert once(["", day, day] + [""] * 7) == ()  # the first row has none
    assert once([day, day] + [""] * 8, "note") == ()
    assert once([day, day] + [""] * 8, level="unsure") == ()
    assert once([day, day] + [""] * 8, stage="packing") == ()
    assert written_once([seen("Day", [day, day] + [""] * 8, "date")]) == ()
    two = [serial, seen("Day", [day, day] + [""] * 8, "date"), seen("End", [day] * 10, "finished_at")]
    assert written_once(two) == ()
    three = seen("No", ["A", "B", "C"], "serial")
    assert written_once([three, seen("Day", [day, "", day], "date")]) == ()
    few = seen("No", ["A", "B"] + [""] * 8, "serial")
    assert written_once([few, seen("Day", [day, day] + [""] * 8, "date")]) == ()
