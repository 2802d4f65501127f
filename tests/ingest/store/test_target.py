"""What opens a store is told to nobody: by no task that is shown, by no line of what went wrong."""

import pickle
from urllib.parse import quote

from ingest.store.problems import bare
from ingest.store.target import Target

SECRET = "sv=2026&sig=q/9+opens=the=store"
OPTIONS = {"azure_storage_sas_key": SECRET, "aws_secret_access_key": "opens it too", "aws_region": "eu-west-1"}


def test_options_that_travel_to_a_worker_are_whole_and_shown_by_their_number():
    options = pickle.loads(pickle.dumps(Target("s3://bench/shops", OPTIONS).options))
    assert dict(options) == OPTIONS
    for shown in (f"{options}", f"{options!r}", f"{('s3://bench/shops', options)}", str([options])):
        assert "<3 options of a store>" in shown
        assert "opens" not in shown


def test_a_line_of_what_went_wrong_holds_no_part_of_what_opens_the_store():
    address = f"https://store/shops?{SECRET} nor ?sig={quote('q/9+opens=the=store')}"
    told = bare(f"no answer of {address} in eu-west-1 ('opens it too')", OPTIONS)
    assert "opens" not in told
    assert told.startswith("no answer of https://store/shops?")
    assert "eu-west-1" in told  # no secret
