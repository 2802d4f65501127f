"""The target card: at most three targets in the unit of the gauge, what stands on top, the cautions, and minutes
last.
"""

import re
import shutil
from dataclasses import replace
from html import unescape

import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.people import targets
from analysis.studies.people.bands import bands as target_bands
from analysis.studies.people.bands import set_readings
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.bench import page
from dashboard.papers import bench as card
from dashboard.papers import necks as packet
from dashboard.papers import week as review
from dashboard.sentences import coaching
from dashboard.sentences import targets as sentences_targets
from dashboard.sentences.cautions import cautions
from ingest.shopfiles.shop_parts import Stage
from ingest.verbs.forget import forget
from tests.dashboard.pages import moving_shop, people_shop
from tests.dashboard.pages.test_necks import BLAMING
from tests.dashboard.papers.test_necks import own_words, words


@pytest.fixture
def stands(people_desk):
    return people_desk.folder


@pytest.fixture
def looked_at(people_desk):
    make_app(people_desk)
    return people_desk


def test_light_effort_stands_on_top_word_for_word(looked_at):
    text = words(card.paper("T09")[1])
    line = (
        "If a rod, hook or peg does not move with light effort, stop and put it on hold: that is never counted "
        "against you."
    )
    assert line in text
    assert text.index(line) < text.index("three targets at nut slotting")


def test_at_most_three_targets_what_is_not_shown_yet_first(looked_at):
    found = looked_at.ask(targets.stands, tech="T09")
    chosen = card.choose(found, {"nut_slotting"})
    assert len(found) == 4
    assert [stand.verdict for stand in chosen] == ["not shown yet", "not shown yet", "target shown"]
    html = card.paper("T09")[1]
    assert len(re.findall(r'class="tg"', html)) == 3
    assert "1 more target stands on the Bench page" in words(html)
    assert "target shown" not in words(html)  # the page's words
    assert "shown to hold" in words(html)


def test_page_and_card_speak_of_the_same_targets_in_one_order(looked_at):
    for tech in ("T02", "T09"):
        of_page = [stand.band for stand in page.stands_at(tech, "nut_slotting")][: card.MOST]
        of_stage = [one for one in looked_at.ask(targets.stands, tech=tech) if one.band["stage"] == "nut_slotting"]
        assert of_page == [stand.band for stand in card.choose(of_stage, {"nut_slotting"})]
        assert of_page


def test_of_targets_that_are_shown_the_one_furthest_off_comes_first(looked_at):
    one = next(one for one in looked_at.ask(targets.stands, tech="T09") if one.verdict == targets.SHOWN)
    aim, half = float(one.band["target"]), (float(one.band["upper"]) - float(one.band["lower"])) / 2
    near, off, unsure = (
        replace(one, mean=aim + by * half, mean_low=aim + low * half, mean_high=aim + high * half)
        for by, low, high in ((0.1, 0.05, 0.15), (-0.3, -0.35, -0.25), (0.4, -0.1, 0.9))
    )
    assert targets.foremost_first([near, unsure, off]) == [off, near, unsure]


def test_with_every_target_shown_no_next_one_is_asked_for(looked_at):
    shop, stand = looked_at.snapshot().shop, looked_at.ask(targets.stands, tech="T09")[0]
    shown = replace(stand, verdict=targets.SHOWN)
    assert "Take the next target that is not shown yet." in coaching.steps(shop, shown, [targets.NOT_SHOWN])
    assert not any("not shown yet" in step for step in coaching.steps(shop, shown, [targets.SHOWN] * 20))


def test_the_card_says_what_became_of_the_targets_that_are_not_on_it_and_what_the_gauge_takes(looked_at):
    stands = looked_at.ask(targets.stands, tech="T09")
    rest = [stand for stand in stands if stand not in card.choose(stands, card._new_at("T09"))]
    text = words(card.paper("T09")[1])
    shown = sum(stand.verdict == targets.SHOWN for stand in rest)
    assert (
        f"{len(rest)} more {coaching.others([stand.verdict for stand in rest]).partition(chr(32) + 'more ')[2]}" in text
    )
    assert not shown or f": {shown} shown" in text
    assert "no gauge study is on file, so how much of the spread is the gauge's is not known" in text
    assert coaching.gauge_takes(0.42, "leaves 2026", "Nut").startswith(
        "Nut: the gauge and the hands that read it take 42"
    )


def test_a_mean_that_the_gauge_could_not_tell_from_the_target_runs_neither_high_nor_low(looked_at):
    stand = looked_at.ask(targets.stands, tech="T09")[0]
    shop, aim, step = looked_at.snapshot().shop, float(stand.band["target"]), float(stand.band["step"])
    for off, told in ((0.1, False), (3.0, True)):
        mean = aim + off * step
        moved = replace(stand, mean=mean, mean_low=mean - 0.01 * step, mean_high=mean + 0.01 * step)
        assert bool(sentences_targets.runs(shop, moved)) is told


def test_a_stage_somebody_is_new_at_comes_before_any_other(looked_at):
    found = looked_at.ask(targets.stands, tech="T02")
    stages = [stand.band["stage"] for stand in card.choose(found, {"neck_straightening"})]
    assert stages[:2] == ["neck_straightening"] * 2


