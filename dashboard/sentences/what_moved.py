"""The headline of Drift: what moved, what came nearer to its target, and what left its limits without a move."""

from collections.abc import Sequence

from dashboard import numbers
from dashboard.sentences import matters


def headline(
    moved: list[str],
    elsewhere: list[str],
    judged: int,
    thin: int,
    where: str,
    *,
    watched: Sequence[str] = (),
    nearer: int = 0,
    back: int = 0,
) -> str:
    """`Three things moved at final inspection, first action treble on HERON-OM: up 0.18 mm (0.15 to 0.21).` moved: each
    thing with its size as it stands inside a sentence, the first one first; elsewhere: what moved out of sight; judged:
    series that are not thin; watched: names of what left its limits while all readings since then do not show a move;
    nearer: how many of moved, the last of them, came nearer to their target; back: how many of judged have a
    chart open of a matter that has ended.
    """
    left = matters.left_limits(watched) if watched else ""
    told = _headline(moved, elsewhere, judged, thin, where, nearer=nearer, back=back)
    if not left:
        return told
    return told if moved or elsewhere else f"Nothing is shown to have moved{where}. {left}"


def beside(moved: list[str], elsewhere: list[str], watched: Sequence[str]) -> str:
    """What left its limits without a move, where the headline has moves to tell."""
    return matters.left_limits(watched) if watched and (moved or elsewhere) else ""


def _headline(
    moved: list[str], elsewhere: list[str], judged: int, thin: int, where: str, *, nearer: int, back: int
) -> str:
    if not judged and not thin and not moved:
        return "No readings to judge yet."
    out = ""
    if elsewhere:
        many, things = numbers.in_words(len(elsewhere)), "thing" if len(elsewhere) == 1 else "things"
        more, first = " more" if moved else "", ", first" if len(elsewhere) > 1 else ":"
        out = f" Out of this view {many}{more} {things} moved{first} {elsewhere[0]}."
    if moved:
        away = len(moved) - nearer
        n = away or nearer
        things = f"{numbers.in_words(n, capital=True)} {'thing' if n == 1 else 'things'}"
        things += f" moved{where}" if away else f" came nearer to target{where}"
        near = f" {numbers.in_words(nearer, capital=True)} came nearer to target." if away and nearer else ""
        return f"{things}{', first' if n > 1 else ':'} {moved[0]}.{near}{out}"
    if not judged:
        return f"Too few readings to say yet.{out}"
    if back:
        came = f"{numbers.in_words(back)} came back where {'it was' if back == 1 else 'they were'}"
        return f"Nothing moved{where}: {numbers.count(judged - back)} series ran true, and {came}.{out}"
    ran = (
        "the one series that can be judged" if judged == 1 else f"all {numbers.count(judged)} series that can be judged"
    )
    return f"Nothing moved{where}: {ran} ran true.{out}" if out else f"{ran[0].upper()}{ran[1:]} ran true."
