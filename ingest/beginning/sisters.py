"""Kinds of sheets under one name whose headings differ, such as those before and after a heading was changed: one
[[log]] reads them all, where nothing that they say contradicts.
"""

from collections.abc import Mapping

from ingest.beginning.file_names import fits
from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.survey import Survey
from ingest.reading.headings import plain


def sisters(draft: Draft, seen: Survey) -> list[LogDraft]:
    """The [[log]]s before whose `files` are the names of these sheets too."""
    return [
        log for log in draft.logs if fits(log.files, seen.files) and log.tab in ("", seen.tab) and not log.survey.known
    ]


def join_sisters(draft: Draft) -> None:
    """Put each [[log]] into one that reads files of its name already; where they contradict each other the narrower
    name goes first, for the first that fits a file reads it.
    """
    logs: list[LogDraft] = []
    for log in draft.logs:
        place = next((at for at, other in enumerate(logs) if _meet(log, other)), None)
        if place is None:
            logs.append(log)
        elif _agree(log, logs[place]):
            _join(log, logs[place])
        else:
            logs.insert(place if fits(logs[place].files, (log.files,)) else len(logs), log)
    draft.logs = logs


def _meet(log: LogDraft, other: LogDraft) -> bool:
    """Would one of them read all files of the other?"""
    known = log.survey.known or other.survey.known
    wide = fits(other.files, log.survey.files) or fits(log.files, other.survey.files)
    return wide and log.tab == other.tab and not known


def _agree(log: LogDraft, other: LogDraft) -> bool:
    mine, theirs = log.survey, other.survey
    alike = (
        mine.shape,
        log.stage,
        log.order,
        log.night,
        log.empty_outcome,
        mine.once,
        dict(mine.said.rest),
        log.not_rows,
    ) == (
        theirs.shape,
        other.stage,
        other.order,
        other.night,
        other.empty_outcome,
        theirs.once,
        dict(theirs.said.rest),
        other.not_rows,
    ) and mine.decimal == theirs.decimal
    words = all(_same_where_both(log.words.get(field, {}), other.words.get(field, {})) for field in log.words)
    left_out = {plain(each) for each in log.ignore} & {plain(each) for each in other.headings}
    left_out |= {plain(each) for each in other.ignore} & {plain(each) for each in log.headings}
    return (
        alike
        and words
        and not left_out
        and _same_where_both(log.headings, other.headings)
        and _same_where_both(log.units, other.units)
    )


def _same_where_both(one: Mapping[str, str], other: Mapping[str, str]) -> bool:
    held = {plain(key): value for key, value in other.items()}
    return all(held.get(plain(key), value) == value for key, value in one.items())


def _join(log: LogDraft, other: LogDraft) -> None:
    if not fits(other.files, log.survey.files):
        other.files = log.files
    other.headings |= {heading: target for heading, target in log.headings.items() if heading not in other.headings}
    other.ignore += [heading for heading in log.ignore if heading not in other.ignore]
    other.units = {**log.units, **other.units}
    for field, words in log.words.items():
        other.words[field] = {**words, **other.words.get(field, {})}
    other.said |= log.said
    other.more.append(log.survey)
