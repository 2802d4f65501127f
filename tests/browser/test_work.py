"""Five hundred questions worked off in a real browser, by keyboard alone: guesses accepted, unknown, undone."""

import pytest

from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.browser.test_logs import opened as opened
from tests.ingest.bench import NOW, log, row, shop
from tests.ingest.verbs.test_answers import story

WORDS = ("paly_test", "plya test", "play tset", "ply test", "play tst", "pley test")


@pytest.mark.long
def test_five_hundred_questions_are_worked_off_by_keyboard(tmp_path, opened):
    folder = shop(tmp_path)
    rows = []
    for number in range(400):
        words = {"play_test": WORDS[number % len(WORDS)]} if number % 2 else {"relief": '"'}
        rows += story(f"S{number:03}", number % 300, **words)
    rows += [
        row(f"X{number}", relief="?!", start=f"2026-03-30 09:{number % 60:02}", finish="") for number in range(100)
    ]
    load(folder, [log(folder, "bench.csv", rows)], now=NOW)
    before = open_snapshot(folder)
    assert before.table("set_aside").height == 500
    seen = opened(folder)
    seen.says("500 rows and cells wait for ")
    assert seen.page.evaluate("document.documentElement.scrollHeight") < 3000
    assert seen.page.is_visible("#logs-again")  # the only part of its line that moves
    seen.page.fill("#logs-work-who", "Mara")
    seen.page.keyboard.press("Escape")
    seen.page.evaluate("document.activeElement.blur()")
    seen.page.keyboard.press("ArrowDown")
    seen.page.keyboard.press("r")
    seen.says("The story of S")
    seen.page.evaluate("document.activeElement.blur()")
    seen.page.keyboard.press("Enter")
    seen.says("3 questions answered for 200 rows, 200 came in. 300 left.")
    seen.page.evaluate("document.activeElement.blur()")
    seen.page.keyboard.press("z")
    seen.says("Taken back: 3 questions asked again for 200 rows.")
    assert open_snapshot(folder).table("visits").height == before.table("visits").height
    seen.page.evaluate("document.activeElement.blur()")
    seen.page.keyboard.press("Enter")
    seen.says("300 left.")
    for left in ("100 left.", "0 left."):
        seen.page.evaluate("document.activeElement.blur()")
        seen.page.keyboard.press("ArrowDown")
        seen.page.keyboard.press("Space")
        seen.page.keyboard.press("n")
        seen.says(left)
    seen.says("1 log loaded; no question waits.")
    assert open_snapshot(folder).table("visits").filter(stage="play_test").height == 500
    assert seen.wrong == []
