"""A version while it is made: what goes out goes out alone."""

from ingest.store.store import drafting, open_snapshot
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, row, shop


def test_logs_that_are_dropped_leave_the_others_in_the_draft(tmp_path):
    folder = shop(tmp_path)
    paths = [log(folder, f"{name}.csv", [row(name.upper()), row("Z9")]) for name in ("a", "b", "c")]
    load(folder, paths, now=NOW)
    logs = open_snapshot(folder).table("logs")
    ids = dict(logs.select("name", "log_id").iter_rows())
    with drafting(folder) as draft:
        draft.drop([ids["b.csv"]])
        assert sorted(draft.logs["name"]) == ["a.csv", "c.csv"]
        draft.drop([])
        assert sorted(draft.logs["name"]) == ["a.csv", "c.csv"]
    assert open_snapshot(folder).table("logs").equals(logs)  # a draft that was not finished has never been
