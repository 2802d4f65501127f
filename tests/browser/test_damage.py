"""A shop whose store is damaged, in a real browser: a page says so in its frame, and stands again after a restore."""

import pytest

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from ingest.verbs import backup, restore
from tests.ingest.bench import NOW
from tests.ingest.verbs.damage import cut, flip, full_shop, the_file

pytestmark = pytest.mark.usefixtures("browser")


def words_of(seen):
    return seen.page.inner_text("body").replace("\u00a0", " ")


@pytest.mark.long
@pytest.mark.parametrize(
    ("pattern", "harm"),
    [("store/visits/*.parquet", cut), ("store/readings/*.parquet", flip)],
    ids=["cut", "a flipped bit"],
)
def test_a_damaged_store_is_a_line_in_the_frame_and_a_restore_brings_the_pages_back(
    tmp_path, served, watched, pattern, harm
):
    folder = full_shop(tmp_path / "shop")
    backup.backup(folder, tmp_path / "kept.truerun", now=NOW)
    harm(the_file(folder, pattern))
    seen = watched(390)
    address = served(make_app(Desk(folder)))
    for path in ("/", "/logs"):
        seen.page.goto(address + path)
        seen.page.wait_for_function("() => document.body?.innerText.includes('cannot be shown now')")
        told = words_of(seen)
        assert "is damaged" in told
        assert "truerun check" in told
        assert "Traceback" not in told
        assert str(tmp_path) not in told
    restore.restore(folder, tmp_path / "kept.truerun", now=NOW)
    seen.page.goto(address + "/logs")
    seen.page.wait_for_function("() => document.body?.innerText.includes('logs loaded')")
    assert seen.wrong == []
