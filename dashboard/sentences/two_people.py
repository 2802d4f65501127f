"""A code that may be two people, in words: what the sheets show, and what to write."""

from __future__ import annotations

from analysis.studies.story.two_people import OneCode
from dashboard import numbers


def asked(one: OneCode) -> str:
    """The question and both answers, in a line."""
    more, fewer = (f"{kind} ({numbers.count(n)} visits)" for kind, n in zip(one.kinds, one.visits, strict=True))
    return (
        f"Is {one.tech} one person? The code stands in {more} and {fewer}, on {numbers.count(one.days)} days in both, "
        f"and these sheets are written over {numbers.count(one.hours)} hours of the day. If they are two, a [[tech]] "
        f'each, and {one.tech} = "{one.tech} 2" under [log.words.tech] of the [[log]] that reads {one.kinds[1]}; if '
        f'one, {one.tech} = "{one.tech}" there says so. Then `truerun again --all`.'
    )
