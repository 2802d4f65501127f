"""Where nothing that was sent back was ever seen again, no log tells whether it came back."""

from analysis.studies.story.seen_again import untold
from tests.analysis.studies.benches import bench

SENT = """
A 2 9 play send_back sent_back_to=nut
B 2 9 play send_back sent_back_to=nut
C 2 9 play pass
"""


def test_nothing_is_said_where_one_came_back():
    assert untold(bench(SENT + "B 3 9 nut pass")) == frozenset()


def test_those_sent_back_are_untold_where_none_was_seen_again():
    assert untold(bench(SENT)) == {"A", "B"}
    assert untold(bench("C 2 9 play pass")) == frozenset()
