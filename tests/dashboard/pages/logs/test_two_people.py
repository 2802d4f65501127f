"""Logs and the command that loads ask whether a code by day and by night is one person; Logs names nobody where the
shop shows nobody.
"""

from dashboard.commands import cli
from dashboard.desk import desk
from dashboard.pages.logs import page
from tests.analysis.studies.story.test_two_people import HEAD, KINDS, LISTED, pair, shift
from tests.ingest.bench import SHOP, log

ASKED = "Is JM one person?"


def loaded(folder, more=""):
    (folder / "shop.toml").write_text(SHOP + LISTED + KINDS + more)
    rows = {"day_1.csv": shift(7, pair("JM", "KD")), "night_1.csv": shift(22, pair("JM", "LT"))}
    files = [str(log(folder, name, lines, HEAD)) for name, lines in rows.items()]
    cli.run(["load", *files, "--shop", str(folder)])
    desk.use(desk.Desk(folder))


def test_load_and_logs_ask(tmp_path, capsys):
    loaded(tmp_path)
    assert ASKED in capsys.readouterr().out
    assert ASKED in str(page.rest(None))


def test_logs_names_nobody_where_the_shop_shows_nobody(tmp_path):
    loaded(tmp_path, '\n[people]\nshow = "none"\n')
    assert ASKED not in str(page.rest(None))


def test_what_was_answered_is_not_asked_again(tmp_path, capsys):
    loaded(tmp_path, '[log.words.tech]\nJM = "JM"\n')
    assert ASKED not in capsys.readouterr().out
    assert ASKED not in str(page.rest(None))
