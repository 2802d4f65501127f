"""What people opened lately is remembered by its address, the newest first, and not for ever."""

from dashboard.desk import lately
from dashboard.desk.lately import Lately


def test_a_view_is_remembered_once_and_where_it_was_opened_last():
    seen = Lately()
    for lot in ("a", "b", "a"):
        seen.opened("necks", {"supplier": "x", "lot": lot})
    seen.opened("necks", {"lot": "b", "supplier": "x"})
    assert seen.views() == [("necks", (("lot", lot), ("supplier", "x"))) for lot in ("b", "a")]


def test_only_so_many_views_are_remembered_and_those_of_the_last_while(monkeypatch):
    seen, now = Lately(), [0.0]
    monkeypatch.setattr(lately, "monotonic", lambda: now[0])
    for number in range(lately.MOST + 1):
        seen.opened("drift", {"lot": f"{number}"})
    assert len(seen.views()) == lately.MOST
    assert ("drift", (("lot", "0"),)) not in seen.views()
    now[0] = lately.WHILE + 1
    seen.opened("week", {})
    assert seen.views() == [("week", ())]
