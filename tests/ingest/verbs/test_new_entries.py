"""A model or a tech that the shop's lists lack: told apart from a slip, asked about until shop.toml holds it, put in by
an answer and taken out with it.
"""

import tomllib

import pytest

from analysis.studies.story.waiting import waiting
from ingest.shopfiles.shop import read_shop
from ingest.store.problems import StoreProblem
from ingest.store.store import open_snapshot
from ingest.verbs.answers import Answer, answer, take_back
from ingest.verbs.load import load
from ingest.verbs.new_entries import Entry, families, proposed, put_in, take_out
from ingest.verbs.unlisted import on_file
from ingest.verbs.worklist import worklist
from tests.ingest.bench import NOW, held, log, row, shop
from tests.ingest.verbs.test_load import same

TECHS = '\n[people]\nshow = "names"\npurpose = "coaching"\n\n[[tech]]\nkey = "Mo"\n\n[[log]]\nname = "bench cards"\n'
STAGES = ("neck_straightening", "play_test", "final_inspection")


def visits(serial, model, day, tech="Mo"):
    return [
        row(serial, model=model, stage=stage, tech=tech, start=f"2026-03-{day:02} {9 + place}:00", finish="")
        for place, stage in enumerate(STAGES)
    ]


@pytest.fixture
def folder(tmp_path):
    """Five LARK-25, four of a model LARK-26 that no list holds, one slip of it, and a slip on a LARK-25 of its own."""
    folder = shop(tmp_path, TECHS)
    rows = [line for n in range(5) for line in visits(f"A{n}", "LARK-25", 2, tech="Ines" if n == 4 else "Mo")]
    rows += [line for n in range(4) for line in visits(f"B{n}", "LARK-26", 3)]
    rows += [*visits("A9", "LARK-25", 4)[:2], visits("A9", "LARK-26x", 4)[2], *visits("C1", "Lark25", 5)]
    load(folder, [log(folder, "bench.csv", rows)], now=NOW)
    return folder


def groups(folder):
    snapshot = open_snapshot(folder)
    found = worklist(snapshot, folder=folder, asked=waiting(snapshot))
    return {(one.key, group.typed): group for one in found for group in one.groups}


def test_a_word_that_several_instruments_bear_alone_is_a_new_model_and_never_the_old_one(folder):
    group = groups(folder)["model", "LARK-26"]
    assert (group.guess, group.new, group.fits, group.of, group.sure) == ("new: tenor ukulele", True, 4, 4, False)
    assert group.choices[0] == "new: tenor ukulele"
    assert "LARK-25" in group.choices
    assert group.wanted.startswith("a [[model]] of its own in shop.toml")
    assert "is meant" not in group.wanted
    assert groups(folder)["model", "Lark25"].guess == "LARK-25"  # a spelling of it
    assert groups(folder)["model", "LARK-26x"].guess == "LARK-25"  # its story says so
    lines = {row["word"]: row["paste"] for row in on_file(open_snapshot(folder)).iter_rows(named=True)}
    assert tomllib.loads(lines["LARK-26"]) == {"model": [{"key": "LARK-26", "family": "..."}]}


def test_an_answer_puts_a_new_model_into_the_shop_and_undo_takes_it_out(folder):
    before, text = held(folder), (folder / "shop.toml").read_text()
    group = groups(folder)["model", "LARK-26"]
    done = answer(folder, [Answer(group, group.guess)], "Nell", "since March", now=NOW)
    assert (done.rows_in, done.settled) == (12, 12)
    assert done.told[0].startswith("LARK-26 (tenor ukulele) stands in shop.toml as a [[model]]")
    assert read_shop(folder / "shop.toml").families["LARK-26"] == "tenor ukulele"
    assert ("model", "LARK-26") not in groups(folder)
    assert ("kept model", "LARK-26") not in groups(folder)
    take_back(folder, done.first, done.last, "Nell", logs=done.logs, now=NOW)
    assert tomllib.loads((folder / "shop.toml").read_text()) == tomllib.loads(text)
    same(held(folder), before)


@pytest.mark.parametrize("said", ["new:", "LARK-26", "LARK-27"])
def test_a_new_model_without_its_family_changes_nothing_and_says_what_is_needed(folder, said):
    text, group = (folder / "shop.toml").read_text(), groups(folder)["model", "LARK-26"]
    with pytest.raises(StoreProblem, match=r"new: tenor ukulele|`new: FAMILY`"):
        answer(folder, [Answer(group, said)], "Nell", "", now=NOW)
    assert (folder / "shop.toml").read_text() == text
    assert open_snapshot(folder).table("words").is_empty()