def test_it_speaks_in_the_unit_of_the_gauge_with_mm_behind(looked_at):
    text = words(card.paper("T09")[1])
    band = looked_at.ask(target_bands).filter(characteristic="nut", position="bass", model="HERON-D").row(0, named=True)
    assert (
        f"{band['lower_steps']} to {band['upper_steps']} thou ({band['lower']:.2f} to {band['upper']:.2f} mm)" in text
    )


def test_lines_to_write_on_cautions_and_minutes_stand_in_order(looked_at):
    text = words(card.paper("T09")[1])
    agenda = [
        "Targets in the unit",
        "Next step, agreed at the bench",
        "T09’s own remark",
        "Signed off by",
        "Mind at this work",
        "Minutes",
    ]
    places = [text.rfind(name) for name in agenda]
    assert -1 not in places
    assert places == sorted(places)
    shop = looked_at.snapshot().shop
    for line in cautions([shop.stages[2]], shop):
        assert line in text
    assert "Local safety rules and trained practice come first" in text


@pytest.mark.parametrize(
    ("key", "word"),
    [
        ("neck_straightening", "rods strip"),
        ("head_tension", "slipping wrench"),
        ("crowning", "Dust of wood"),
        ("crowning", "Steel wool"),
        ("fret_levelling", "loosen more glue"),
        ("play_test", "protect hearing"),
        ("nut_slotting", "Sharp fret ends"),
        ("lacquer_touch_up", "Oily rags"),
        ("buffing", "Buffing wheels"),
    ],
)
def test_each_kind_of_stage_brings_its_caution(key, word, looked_at):
    shop = looked_at.snapshot().shop
    assert any(word in line for line in cautions([Stage(key=key)], shop))
    assert not any(word in line for line in cautions([Stage(key="packing")], shop))


def test_a_small_sample_is_called_small_before_it_is_judged(looked_at):
    shop = looked_at.snapshot().shop
    stand = looked_at.ask(targets.stands, tech="T09")[0]
    snapshot = looked_at.snapshot()
    early = targets._stand(
        snapshot, stand.band, "T09", snapshot.once(set_readings).filter(set_by="T09", characteristic="nut").head(2)
    )
    assert early.verdict == "too few to say"
    assert "Few so far." in sentences_targets.standing(shop, early)


def test_no_word_blames_and_no_other_person_is_on_it(looked_at):
    text = words(card.paper("T09")[1])
    assert [word for word in BLAMING if word in text.lower()] == []
    assert [one for one in ("T01", "T02", "T03", *people_shop.TECHS.values()) if one in text] == []


def test_where_people_are_not_shown_there_is_no_card(stands, tmp_path):
    folder = shutil.copytree(stands, tmp_path / "none")
    (folder / "shop.toml").write_text((folder / "shop.toml").read_text().replace('show = "codes"', 'show = "none"'))
    desk.use(desk.Desk(folder))
    with pytest.raises(UnusableData, match="settle who is told, the law and the agreement first"):
        card.paper("T09")


def test_an_unknown_tech_or_one_without_a_band_is_told_why(looked_at, tmp_path):
    with pytest.raises(UnusableData, match=r"no tech 'T77' in shop\.toml; wanted one of T01"):
        card.paper("T77")
    desk.use(desk.Desk(moving_shop.stands(tmp_path / "nothing", with_logs=False)))
    with pytest.raises(UnusableData, match="no target for T01 yet: nothing that is set at a bench"):
        card.paper("T01")


def test_somebody_without_a_reading_has_a_card_from_the_first_day(looked_at):
    # T01 is at receiving and final inspection and has set nothing: what to hold at the nut stands there all the same
    text = words(card.paper("T01", stage="nut_slotting")[1])
    assert "T01: three targets at nut slotting" in text
    assert "Not begun: no reading of theirs is on file." in text
    for part in ("good:", "Measure:", "Practice set.", "Read the practice set twice, blind", "nine tenths of what"):
        assert part in text, part
    assert "shown from its instrument 27 on" in text
    assert "0 of 0" not in text


def test_the_same_version_gives_the_same_bytes_and_the_page_serves_it(stands):
    made = []
    for _ in range(2):
        desk.use(desk.Desk(stands))
        made.append(card.paper("T09"))
    assert made[0] == made[1]
    client = make_app(desk.Desk(stands)).server.test_client()
    assert unescape(client.get("/papers/bench?tech=T09").text) == unescape(made[0][1])
    assert client.get("/papers/bench?tech=x").status_code == 404


def test_papers_made_after_a_name_was_forgotten_hold_it_nowhere(stands, tmp_path):
    folder = shutil.copytree(stands, tmp_path / "forgets")
    text = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(
        text.replace('show = "codes"', 'show = "names"\npurpose = "coaching of new techs"')
    )
    shutil.rmtree(folder / "as_typed")
    desk.use(desk.Desk(folder))
    assert "Pell Asterby" in card.paper("T09")[1]
    code = forget(folder, "Pell Asterby", now=people_shop.NOW)
    counter = desk.Desk(folder)
    make_app(counter)
    made = [card.paper(code), packet.paper(people_shop.SUPPLIERS[0], money=True), review.paper()]
    for name, html in made:
        assert re.findall(r"Pell|Asterby|T09(?!:)", name + own_words(html)) == []  # 2026-06-16T09:04 is a time
    assert code in made[0][1]
