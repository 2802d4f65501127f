"""What is said once questions are answered."""

import pytest

from dashboard.pages.logs.work_deeds import told_of
from ingest.verbs.groups import MEANS, Decision


@pytest.mark.parametrize(
    ("key", "settled", "rows_in", "texts", "told"),
    [
        ("stage", 200, 200, 200, "Words: 200 questions answered, 200 came in."),
        ("model", 344, 344, 1, "Words: 1 question answered for 344 rows, 344 came in."),
        ("stage", 1, 0, 1, "Words: 1 question answered, 0 came in."),
        ("tech", 40, 0, 40, "Words: 40 questions answered, their rows were in already and stand under what was said."),
        ("tech", 40, 2, 40, "Words: 40 questions answered, 2 came in."),
    ],
)
def test_words_that_were_kept_as_typed_brought_their_rows_in_already(key, settled, rows_in, texts, told):
    assert told_of(Decision(key, "Words", "", MEANS, settled), settled, rows_in, texts) == told
