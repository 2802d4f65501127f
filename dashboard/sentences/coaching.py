"""What a target asks of somebody: what good looks like, how it is measured, a practice set, the next three steps, and
who signed it off. Pure functions; common practice of the trade, and local training comes first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np

from analysis.studies.matters.records import Matter
from analysis.studies.people import targets
from analysis.studies.people.bands import BY_HAND, LIMITS
from analysis.studies.people.not_theirs import FAR, KNOWN, LOT, MATTER, LeftOut
from analysis.studies.people.targets import Stand
from dashboard import numbers
from dashboard.sentences import matters
from dashboard.sentences import shared as sentences
from dashboard.sentences import targets as sentences_targets
from ingest.shopfiles.shop import Shop

SIGNINGS = ("signed off", "sign-off taken back")  # kinds of line of the book
AGREE = 9  # of ten instruments read twice within one step of the gauge
TOGETHER = 3  # lots left out, from which on they are told in one sentence
BESIDE = 5  # instruments set beside somebody
NOT_NAMED = (
    "Nothing is shown that it goes with, and it may be chance: wait for the next readings before acting on it alone."
)
NARROWER = "The middle is right, the spread too wide: go slower, read twice."
HOW = {  # by a word of the characteristic's key
    "relief": (
        "Tuned to pitch, in playing position, straightedge on the first fret and the one at the body; slide the leaf "
        "under it at fret 7 or 8 until it just drags. A hump is rocked and halved, never written as 0."
    ),
    "action": (
        "Tuned to pitch; from the crown of fret 12 to the underside of the string, eye level with the fret, without "
        "pressing the rule on the string. Bass and treble each."
    ),
    "nut": "Open string, from the crown of fret 1 to its underside; the leaf just touches without lifting the string.",
    "intonation": (
        "Tune the open string first; fret at 12 with light, even pressure, three plucks, and write their middle."
    ),
    "bow": (
        "Acclimatised, no strings, rod slack; straightedge along the edge from first to last fret, leaf under the "
        "middle."
    ),
    "head": "Points round the rim in turn, the same distance from the hooks; write each.",
    "angle": "Straightedge on the frets against the bridge top or along the neck; read twice, turned round between.",
}
LOOKS = {
    "relief": "A small even hollow: no leaf at the ends, the target's leaf just drags in the middle",
    "action": "The same height each time you come back to it, bass and treble each at its own figure",
    "nut": "Strings that clear the first fret, ring open without buzz and are not sharp at frets 1 to 3",
    "intonation": "Fretted at 12 the needle stands where it stood open, on every string",
}


def looks_like(band: Mapping[str, Any]) -> str:
    """What good looks like, without a figure."""
    key = str(band["characteristic"])
    return next((words for part, words in LOOKS.items() if part in key), "Every one within the band, most near the aim")


def looks(shop: Shop, band: Mapping[str, Any]) -> str:
    """What good looks like, in the unit of the gauge."""
    row = dict(band)
    aim = f", aim at {sentences_targets.target(shop, row)}" if band["target"] is not None else ""
    return f"{looks_like(band)}: {sentences_targets.hold(shop, row, with_mm=True)}{aim}."


def how(band: Mapping[str, Any]) -> str:
    """How it is measured."""
    key, gauge = str(band["characteristic"]), str(band["gauge"])
    usual = "The same way each time, as somebody who knows the work shows you."
    way = next((words for part, words in HOW.items() if part in key), usual)
    return f"{way} With {gauge}." if gauge else way


def comes_from(band: Mapping[str, Any], shop: Shop) -> str:
    """Where a band comes from."""
    if band["source"] == BY_HAND:
        return f"set by hand by {band['who']}"
    if band["source"] == LIMITS and not any(band["stage"] in tech.qualified for tech in shop.techs):
        return "the limits of the spec, since shop.toml signs nobody off for this bench"
    if band["source"] == LIMITS:
        return "the limits of the spec, since nobody else who is qualified has set 30 of them yet"
    return sentences_targets.band_from(dict(band))


def practice(serials: Sequence[str], model: str) -> str:
    """The practice set: what to read before anything is set."""
    ten = numbers.in_words(10)
    which = f"Take {ten} {model} that have passed final inspection."
    if serials:
        which = f"{numbers.in_words(len(serials), capital=True)} on the bench now: {', '.join(serials)}."
    agree = f"go on once {numbers.in_words(AGREE)} of {ten} agree"
    return f"{which} Read each twice without seeing the first figure; {agree} within a step of the gauge."


def steps(shop: Shop, stand: Stand, verdicts: Sequence[str]) -> list[str]:
    """The next three steps, by where somebody stands; verdicts : of all targets they may take next."""
    first = int(np.argmax(stand.test.shown_at >= 0)) + 1
    model = str(stand.band["model"])
    counts = f"the test can say shown from its instrument {first} on"
    alone = len(shop.techs) < 2
    five = numbers.in_words(BESIDE)
    beside = (
        f"Set {five} {model} and read each again the next day, before you look at the first figure."
        if alone
        else f"Set {five} {model} beside somebody who knows the work, each read before it leaves."
    )
    if not stand.values:
        step = sentences_targets.one_step(stand.band)
        return [
            f"Read the practice set twice, blind, and agree with yourself within {step}.",
            beside,
            f"Then set on your own: every one counts, and {counts}.",
        ]
    if stand.too_wide:
        return [_to_mend(shop, stand) or NARROWER, beside, "Go on: it is shown once the spread is no longer wide."]
    if stand.verdict == targets.NOT_SHOWN:
        again = f"Go on: the test has begun anew with the next instrument; {counts}."
        return [_to_mend(shop, stand) or NARROWER, beside, again]
    if stand.verdict == targets.TOO_FEW:
        left = max(first - (len(stand.values) - stand.began_at), 1)
        return [
            _to_mend(shop, stand) or "Keep the middle where it is.",
            f"Go on setting {model}: shown can be said in {numbers.count(left)} more at the earliest.",
            "Read the practice set again once a week.",
        ]
    return [
        "Say so, and sign it off if you agree: the program proposes, a person decides.",
        "Take the next target that is not shown yet."
        if any(word != targets.SHOWN for word in verdicts)
        else "No target is left to show: hold them, and help whoever begins.",
        f"Read one {model} in ten again the next day, blind, so that your hand stays on one scale."
        if alone
        else f"One {model} in ten is read by somebody else as well, so that two hands stay on one scale.",
    ]


def _to_mend(shop: Shop, stand: Stand) -> str:
    """What lies off, level or spread; '' for neither."""
    runs = sentences_targets.runs(shop, stand)
    if stand.wide:
        return f"{runs} The spread is wide too: go slower, read twice." if runs else NARROWER
    return runs


def left_out(shop: Shop, stand: Stand) -> str:
    """What is not counted because it is nobody's doing; '' for nothing. Several lots are told together."""
    lots = [one for one in stand.left_out if one.kind == LOT]
    told = [_left(shop, stand, one) for one in stand.left_out if one.kind != LOT or len(lots) < TOGETHER]
    if len(lots) >= TOGETHER:
        n = sum(one.n for one in lots)
        shifts = [one.shift for one in lots if one.shift is not None]
        by = " to ".join(_by(shop, stand, end) for end in (min(shifts), max(shifts)))
        names = len({one.what for one in lots})  # a lot that came back to the bench may be left out twice
        many, these = (f"{numbers.in_words(names)} lots", "these lots") if names > 1 else ("one lot", "this lot")
        told.append(
            f"{numbers.count(n)} instruments of {many} are not counted: in the days of {these} what others set of "
            f"them lay off too, by {by}, be it the lots, a gauge, the air or what else came in these days."
        )
    return " ".join(told)


