"""Since when a matter lasts, in words: of what comes and goes since it came again, and when it came before."""

from datetime import date

from analysis.studies.matters.records import Matter
from dashboard import numbers
from dashboard.sentences import shared
from ingest.shopfiles.shop import Shop


def since(matter: Matter, shop: Shop, now: date) -> str:
    """`since about 27 May`; of what came again `again since about 27 May, as from 18 Mar to 31 Mar`; of lots `again
    since about 27 May, as two lots before, the last NH104 from 18 Mar to 31 Mar: every other lot of Nordhals`.
    """
    began = numbers.day(shared.local(shop, matter.began_at or matter.opened_at), now)
    if not matter.earlier:
        return f"since about {began}"
    first, last = matter.earlier[-1]
    when = f"from {numbers.days(first, last, now)}" if first < last else f"on {numbers.day(first, now)}"
    many = len(matter.earlier)
    if matter.earlier_lots:
        lot = f"{matter.earlier_lots[-1]} {when}"
        before = f"as lot {lot}" if many == 1 else f"as {numbers.in_words(many)} lots before, the last {lot}"
        before += f": every other lot of {matter.every_other}" if matter.every_other else ""
    else:
        before = f"as {when}" if many == 1 else f"as {numbers.in_words(many)} times before, the last {when}"
    return f"again since about {began}, {before}"
