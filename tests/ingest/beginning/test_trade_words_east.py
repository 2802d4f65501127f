"""Headings, words and models of the east, which have no spaces between their words."""

import pytest

from ingest.beginning.families import family_of
from ingest.beginning.guesses import guess_heading, guess_outcome
from ingest.beginning.new import propose
from ingest.beginning.stage_words import stage_of_word


@pytest.mark.parametrize(
    ("heading", "target"),
    [
        ("製造番号", "serial"),
        ("シリアルＮｏ", "serial"),
        ("機種", "model"),
        ("工程", "stage"),
        ("担当者", "tech"),
        ("作業日", "date"),
        ("判定", "outcome"),
        ("不具合", "fault"),
        ("戻し先", "sent_back_to"),
        ("仕入先", "supplier"),
        ("ロット番号", "lot"),
        ("備考", "note"),
        ("ネック順反り(mm)", "relief (mm)"),
        ("弦高 低音（㎜）", "action bass (mm)"),
        ("弦高高音", "action treble"),
        ("弦高の低音側", "action bass"),
        ("オクターブ(セント)", "intonation (cents)"),
        ("型号", "model"),
        ("弦高不良", "fault"),  # no action
    ],
)
def test_a_heading_of_the_east_is_known_by_its_words(heading, target):
    assert guess_heading(heading).target() == target


@pytest.mark.parametrize(
    ("word", "stage"),
    [
        ("ネック調整", "neck_straightening"),
        ("フレットすり合わせ", "levelling"),
        ("ナット溝", "nut_slotting"),
        ("ブリッジ", "bridge_fitting"),
        ("最終検査", "final_inspection"),
    ],
)
def test_a_bench_of_the_east_is_known_by_its_word(word, stage):
    assert stage_of_word(word) == stage


@pytest.mark.parametrize(
    ("model", "family"),
    [
        ("クラシックギター CG-5", "classical guitar"),
        ("アコースティックギター AG-10", "steel-string guitar"),
        ("マンドリン M-1", "mandolin"),
        ("ギター", ""),
        ("テナーバンジョー", "tenor banjo"),
    ],
)
def test_a_model_of_the_east_tells_its_family(model, family):
    assert family_of(model) == family


def test_signs_of_a_result_mean_what_they_mean_in_the_east_and_a_triangle_is_asked_about():
    assert [guess_outcome(sign) for sign in "○×△"] == ["pass", "send back", ""]


def test_remarks_that_stand_seldom_and_dashes_between_are_no_lots():
    notes = ([*["-"] * 19, "早く"] * 3 + [*["-"] * 19, "要確認"] * 3) * 2
    rows = [f"MG{n},2026-09-{7 + n // 12:02d},0.{10 + n % 9},{note}" for n, note in enumerate(notes)]
    (seen,) = propose([("final.csv", "\n".join(["No,Date,Relief (mm),Zzq", *rows]).encode())]).surveys
    assert "lot" not in {column.guess.field for column in seen.columns}