def _by(shop: Shop, stand: Stand, shift: float) -> str:
    return sentences.amount(shop, str(stand.band["characteristic"]), shift, sign=True, mean=True)


def _left(shop: Shop, stand: Stand, one: LeftOut) -> str:
    n = f"{numbers.count(one.n)} {'instrument is' if one.n == 1 else 'instruments are'} not counted"
    moved = f"; what others set moved too, by {_by(shop, stand, one.shift)}" if one.shift is not None else ""
    if one.kind == LOT:
        days = f" ({numbers.days(one.first, one.last)})" if one.first and one.last else ""
        by = f", by {_by(shop, stand, one.shift)}" if one.shift is not None else ""
        return (
            f"{n}: in the days of lot {one.what}{days} what others set of it lay off too{by}, be it the lot, a "
            "gauge, the air or what else came in these days."
        )
    if one.kind == FAR:
        lies = "its reading lies" if one.n == 1 else "their readings lie"
        return f"{n} until corrected: {lies} far from all others and may be mistyped ({one.what})."
    since = f" since {numbers.day(one.first)}" if one.first else ""
    until = f" to {numbers.day(one.last)}" if one.last else ""
    if one.kind == MATTER:
        by = _by(shop, stand, one.shift) if one.shift is not None else ""
        return f"{n}{since}{until}: what others set moved too, by {by}; it is not this person's to practise."
    return f"{n}{since}{until}: {'known, ' if one.kind == KNOWN else ''}{one.what}{moved}."


