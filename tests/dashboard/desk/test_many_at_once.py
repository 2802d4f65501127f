"""Many who ask at once: nobody waits for what they did not ask, and nothing is worked out twice."""

from concurrent.futures import ThreadPoolExecutor
from threading import Event

from dashboard.desk import desk
from ingest.store.snapshot import Snapshot
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, row, shop
from tests.ingest.small_shop import small_shop

SOON = 30.0  # seconds within which a thread has come so far on a busy machine


def test_what_is_there_or_short_is_given_while_something_long_is_worked_out():
    snapshot, begun, may_end, times = Snapshot.of(small_shop()), Event(), Event(), []

    def long(shop_now):
        times.append("long")
        begun.set()
        assert may_end.wait(SOON)
        return shop_now.once(short)

    def short(_):
        times.append("short")
        return 2

    def there(_):
        return 1

    snapshot.once(there)
    with ThreadPoolExecutor(3) as threads:
        try:
            waiting = [threads.submit(snapshot.once, long) for _ in range(2)]
            assert begun.wait(SOON)
            assert threads.submit(snapshot.once, there).result(SOON) == 1
            assert snapshot.once(short) == 2
        finally:
            may_end.set()
        assert [each.result(SOON) for each in waiting] == [2, 2]
    assert sorted(times) == ["long", "short"]


def test_an_answer_knows_what_it_read_whoever_else_reads_meanwhile():
    snapshot, begun, may_end = Snapshot.of(small_shop()), Event(), Event()

    def notes(shop_now):
        begun.set()
        assert may_end.wait(SOON)
        return shop_now.lines("note").height

    with ThreadPoolExecutor(1) as threads:
        try:
            waiting = threads.submit(snapshot.once, notes)
            assert begun.wait(SOON)
            snapshot.lines("action")
        finally:
            may_end.set()
        assert waiting.result(SOON) == 0
    assert snapshot.told_by(lambda: snapshot.once(notes))[1] == {"note"}


def test_a_question_with_options_is_answered_once_for_all_who_ask_it(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    counter, times, both = desk.Desk(folder), [], Event()

    def study(snapshot, *, of):
        times.append(of)
        both.wait(0.2)
        return snapshot.lines("action").height

    with ThreadPoolExecutor(4) as threads:
        answers = list(threads.map(lambda _: counter.ask(study, of="x"), range(4)))
    assert (answers, times) == ([0] * 4, ["x"])
    counter.write_entry("note", "seen", who="Mo")  # no line that it read
    assert counter.ask(study, of="x") == 0
    assert times == ["x"]
    counter.write_entry("action", "a new file", who="Mo", owner="Jo")
    assert counter.ask(study, of="x") == 1
    assert times == ["x", "x"]
    assert len(counter._answers) == 1
    load(folder, [log(folder, "b.csv", [row("B1")])], now=NOW)
    assert counter.ask(study, of="x") == 1
    assert len(counter._answers) == 1  # of how the shop stands now
    assert len(counter._snapshots) == 1
