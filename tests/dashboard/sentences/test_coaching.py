"""What a target card says of readings that do not count."""

from types import SimpleNamespace

from analysis.studies.people.not_theirs import FAR, LeftOut
from dashboard.sentences import coaching
from tests.analysis.studies.benches import shop


def test_what_may_be_mistyped_is_said_with_its_instruments():
    for n, what, said in (
        (1, "T738", "1 instrument is not counted until corrected: its reading lies far from all others and may be"),
        (
            2,
            "T1, T2",
            "2 instruments are not counted until corrected: their readings lie far from all others and may be",
        ),
    ):
        stand = SimpleNamespace(left_out=[LeftOut(FAR, what, None, None, n, None)])
        assert coaching.left_out(shop(), stand) == f"{said} mistyped ({what})."