def test_a_new_name_is_a_tech_of_the_shop_from_then_on(folder):
    group = groups(folder)["tech", "Ines"]
    done = answer(folder, [Answer(group, "Ines")], "Nell", "", now=NOW)
    assert done.told == ("Ines stands in shop.toml as a [[tech]].",)
    assert [tech.key for tech in read_shop(folder / "shop.toml").techs] == ["Mo", "Ines"]
    assert ("tech", "Ines") not in groups(folder)


def test_where_people_are_shown_as_codes_no_name_is_written_into_the_shop(folder):
    text = (folder / "shop.toml").read_text().replace('show = "names"\npurpose = "coaching"', 'show = "codes"')
    (folder / "shop.toml").write_text(text)
    group = groups(folder)["tech", "Ines"]
    [told] = answer(folder, [Answer(group, "Ines")], "Nell", "", now=NOW).told
    assert told.startswith("One of these has no [[tech]] in shop.toml yet: write a code as its key")
    assert "Ines" not in told
    assert (folder / "shop.toml").read_text() == text


def test_what_was_answered_before_is_asked_until_the_shop_holds_it(folder, monkeypatch):
    asked = groups(folder)
    half = [Answer(asked["model", "LARK-26"], "LARK-26"), Answer(asked["tech", "Ines"], "Ines")]
    monkeypatch.setattr("ingest.verbs.answers._with_entries", lambda _shop, said: (said, []))
    answer(folder, half, "Nell", "", now=NOW)
    monkeypatch.undo()
    again = groups(folder)
    assert again["kept model", "LARK-26"].guess == "new: tenor ukulele"
    assert len(again["kept model", "LARK-26"].rows) == 12
    whole = [Answer(again["kept model", "LARK-26"], "new: tenor ukulele"), Answer(again["tech", "Ines"], "Ines")]
    assert len(answer(folder, whole, "Nell", "", now=NOW).told) == 2
    assert not {("kept model", "LARK-26"), ("tech", "Ines")} & groups(folder).keys()


def test_a_family_is_guessed_only_where_name_or_sisters_tell_one(tmp_path):
    folder = shop(
        tmp_path,
        '\n[[model]]\nkey = "Dove C"\nfamily = "concert ukulele"\n'
        '[[model]]\nkey = "Dove T"\nfamily = "tenor ukulele"\n',
    )
    held = read_shop(folder / "shop.toml")
    assert proposed(held, "Dove B") == ["new:", "new: concert ukulele", "new: tenor ukulele"]
    assert proposed(held, "Wren concert")[0] == "new: concert ukulele"
    assert proposed(held, "LARK-30")[0] == "new: tenor ukulele"
    assert families(held, "Wren")[1] is False


@pytest.mark.parametrize(
    "entry", [Entry("model", 'Dove "B"', "baritone ukulele"), Entry("tech", "Zoë"), Entry("tech", "Ann")]
)
def test_an_entry_goes_behind_those_of_its_kind_and_out_again(tmp_path, entry):
    more = '\n[[tech]]\nkey = "Mo"\n\n# the sheets\n[[log]]\nname = "cards"\n[log.words]\noutcome = { ok = "pass" }\n'
    folder = shop(tmp_path, more)
    before = (folder / "shop.toml").read_text()
    put_in(folder, [entry])
    table = tomllib.loads((folder / "shop.toml").read_text())
    assert table[entry.field][-1]["key"] == entry.key
    assert table["log"] == tomllib.loads(before)["log"]
    assert (folder / "shop.toml").read_text().index(entry.text) < (folder / "shop.toml").read_text().index(
        "# the sheets"
    )
    take_out(folder, [(entry.field, entry.key)])
    assert tomllib.loads((folder / "shop.toml").read_text()) == tomllib.loads(before)


def test_an_entry_that_somebody_has_filled_in_stays(tmp_path):
    folder = shop(tmp_path)
    put_in(folder, [Entry("model", "Dove B", "baritone ukulele")])
    path = folder / "shop.toml"
    path.write_text(path.read_text().replace('family = "baritone ukulele"', 'family = "baritone ukulele"\nstrings = 4'))
    take_out(folder, [("model", "Dove B")])
    assert "Dove B" in read_shop(path).families


def test_a_shop_file_that_would_not_stand_is_left_as_it_is(tmp_path):
    folder = shop(tmp_path)
    before = (folder / "shop.toml").read_text()
    with pytest.raises(StoreProblem, match="put it in by hand"):
        put_in(folder, [Entry("model", "LARK-25", "tenor ukulele")])
    assert (folder / "shop.toml").read_text() == before