def gauge_takes(share: float | None, study: str, what: str) -> str:
    """What the gauge takes of somebody's spread, or that nobody knows."""
    if share is None:
        return f"{what}: no gauge study is on file, so how much of the spread is the gauge's is not known."
    part = numbers.with_unit(numbers.plain(100 * share, 0), "%")
    return f"{what}: the gauge and the hands that read it take {part} of this spread (study {study}); the rest is set."


def others(words: Sequence[str]) -> str:
    """`59 more targets stand on the Bench page: 3 shown, 56 not shown yet.`; words : their verdicts."""
    if not words:
        return ""
    many = (targets.SHOWN, targets.NOT_SHOWN, targets.TOO_FEW)
    told = ", ".join(
        f"{numbers.count(words.count(word))} {word.removeprefix('target ')}" for word in many if word in words
    )
    stand = "target stands" if len(words) == 1 else "targets stand"
    return f"{numbers.count(len(words))} more {stand} on the Bench page: {told}."


def signed_off(lines: Sequence[Mapping[str, Any]], shop: Shop, band: Mapping[str, Any]) -> str:
    """Who signed a target off, and when, and who took that back, and why; '' where nobody has. lines : of the book, of
    the kinds SIGNINGS, in the order written.
    """
    same = [line for line in lines if all(line[name] == band[name] for name in ("characteristic", "position", "model"))]
    if not same:
        return ""
    when = [f"{line['who']}, {numbers.clock(sentences.local(shop, line['at']))}" for line in same]
    if same[-1]["kind"] == SIGNINGS[0]:
        return f"Signed off by {when[-1]}."
    return f"Not signed off: the sign-off of {when[-2]}, was taken back by {when[-1]}: {same[-1]['text']}"


def of_one(matter: Matter, shop: Shop, now: date, *, theirs: bool) -> str:
    """On Bench, of what moved there and goes with who worked: with this person (theirs), or with somebody else."""
    began = numbers.day(sentences.local(shop, matter.began_at or matter.opened_at), now)
    goes = "what this person set moved, not what others did" if theirs else "what this person set did not move"
    return f"{matters.name(matter, shop)}: {matters.by(matter, shop)}, since {began}; {goes}.{_by_chance(matter)}"


def _by_chance(matter: Matter) -> str:
    """What may be chance beside a person's name; '' where they are named as the cause beyond it."""
    if matter.moves_with.named:
        return ""
    return f" {matters.chance(matter) or NOT_NAMED}"
